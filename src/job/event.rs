//! What the diary can say. To add a kind: a variant here, its name in [`KINDS`], a paragraph in `docs/job-format.md`.
//!
//! A line of a kind that is not listed here is kept and reported as unknown, so kinds may be added without a new
//! format; a field may be added to a kind when its absence means what lines without it meant.

use serde::{Deserialize, Deserializer, Serialize};

use super::seal_part::{BlownKind, SealState};
use crate::analysis::Clock;
use crate::units::signed;

/// 1 ppm as an interval, cents: 1200·log2(1 + 1e-6).
const CENTS_PER_PPM: f64 = 0.001_731_233;

/// Something that happened, as a line of the diary stores it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Event {
    /// A pass was opened, or what is known of it has changed; the newest line speaks.
    Pass(PassFacts),
    /// A take was stored.
    Take(TakeFacts),
    /// A take belongs to another reed than was said before.
    Moved(MoveFacts),
    /// Something was noticed of a take after it was stored.
    Remark(RemarkFacts),
    /// Something was done or seen at the bench.
    Mark(MarkFacts),
    /// A photo was stored.
    Photo(PhotoFacts),
    /// A mark or a photo is taken back; its line stays.
    Undone(UndoneFacts),
    /// Valves of the tray were counted.
    Stock(StockFacts),
    /// A new visit was opened.
    Visit(VisitFacts),
    /// A reed was played while it was tuned.
    Play(PlayFacts),
    /// A take or a pass does not count any more; its files stay.
    Withdrawn(WithdrawnFacts),
    /// What is known of a pass was put right.
    Amended(AmendedFacts),
    /// A pass is called otherwise.
    Renamed(RenamedFacts),
    /// The takes of a pass belong to another.
    Merged(MergedFacts),
    /// Other ranks sound along in a take.
    Ranks(RanksFacts),
    /// Plates of the plan have other names, or are taken out or put back.
    Plates(PlatesFacts),
}

/// The `what` of every kind.
pub(super) const KINDS: [&str; 16] = [
    "pass",
    "take",
    "moved",
    "remark",
    "mark",
    "photo",
    "undone",
    "stock",
    "visit",
    "play",
    "withdrawn",
    "amended",
    "renamed",
    "merged",
    "ranks",
    "plates",
];

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
    /// Its part in a sealing test; such a take is no ordinary take of its pass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sealed: Option<SealState>,
    /// How it was blown, where that was said; else the sound tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<BlownKind>,
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

/// Valves of the tray that were counted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StockFacts {
    /// Whether the tray holds nothing else; otherwise lots that are not named stay as they were.
    pub whole: bool,
    /// The lots; each replaces what was known of its kind.
    pub lots: Vec<LotFacts>,
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

impl TakeFacts {
    /// Begins a remark on why the place of a take is doubtful; the remark goes once the take is placed anew.
    pub const DOUBT: &str = crate::judgement::PLACE_DOUBT;

    /// Why its place is doubtful; empty where it is sure.
    pub fn doubts(&self) -> impl Iterator<Item = &str> {
        self.remarks.iter().filter_map(|remark| remark.strip_prefix(Self::DOUBT))
    }

    /// The clock to read the take with.
    pub fn clock(&self) -> Clock {
        self.clock.as_ref().map_or(Clock::default(), ClockFacts::clock)
    }
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

impl Event {
    /// The file the line names, and the SHA-256 it must have.
    pub fn stored_file(&self) -> Option<(&str, &str)> {
        match self {
            Event::Take(take) => Some((&take.file, &take.sha256)),
            Event::Photo(photo) => Some((&photo.file, &photo.sha256)),
            Event::Pass(_)
            | Event::Moved(_)
            | Event::Remark(_)
            | Event::Mark(_)
            | Event::Undone(_)
            | Event::Stock(_)
            | Event::Visit(_)
            | Event::Play(_)
            | Event::Withdrawn(_)
            | Event::Amended(_)
            | Event::Renamed(_)
            | Event::Merged(_)
            | Event::Ranks(_)
            | Event::Plates(_) => None,
        }
    }

    /// The number by which the line is taken back.
    pub fn number(&self) -> Option<u32> {
        match self {
            Event::Mark(facts) => Some(facts.n),
            Event::Photo(facts) => Some(facts.n),
            Event::Moved(facts) => facts.n,
            Event::Withdrawn(facts) => Some(facts.n),
            Event::Amended(facts) => Some(facts.n),
            Event::Renamed(facts) => Some(facts.n),
            Event::Merged(facts) => Some(facts.n),
            Event::Ranks(facts) => Some(facts.n),
            Event::Pass(_)
            | Event::Take(_)
            | Event::Remark(_)
            | Event::Undone(_)
            | Event::Stock(_)
            | Event::Visit(_)
            | Event::Play(_)
            | Event::Plates(_) => None,
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_listed() {
        let pass = PassFacts {
            pass: "before".into(),
            place: MeasuredIn::Bench,
            temperature_c: None,
            date: "2026-04-30".into(),
            reference_hz: None,
            called: None,
        };
        let text = serde_json::to_string(&Event::Pass(pass)).unwrap();
        assert_eq!(
            text,
            r#"{"what":"pass","pass":"before","place":"bench","temperature_c":null,"date":"2026-04-30"}"#
        );
        // serde itself lists the kinds it knows when it meets another.
        let unknown = serde_json::from_str::<Event>(r#"{"what":"xyzzy"}"#).unwrap_err().to_string();
        assert!(KINDS.iter().all(|kind| unknown.contains(&format!("`{kind}`"))), "{unknown}");
        assert_eq!(unknown.matches('`').count() / 2, KINDS.len() + 1, "{unknown}");
    }

    #[test]
    fn a_ppm_is_what_it_is_in_cents() {
        assert!((1200.0 * (1.0 + 1e-6f64).log2() - CENTS_PER_PPM).abs() < 1e-8);
    }
}
