//! Passes, takes and plays, and what is known of them.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::analysis::Clock;
use crate::job::seal_part::{BlownKind, SealState};
use crate::units::signed;

/// 1 ppm as an interval, cents: 1200·log2(1 + 1e-6).
const CENTS_PER_PPM: f64 = 0.001_731_233;

/// What is known of a pass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PassFacts {
    /// Its name.
    pub pass: String,
    /// Where the block is while it is measured.
    pub place: MeasuredIn,
    /// Room temperature, °C; `None` when it was not read.
    pub temperature_c: Option<f64>,
    /// The day, `2026-04-30`.
    pub date: String,
    /// The plan's A4 when the pass was opened, Hz.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference_hz: Option<f64>,
    /// What it is called where an earlier pass was opened under that name; `pass` is then what the diary calls it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub called: Option<String>,
}

impl MeasuredIn {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            MeasuredIn::Instrument => "instrument",
            MeasuredIn::Bench => "bench",
        }
    }
}

/// Where the block is while it is measured; the same reed gives another pitch on a bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MeasuredIn {
    /// In the instrument.
    Instrument,
    /// On a test bench.
    Bench,
}

/// A stored take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TakeFacts {
    /// The pass it belongs to.
    pub pass: String,
    /// The reed it is of, `bass A7 press`.
    pub place: String,
    /// Where it is stored, seen from the job folder.
    pub file: String,
    /// Which take of this reed in this pass, from 1.
    pub n: u32,
    /// SHA-256 of the stored file, hexadecimal.
    pub sha256: String,
    /// Its length, bytes.
    pub bytes: u64,
    /// Name of the file it was copied from, without its folder; `None` when it was recorded.
    #[serde(default)]
    pub original: Option<String>,
    /// Why it was placed there.
    pub why: String,
    /// Whether a lossy coder stood in the way.
    #[serde(default)]
    pub lossy: bool,
    /// What the ear remarked, a sentence each; with [`TakeFacts::DOUBT`] in front why its place is doubtful.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<String>,
    /// The clock of the device that recorded it, where it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock: Option<ClockFacts>,
    /// Where it was cut, when it is a part of a long recording.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut: Option<CutFacts>,
    /// When it was sounded, where that was told: a day, or a time; left out it was when the line was written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recorded: Option<String>,
    /// Its part in a sealing test; such a take is no ordinary take of its pass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sealed: Option<SealState>,
    /// How it was blown, where that was said; else the sound tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<BlownKind>,
}

impl TakeFacts {
    /// Begins a remark on why the place of a take is doubtful; the remark goes once the take is placed anew.
    pub const DOUBT: &str = crate::judgement::PLACE_DOUBT;

    /// Why its place is doubtful; empty where it is sure.
    pub fn doubts(&self) -> impl Iterator<Item = &str> {
        self.remarks.iter().filter_map(|remark| remark.strip_prefix(Self::DOUBT))
    }

    /// When it was sounded, of a line written at `stored`. A day alone counts from its beginning, before all that was noted on
    /// it; the day of the line itself says no more than the line.
    pub fn sounded_at(&self, stored: Timestamp) -> Timestamp {
        let told = self.recorded.as_deref().and_then(|text| Recorded::parse(text).ok());
        told.and_then(|told| told.before(stored)).unwrap_or(stored)
    }

    /// The clock to read the take with.
    pub fn clock(&self) -> Clock {
        self.clock.as_ref().map_or(Clock::default(), ClockFacts::clock)
    }
}

/// The clock of a recording device, as `calibrate` measured it or somebody typed it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockFacts {
    /// What the device is called.
    pub device: String,
    /// How fast it runs, parts per million.
    pub error_ppm: f64,
    /// Half the 95 % interval of that, parts per million.
    pub uncertainty_ppm: f64,
}

impl ClockFacts {
    /// No clock is further off, parts per million: what is more comes of a wrong rate or a wrong tone.
    pub const MOST_PPM: f64 = 1000.0;

    /// As the analysis takes it; figures out of range, from a diary edited by hand, count as not measured.
    pub fn clock(&self) -> Clock {
        let Self { error_ppm, uncertainty_ppm, .. } = *self;
        if self.is_sound() { Clock { error_ppm, uncertainty_ppm } } else { Clock::default() }
    }

