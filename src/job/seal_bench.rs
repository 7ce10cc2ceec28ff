//! `sealing.toml`: what was measured of this bench with plates known to be good and with known leaks. It belongs to the
//! bench and not to a job, so the file lies with the person's own settings, beside `clocks.toml`.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use etcetera::BaseStrategy;
use serde::{Deserialize, Serialize};

use super::clocks::FOLDER_VARIABLE;
use super::{Error, FORMAT, disk};

const FILE: &str = "sealing.toml";
/// Fewer sealed good plates tell nothing of what sealing changes.
const LEAST_GOOD: usize = 4;
/// So many known leaks that were found tell how sizes are off here, and then up to this factor, either way.
const LEAST_LEAKS: usize = 3;
const KNOWN_SPREAD: f64 = 1.6;
/// A correction of the size is never taken for more or less than this: beyond, something else was measured.
const FACTOR_BOUNDS: (f64, f64) = (0.2, 5.0);
/// What sealing changes where it was not measured, as a standard deviation, dB.
const ASSUMED_DB: f64 = crate::judgement::sealing::ASSUMED_SEAL_EFFECT_DB;

/// What is known of the person's bench.
#[derive(Debug, Clone, PartialEq)]
pub struct SealBenchFile {
    file: PathBuf,
    whole: SealBenchToml,
}

/// A leak of known size that was tested.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KnownLeak {
    /// The day, `2026-04-30`.
    pub measured: String,
    /// Pitch of the reed, Hz.
    pub pitch_hz: f64,
    /// Thickness of the strip under the valve, mm.
    pub strip_mm: f64,
    /// The leak it opens, share of the opposite tongue's opening at rest.
    pub size: f64,
    /// `held` or `swell`.
    pub way: String,
    /// What the test said: `leaks`, `suspect`, `tight`, `unclear`, `refused`.
    pub verdict: String,
    /// Sealed less open, dB; absent where the plays could not be compared.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub difference_db: Option<f64>,
    /// Two standard errors of that, dB.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty_db: Option<f64>,
    /// The size as it was estimated without a correction.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub estimated: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SealBenchToml {
    format: i64,
    /// Sealed less open of plates known to be good, dB.
    #[serde(default)]
    good_plates_db: Vec<f64>,
    #[serde(default, rename = "known_leak")]
    known_leaks: Vec<KnownLeak>,
}

impl SealBenchFile {
    /// Read this person's file; without one nothing is known.
    pub fn open() -> Result<Self, Error> {
        let folder = match std::env::var_os(FOLDER_VARIABLE).filter(|folder| !folder.is_empty()) {
            Some(folder) => PathBuf::from(folder),
            None => etcetera::choose_base_strategy()
                .map_err(|_| Error::NoHome { variable: FOLDER_VARIABLE })?
                .config_dir()
                .join("platenote"),
        };
        Self::read(&folder.join(FILE))
    }

    /// Read a file; one that is not there holds nothing.
    pub fn read(file: &Path) -> Result<Self, Error> {
        let nothing = SealBenchToml { format: FORMAT, good_plates_db: Vec::new(), known_leaks: Vec::new() };
        let text = match fs::read_to_string(file) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return Ok(Self { file: file.to_owned(), whole: nothing });
            }
            Err(error) => return Err(Error::read(file, error)),
        };
        let damaged = |detail: String| Error::SealBench { file: file.to_owned(), detail };
        let table: toml::Table =
            toml::from_str(&text).map_err(|error| damaged(error.message().to_owned()))?;
        let format = table.get("format").and_then(toml::Value::as_integer).unwrap_or(FORMAT);
        if format > FORMAT {
            let (found, known) = (format as f64, FORMAT);
            return Err(Error::NewerFormat { file: file.to_owned(), line: 0, found, known });
        }
        let whole: SealBenchToml =
            toml::from_str(&text).map_err(|error| damaged(error.message().to_owned()))?;
        let sound = |value: &f64| value.is_finite() && value.abs() < 60.0;
        if !whole.good_plates_db.iter().all(sound) {
            return Err(damaged("a difference is out of range".into()));
        }
        Ok(Self { file: file.to_owned(), whole })
    }

    /// Where it is kept.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// The known leaks, oldest first.
    pub fn known_leaks(&self) -> &[KnownLeak] {
        &self.whole.known_leaks
    }

    /// How many good plates were sealed.
    pub fn good_plates(&self) -> usize {
        self.whole.good_plates_db.len()
    }

    /// What sealing itself changes on a healthy plate, as a standard deviation, dB; `None` before enough good plates
    /// were sealed.
    ///
    /// The root mean square about nothing, not about the mean: a seal that always makes louder is no better. What the
    /// player's scatter adds is left in, so it is never too small.
    pub fn seal_effect_db(&self) -> Option<f64> {
        let good = &self.whole.good_plates_db;
        let squares: f64 = good.iter().map(|d| d * d).sum();
        (good.len() >= LEAST_GOOD).then(|| (squares / good.len() as f64).sqrt().max(0.05))
    }

    /// What a size estimate is multiplied by here: the geometric mean over the known leaks that were found.
    pub fn size_factor(&self) -> f64 {
        let logs: Vec<f64> = self
            .whole
            .known_leaks
            .iter()
            .filter_map(|leak| {
                leak.estimated.filter(|e| *e > 0.0 && leak.size > 0.0).map(|e| (leak.size / e).ln())
            })
            .filter(|log| log.is_finite())
            .collect();
        if logs.is_empty() {
            return 1.0;
        }
        (logs.iter().sum::<f64>() / logs.len() as f64).exp().clamp(FACTOR_BOUNDS.0, FACTOR_BOUNDS.1)
    }

    /// By what factor sizes may still be off: known leaks of this bench's own plates narrow it.
    fn size_spread(&self) -> Option<f64> {
        let found = self.whole.known_leaks.iter().filter(|leak| leak.estimated.is_some()).count();
        (found >= LEAST_LEAKS).then_some(KNOWN_SPREAD)
    }

    /// As the judgement takes it.
    pub fn bench(&self) -> crate::judgement::sealing::SealBench {
        crate::judgement::sealing::SealBench {
            seal_effect_db: self.seal_effect_db().unwrap_or(ASSUMED_DB),
            size_factor: self.size_factor(),
            size_spread: self.size_spread(),
        }
    }

    /// Keep what sealing changed on a plate known to be good.
    pub fn keep_good_plate(&mut self, difference_db: f64) -> Result<(), Error> {
        self.whole.good_plates_db.push(difference_db);
        self.save()
    }

    /// Keep a trial with a known leak.
    pub fn keep_known_leak(&mut self, leak: KnownLeak) -> Result<(), Error> {
        self.whole.known_leaks.push(leak);
        self.save()
    }

    fn save(&self) -> Result<(), Error> {
        let folder = self.file.parent().filter(|folder| !folder.as_os_str().is_empty());
        if let Some(folder) = folder {
            fs::create_dir_all(folder).map_err(|error| Error::written(folder, error))?;
        }
        let text = toml::to_string(&self.whole)
            .map_err(|error| Error::written(&self.file, io::Error::other(error)))?;
        disk::write_whole(&self.file, text.as_bytes())
    }
}
