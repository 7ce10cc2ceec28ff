//! `clocks.toml`: how far the clocks of this computer's sound cards are off. A clock belongs to the device and not to a
//! job, so the file lies with the person's own settings; every take says which clock it was read with.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use etcetera::BaseStrategy;
use serde::{Deserialize, Serialize};

use super::event::ClockFacts;
use super::lock::Lock;
use super::{Error, FORMAT, disk};

/// Names another folder for the file.
pub const FOLDER_VARIABLE: &str = "PLATENOTE_CONFIG";
const FILE: &str = "clocks.toml";

/// The clocks that were measured on this computer.
#[derive(Debug, Clone, PartialEq)]
pub struct Clocks {
    file: PathBuf,
    clocks: Vec<DeviceClock>,
}

/// The clock of one device at one sample rate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeviceClock {
    /// What people call the device.
    pub device: String,
    /// What the system calls it; empty for a recorder that was never plugged in here.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub id: String,
    /// Samples per second.
    pub rate_hz: u32,
    /// How fast the clock runs, parts per million.
    pub error_ppm: f64,
    /// Half the 95 % interval of that, parts per million.
    pub uncertainty_ppm: f64,
    /// The tone it was measured against, Hz.
    pub tone_hz: f64,
    /// The day, `2026-04-30`.
    pub measured: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ClocksToml {
    format: i64,
    #[serde(default, rename = "clock")]
    clocks: Vec<DeviceClock>,
}

/// The person's configuration folder; `None` where the system names none.
pub(super) fn folder() -> Option<PathBuf> {
    match std::env::var_os(FOLDER_VARIABLE).filter(|folder| !folder.is_empty()) {
        Some(folder) => Some(PathBuf::from(folder)),
        None => etcetera::choose_base_strategy().ok().map(|found| found.config_dir().join("platenote")),
    }
}

/// The same, where one must be there.
pub fn config_folder() -> Result<PathBuf, Error> {
    folder().ok_or(Error::NoHome { variable: FOLDER_VARIABLE })
}

impl Clocks {
    /// Read this computer's file; without one no clock is known.
    pub fn open() -> Result<Self, Error> {
        Self::read(&config_folder()?.join(FILE))
    }

    /// Read a file of clocks; one that is not there holds none.
    pub fn read(file: &Path) -> Result<Self, Error> {
        let text = match fs::read_to_string(file) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return Ok(Self { file: file.to_owned(), clocks: Vec::new() });
            }
            Err(error) => return Err(Error::read(file, error)),
        };
        let damaged = |detail: String| Error::Clocks { file: file.to_owned(), detail };
        // The format first: a later program's file may hold what is unknown here.
        let table: toml::Table =
            toml::from_str(&text).map_err(|error| damaged(error.message().to_owned()))?;
        let format = table.get("format").and_then(toml::Value::as_integer).unwrap_or(FORMAT);
        if format > FORMAT {
            let (found, known) = (format as f64, FORMAT);
            return Err(Error::NewerFormat { file: file.to_owned(), line: 0, found, known });
        }
        let whole: ClocksToml = toml::from_str(&text).map_err(|error| damaged(error.message().to_owned()))?;
        if let Some(odd) = whole.clocks.iter().find(|clock| !clock.facts().is_sound()) {
            return Err(damaged(format!("the clock of `{}` is out of range", odd.device)));
        }
        Ok(Self { file: file.to_owned(), clocks: whole.clocks })
    }

    /// Where they are kept.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// All of them, in the order they were first measured.
    pub fn all(&self) -> &[DeviceClock] {
        &self.clocks
    }

    /// The clocks of the device with this name or id, in any case, one for each rate.
    pub fn of<'a>(&'a self, device: &'a str) -> impl Iterator<Item = &'a DeviceClock> {
        self.clocks.iter().filter(move |clock| clock.is_of(device))
    }

    /// Keep a clock, in place of what was known of the device at this rate.
    pub fn keep(&mut self, new: DeviceClock) -> Result<(), Error> {
        let known = |there: &DeviceClock| {
            there.rate_hz == new.rate_hz
                && (there.is_of(&new.device) || (!new.id.is_empty() && there.id == new.id))
        };
        let _lock = self.read_again()?;
        match self.clocks.iter_mut().find(|there| known(there)) {
            Some(there) => *there = new,
            None => self.clocks.push(new),
        }
        self.save()
    }

    /// Forget all clocks of a device; gives how many there were.
    pub fn forget(&mut self, device: &str) -> Result<usize, Error> {
        if !self.file.exists() {
            return Ok(0);
        }
        let _lock = self.read_again()?;
        let before = self.clocks.len();
        self.clocks.retain(|clock| !clock.is_of(device));
        let forgotten = before - self.clocks.len();
        if forgotten > 0 {
            self.save()?;
        }
        Ok(forgotten)
    }

    /// Keep other programs off, and take in what they measured since the file was read.
    fn read_again(&mut self) -> Result<Lock, Error> {
        let folder = self.folder();
        fs::create_dir_all(folder).map_err(|error| Error::written(folder, error))?;
        let lock = Lock::take(folder).map_err(|error| match error {
            Error::Busy { .. } => Error::ClocksBusy { file: self.file.clone() },
            other => other,
        })?;
        self.clocks = Self::read(&self.file)?.clocks;
        Ok(lock)
    }

    fn folder(&self) -> &Path {
        let folder = self.file.parent().unwrap_or(Path::new(""));
        if folder.as_os_str().is_empty() { Path::new(".") } else { folder }
    }

    fn save(&self) -> Result<(), Error> {
        let whole = ClocksToml { format: FORMAT, clocks: self.clocks.clone() };
        let text =
            toml::to_string(&whole).map_err(|error| Error::written(&self.file, io::Error::other(error)))?;
        disk::write_whole(&self.file, text.as_bytes())
    }
}

impl DeviceClock {
    /// What a take says of it.
    pub fn facts(&self) -> ClockFacts {
        ClockFacts {
            device: self.device.clone(),
            error_ppm: self.error_ppm,
            uncertainty_ppm: self.uncertainty_ppm,
        }
    }

    fn is_of(&self, device: &str) -> bool {
        let wanted = device.to_lowercase();
        self.device.to_lowercase() == wanted || (!self.id.is_empty() && self.id.to_lowercase() == wanted)
    }
}
