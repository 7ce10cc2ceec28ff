//! What was noted at the bench: work, photos, valves that were counted, visits.

use serde::{Deserialize, Serialize};

/// Something done or seen at the bench.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MarkFacts {
    /// Its number in the job, from 1; marks and photos are counted together.
    pub n: u32,
    /// The places, `bass A7`, `bass A7 outer`, `bass A7 press`; none for the whole job.
    pub places: Vec<String>,
    /// What was done, as it is typed.
    pub work: String,
}

/// A stored photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotoFacts {
    /// Its number in the job, from 1; marks and photos are counted together.
    pub n: u32,
    /// The places it shows; none for the whole job.
    pub places: Vec<String>,
    /// Where it is stored, seen from the job folder.
    pub file: String,
    /// SHA-256 of the stored file, hexadecimal.
    pub sha256: String,
    /// Its length, bytes.
    pub bytes: u64,
    /// Name of the file it was copied from, without its folder.
    pub original: String,
}

/// Valves of the tray that were counted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StockFacts {
    /// Whether the tray holds nothing else; otherwise lots that are not named stay as they were.
    pub whole: bool,
    /// The lots; each replaces what was known of its kind.
    pub lots: Vec<LotFacts>,
}

/// Which valves are renewed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RenewFacts {
    /// Every one; else what leaks or is missing.
    pub all: bool,
}

/// A round of work on the instrument that begins here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VisitFacts {
    /// What it is called; `None` when nothing was told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
}

/// Valves of one kind in one bin.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LotFacts {
    /// How long they are, mm.
    pub length_mm: f64,
    /// How wide, mm; `None` when it was not measured.
    #[serde(default)]
    pub width_mm: Option<f64>,
    /// How thick, mm; left out when it was not measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thickness_mm: Option<f64>,
    /// Whether the length was given in inches, and is told so; left out otherwise.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub in_inches: bool,
    /// `leather` or `plastic`.
    pub material: String,
    /// `flat`, `stained`, `curled` or `scrap`.
    pub condition: String,
    /// The bin; `None` when none was told.
    #[serde(default)]
    pub bin: Option<String>,
    /// How many.
    pub count: u32,
}
