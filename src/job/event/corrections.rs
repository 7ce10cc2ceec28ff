//! What was put right, and what was taken back.

use std::collections::BTreeMap;

use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize};

use super::sound::{ClockFacts, MeasuredIn};

/// A take that belongs to another reed or pass; the file keeps its name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MoveFacts {
    /// Its number among the marks, by which it is taken back; `None` in lines of earlier programs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub n: Option<u32>,
    /// The pass it belongs to now, by the name it was opened with; `None` where that stays.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pass: Option<String>,
    /// The stored file, seen from the job folder.
    pub file: String,
    /// The reed it is of, `bass A7 press`.
    pub place: String,
    /// Why it belongs there.
    pub why: String,
}

/// A take or a pass that does not count any more.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WithdrawnFacts {
    /// Its number among the marks.
    pub n: u32,
    /// The take's stored file, seen from the job folder; `None` where a pass is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// The pass, by the name it was opened with; `None` where a take is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pass: Option<String>,
    /// Why; empty where nothing was said.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub why: String,
}

/// What is known of a pass, put right; what is left out stays as it was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AmendedFacts {
    /// Its number among the marks.
    pub n: u32,
    /// The pass, by the name it was opened with.
    pub pass: String,
    /// Where the block was while it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<MeasuredIn>,
    /// Room temperature, °C; `null` where it is not known after all.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "said")]
    pub temperature_c: Option<Option<f64>>,
    /// The day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// The clock that recorded the takes the pass had when this was written; `null` where it was not measured.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "said")]
    pub clock: Option<Option<ClockFacts>>,
}

/// A field that is there, be it `null`; one that is not there is `None` by default.
fn said<'de, D: Deserializer<'de>, T: Deserialize<'de>>(field: D) -> Result<Option<Option<T>>, D::Error> {
    Option::deserialize(field).map(Some)
}

/// A pass that is called otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RenamedFacts {
    /// Its number among the marks.
    pub n: u32,
    /// The pass, by the name it was opened with.
    pub pass: String,
    /// What it is called now.
    pub name: String,
}

/// A pass whose takes belong to another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MergedFacts {
    /// Its number among the marks.
    pub n: u32,
    /// The pass, by the name it was opened with.
    pub pass: String,
    /// The pass they belong to, by the name it was opened with.
    pub into: String,
}

/// A take in which reeds of other ranks sound along, on purpose; none where it is of its reed alone after all.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RanksFacts {
    /// Its number among the marks.
    pub n: u32,
    /// The take's stored file, seen from the job folder.
    pub file: String,
    /// The rows of the same block whose reeds sound along.
    pub with: Vec<String>,
}

/// What became of the plates when the program wrote another plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlatesFacts {
    /// Every plate whose name changed; all of them at once.
    pub moved: Vec<PlateMove>,
    /// SHA-256 of the plan before.
    pub before_sha256: String,
    /// SHA-256 of the plan that was written.
    pub plan_sha256: String,
    /// What the plate of each number is called from now on, where the plan has such numbers.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty", deserialize_with = "by_number")]
    pub numbers: BTreeMap<u32, String>,
}

/// The keys of a JSON object are texts.
fn by_number<'de, D: Deserializer<'de>>(field: D) -> Result<BTreeMap<u32, String>, D::Error> {
    let texts = BTreeMap::<String, String>::deserialize(field)?;
    let number = |(number, name): (String, String)| match number.parse() {
        Ok(number) => Ok((number, name)),
        Err(_) => Err(D::Error::custom(format!("`{number}` is no number of a plate"))),
    };
    texts.into_iter().map(number).collect()
}

impl PlatesFacts {
    /// Whether the plan is the one before: the line only says what the plates are called.
    pub fn is_same_plan(&self) -> bool {
        self.before_sha256 == self.plan_sha256
    }
}

/// A plate and what it is called from now on. One that is not in the plan is called `out 3 bass A7`: taken out by the
/// third line of this kind, when it was `bass A7`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlateMove {
    /// What it was called.
    pub from: String,
    /// What it is called now.
    pub to: String,
}

/// A mark, a photo or a correction that is taken back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UndoneFacts {
    /// Its number.
    pub n: u32,
}
