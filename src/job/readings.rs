//! `readings.json`: what the takes told, kept so that nobody waits twice. Derived; deleted, it is made again with the
//! same content.
//!
//! A reading is found again by the take's SHA-256 and by everything the analysis was told beforehand; the file is used
//! only when the same analysis wrote it, by a hash of its sources taken while building (`src/build.rs`).

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::reading_line::ReadingLine;
use super::{Error, Event, Job, disk, write_whole};
use crate::analysis::{Expectation, OppositeExpectation, Reading};
use crate::units::{Cents, Hz};

/// What filled the file: readings of another analysis are not used. Follows from the sources that decide a reading.
pub const READINGS_KEY: &str =
    concat!("platenote ", env!("CARGO_PKG_VERSION"), " ", env!("PLATENOTE_READINGS_KEY"));
const FORMAT: u32 = 1;

/// The kept readings of a job.
#[derive(Debug)]
pub struct Readings {
    file: PathBuf,
    by_take: BTreeMap<Key, KeptReading>,
    as_read: Option<Vec<u8>>,
}

/// A kept reading, with what the analysis was told of the opposite reed.
#[derive(Debug, Clone)]
pub struct KeptReading {
    heard: (Hz, Cents),
    opposite: OppositeExpectation,
    reading: Reading,
}

/// The take and what was expected of it, but for the opposite reed. Numbers by their bits, so that they sort.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    sha256: String,
    numbers: [Option<u64>; 3],
}

#[derive(Serialize, Deserialize)]
struct ReadingsJson {
    format: u32,
    written_by: String,
    readings: Vec<Line>,
}

#[derive(Serialize, Deserialize)]
struct Line {
    sha256: String,
    expected_hz: Option<f64>,
    clock_error_ppm: f64,
    clock_uncertainty_ppm: f64,
    opposite: OppositeLine,
    heard_hz: f64,
    heard_uncertainty_cents: f64,
    reading: ReadingLine,
}

#[derive(Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "snake_case")]
enum OppositeLine {
    Unknown,
    Known { hz: f64, within_cents: f64 },
    None,
}

impl Readings {
    /// The kept readings of `job`, and a word when there is a damaged file. It is then made anew; so is, without a word,
    /// one that another analysis filled.
    pub fn of(job: &Job) -> (Self, Option<String>) {
        let file = job.readings_file();
        let nothing = |file, as_read| Self { file, by_take: BTreeMap::new(), as_read };
        let bytes = match disk::read_plain(&file) {
            Ok(Some(bytes)) => bytes,
            Ok(None) => return (nothing(file, None), None),
            Err(error) => {
                return (nothing(file, None), Some(format!("{error}; the takes are listened to again")));
            }
        };
        match parse(&bytes) {
            Ok(by_take) => {
                let by_take = by_take.unwrap_or_default();
                (Self { file, by_take, as_read: Some(bytes) }, None)
            }
            Err(why) => {
                let word = format!("`{}` {why}; the takes are listened to again", file.display());
                (nothing(file, Some(bytes)), Some(word))
            }
        }
    }

    /// What is kept of the take with this SHA-256, whatever was expected of the opposite reed.
    pub fn get(&self, sha256: &str, expectation: &Expectation) -> Option<&KeptReading> {
        self.by_take.get(&Key::new(sha256, expectation))
    }

    /// Keep a reading. `heard` is the pitch and its uncertainty as they were before the opposite reed was looked for.
    ///
    /// One that would not come back from the file (a figure that is no number) is not kept: one bad line would cost all.
    pub fn keep(&mut self, sha256: &str, expectation: &Expectation, heard: (Hz, Cents), reading: &Reading) {
        let kept = KeptReading { heard, opposite: expectation.opposite, reading: reading.clone() };
        let key = Key::new(sha256, expectation);
        if Line::new(&key, &kept).open().is_some() {
            self.by_take.insert(key, kept);
        }
    }