    /// The figures in words: `+12.0 ± 3.0 ppm (+0.021 ± 0.005 cents)`.
    pub fn figures(&self) -> String {
        let (error, doubt) = (self.error_ppm, self.uncertainty_ppm);
        format!(
            "{} ± {doubt:.1} ppm ({} ± {:.3} cents)",
            signed(error, 1),
            signed(CENTS_PER_PPM * error, 3),
            CENTS_PER_PPM * doubt
        )
    }

    /// Whether the figures are those of a clock.
    pub fn is_sound(&self) -> bool {
        self.error_ppm.abs() <= Self::MOST_PPM && (0.0..=Self::MOST_PPM).contains(&self.uncertainty_ppm)
    }
}

/// From where a take was cut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CutFacts {
    /// SHA-256 of the long recording, hexadecimal; its name stands in `original`.
    pub sha256: String,
    /// Where the take begins in it, s.
    pub from_s: f64,
    /// Where it ends, s.
    pub to_s: f64,
}

impl CutFacts {
    /// Whether both are the same note: of the same recording, and half of the shorter one is common to both.
    pub fn is_same_note(&self, other: &CutFacts) -> bool {
        let common_s = self.to_s.min(other.to_s) - self.from_s.max(other.from_s);
        let shorter_s = (self.to_s - self.from_s).min(other.to_s - other.from_s);
        self.sha256 == other.sha256 && common_s > 0.5 * shorter_s
    }
}

/// Something that was noticed of a take after it was stored, such as lost sound that only shows a second later.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RemarkFacts {
    /// The stored file or the long recording, seen from the job folder.
    pub file: String,
    /// What was noticed, one sentence.
    pub remark: String,
    /// Where in the sound, s; said of long recordings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_s: Option<f64>,
}

/// What a reed gave when it was played while it was tuned; the sound is kept only when asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlayFacts {
    /// The reed, `bass A7 press`.
    pub place: String,
    /// Its pitch, Hz.
    pub f0_hz: f64,
    /// Half the 95 % interval of that, cents.
    pub uncertainty_cents: f64,
    /// What it was to be, Hz.
    pub target_hz: f64,
    /// Level of the steady stretch, dBFS.
    pub level_dbfs: f64,
    /// The mark of the go before it, where one was made in this sitting.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after_mark: Option<u32>,
    /// How long after the first play since that go, s; 0 for that play itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settled_s: Option<f64>,
}

/// When a sound was recorded, as it is told of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recorded {
    /// On this day.
    On(Date),
    /// At this time.
    At(Timestamp),
}

impl Recorded {
    /// From a day, `2026-04-30`, or a time with its offset, `2026-04-30T18:05:00+02:00`.
    pub fn parse(text: &str) -> Result<Self, jiff::Error> {
        let text = text.trim();
        text.parse::<Timestamp>().map(Self::At).or_else(|_| text.parse::<Date>().map(Self::On))
    }

    /// The moment that means, where it is earlier than `now`.
    pub fn before(self, now: Timestamp) -> Option<Timestamp> {
        let zone = TimeZone::system();
        let at = match self {
            Self::At(at) => at,
            Self::On(day) if day == now.to_zoned_datetime(zone.clone()).date() => return None,
            Self::On(day) => day.to_zoned_datetime(zone).ok()?.timestamp(),
        };
        (at < now).then_some(at)
    }

    /// The day, where the bench is.
    pub fn day(self) -> Date {
        match self {
            Self::On(day) => day,
            Self::At(at) => at.to_zoned_datetime(TimeZone::system()).date(),
        }
    }
}

impl std::fmt::Display for Recorded {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::On(day) => day.fmt(f),
            Self::At(at) => at.fmt(f),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ppm_is_what_it_is_in_cents() {
        assert!((1200.0 * (1.0 + 1e-6f64).log2() - CENTS_PER_PPM).abs() < 1e-8);
    }

    #[test]
    fn a_day_told_counts_from_its_beginning_and_never_from_the_future() {
        let now: Timestamp = "2026-05-10T12:00:00Z".parse().unwrap();
        let told = |text: &str| Recorded::parse(text).unwrap().before(now);
        let midnight =
            "2026-04-30".parse::<Date>().unwrap().to_zoned_datetime(TimeZone::system()).unwrap().timestamp();
        assert_eq!(told("2026-04-30"), Some(midnight));
        assert_eq!(told("2026-05-10T11:00:00Z"), Some("2026-05-10T11:00:00Z".parse().unwrap()));
        assert_eq!(told("2026-06-01"), None);
        assert!(Recorded::parse("yesterday").is_err());
    }
}