    /// Write the file when its content has changed. Readings of takes that the diary does not name are left out.
    pub fn save(&mut self, job: &Job) -> Result<(), Error> {
        let named: BTreeSet<&str> = job
            .diary()
            .iter()
            .filter_map(|line| match &line.event {
                Event::Take(facts) => Some(facts.sha256.as_str()),
                _ => None,
            })
            .collect();
        self.by_take.retain(|key, _| named.contains(key.sha256.as_str()));
        let readings = self.by_take.iter().map(|(key, kept)| Line::new(key, kept)).collect();
        let whole = ReadingsJson { format: FORMAT, written_by: READINGS_KEY.into(), readings };
        let mut bytes = serde_json::to_vec_pretty(&whole).map_err(|error| Error::Io {
            doing: "written",
            file: self.file.clone(),
            source: error.into(),
        })?;
        bytes.push(b'\n');
        if self.as_read.as_ref() != Some(&bytes) && !(self.as_read.is_none() && self.by_take.is_empty()) {
            write_whole(&self.file, &bytes)?;
            self.as_read = Some(bytes);
        }
        Ok(())
    }
}

impl KeptReading {
    /// The pitch and half its 95 % interval, before the opposite reed was looked for.
    pub fn heard(&self) -> (Hz, Cents) {
        self.heard
    }

    /// The reading, when the analysis was told just this of the opposite reed.
    pub fn reading(&self, opposite: &OppositeExpectation) -> Option<&Reading> {
        (self.opposite == *opposite).then_some(&self.reading)
    }
}

/// The readings in a file; `None` where another version or another analysis wrote it.
fn parse(bytes: &[u8]) -> Result<Option<BTreeMap<Key, KeptReading>>, String> {
    let whole: serde_json::Value =
        serde_json::from_slice(bytes).map_err(|error| format!("is damaged ({error})"))?;
    let is_ours = whole.get("format").and_then(serde_json::Value::as_u64) == Some(u64::from(FORMAT))
        && whole.get("written_by").and_then(serde_json::Value::as_str) == Some(READINGS_KEY);
    if !is_ours {
        // A file that says nothing of who wrote it was not written by any version of this program.
        let is_told = whole.get("written_by").is_some_and(serde_json::Value::is_string);
        return if is_told { Ok(None) } else { Err("is damaged (it names no program)".to_owned()) };
    }
    let whole: ReadingsJson =
        serde_json::from_value(whole).map_err(|error| format!("is damaged ({error})"))?;
    let open = |line: Line| line.open().ok_or_else(|| "is damaged".to_owned());
    whole.readings.into_iter().map(open).collect::<Result<_, _>>().map(Some)
}

impl Key {
    fn new(sha256: &str, expectation: &Expectation) -> Self {
        let clock = expectation.clock;
        let numbers = [expectation.pitch.map(Hz::get), Some(clock.error_ppm), Some(clock.uncertainty_ppm)];
        Self { sha256: sha256.into(), numbers: numbers.map(|number| number.map(f64::to_bits)) }
    }
}

impl Line {
    fn new(key: &Key, kept: &KeptReading) -> Self {
        let [expected_hz, error, uncertainty] = key.numbers.map(|bits| bits.map(f64::from_bits));
        Self {
            sha256: key.sha256.clone(),
            expected_hz,
            clock_error_ppm: error.unwrap_or(0.0),
            clock_uncertainty_ppm: uncertainty.unwrap_or(0.0),
            opposite: match kept.opposite {
                OppositeExpectation::Unknown => OppositeLine::Unknown,
                OppositeExpectation::Known { pitch, within } => {
                    OppositeLine::Known { hz: pitch.get(), within_cents: within.get() }
                }
                OppositeExpectation::None => OppositeLine::None,
            },
            heard_hz: kept.heard.0.get(),
            heard_uncertainty_cents: kept.heard.1.get(),
            reading: ReadingLine::from(&kept.reading),
        }
    }

    fn open(self) -> Option<(Key, KeptReading)> {
        let numbers = [self.expected_hz, Some(self.clock_error_ppm), Some(self.clock_uncertainty_ppm)];
        let key = Key { sha256: self.sha256, numbers: numbers.map(|number| number.map(f64::to_bits)) };
        let opposite = match self.opposite {
            OppositeLine::Unknown => OppositeExpectation::Unknown,
            OppositeLine::Known { hz, within_cents } => {
                OppositeExpectation::Known { pitch: Hz::new(hz)?, within: Cents::new(within_cents)? }
            }
            OppositeLine::None => OppositeExpectation::None,
        };
        let heard = (Hz::new(self.heard_hz)?, Cents::new(self.heard_uncertainty_cents)?);
        Some((key, KeptReading { heard, opposite, reading: Reading::try_from(self.reading).ok()? }))
    }
}
