//! The sealing test: the same reed open and with the path behind its suspect valve closed from outside.
//!
//! What differs from plate to plate cancels; what stays is how steadily somebody plays. Two ways: pressure held by a gauge
//! and mean levels (`held`), and swells by hand compared at equal level (`swell`). docs/method.md, "The sealing test".

mod curves;
mod held;
mod joined;
mod linear;
mod nuisance;
mod open_pair;
mod row;
mod size;
mod swell;

use super::Verdict;
use crate::analysis::{Play, PlayKind, Refusal};
use crate::instrument::{Instrument, ReedPlace, ValvePlace};

pub(crate) use joined::{changed, joined};
pub use size::{level_drop_db, size_of_level_drop, size_of_strip, slit_mm, slit_words, usual_opening_mm2};

/// Whether the path behind the suspect valve was closed in a play.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seal {
    /// As it is.
    Open,
    /// Closed from outside.
    Sealed,
}

/// One play of a sealing test.
#[derive(Debug, Clone, PartialEq)]
pub struct SealPlay {
    /// Open or sealed.
    pub seal: Seal,
    /// As it was said; told from the sound where it was not.
    pub kind: Option<PlayKind>,
    /// What was measured, or why nothing was.
    pub sound: Result<Play, Refusal>,
}

/// The plays of one valve, in the order they were played.
#[derive(Debug, Clone, PartialEq)]
pub struct SealSet {
    /// The valve asked about.
    pub valve: ValvePlace,
    /// The reed that was played.
    pub reed: ReedPlace,
    /// Its pitch as the plan has it, Hz.
    pub pitch_hz: f64,
    /// The plays.
    pub plays: Vec<SealPlay>,
}

/// What is known of the bench the test is made on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SealBench {
    /// What sealing itself changes on a healthy plate, as a standard deviation, dB.
    pub seal_effect_db: f64,
    /// What a known leak measured here over what the size says.
    pub size_factor: f64,
    /// By what factor a size may be off either way because plates differ, at 95 %; `None` where no known leak told it here,
    /// and the makes of the model stand for all.
    pub size_spread: Option<f64>,
}

/// Not measured on this bench: assumed, nobody has measured it anywhere.
pub const ASSUMED_SEAL_EFFECT_DB: f64 = 0.3;

impl SealBench {
    /// The size that costs so much at one pressure.
    fn sized(&self, drop_db: f64) -> f64 {
        (self.size_factor * size::size_of_level_drop(drop_db)).min(size::LARGEST)
    }

    /// The interval of the size for one of the drop, dB.
    fn size_range(&self, low_db: f64, high_db: f64) -> (f64, f64) {
        let low = match self.size_spread {
            Some(spread) => self.sized(low_db) / spread,
            None => self.size_factor * size::sizes_of_level_drop(low_db).0,
        };
        (low, self.largest(high_db))
    }

    /// The largest size that may cost no more than this.
    fn largest(&self, drop_db: f64) -> f64 {
        let largest = match self.size_spread {
            Some(spread) => spread * self.sized(drop_db),
            None => self.size_factor * size::sizes_of_level_drop(drop_db).1,
        };
        largest.min(size::LARGEST)
    }
}

impl Default for SealBench {
    fn default() -> Self {
        Self { seal_effect_db: ASSUMED_SEAL_EFFECT_DB, size_factor: 1.0, size_spread: None }
    }
}

/// How a sealing test was played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Pressure held, mean levels.
    Held,
    /// Swells, compared at equal level.
    Swell,
}

/// What a sealing test says of a valve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SealVerdict {
    /// Closing the path makes more of a difference than playing and sealing do.
    Leaks,
    /// It leans that way.
    Suspect,
    /// A leak of the stated size would have shown.
    Tight,
    /// Not settled yet.
    Unclear,
    /// The plays cannot be compared.
    Refused,
}

/// A sealing test and what it says.
#[derive(Debug, Clone, PartialEq)]
pub struct SealingFinding {
    /// The valve.
    pub valve: ValvePlace,
    /// The reed that was played.
    pub reed: ReedPlace,
    /// How it was played; `None` where the plays do not say.
    pub way: Option<Way>,
    /// Sealed plays that have an open one beside them.
    pub pairs: usize,
    /// What it says.
    pub verdict: SealVerdict,
    /// Sealed less open, dB: mean level of held plays; of swells what the leak costs at equal pressure.
    pub difference_db: Option<f64>,
    /// Two standard errors of that, dB.
    pub uncertainty_db: Option<f64>,
    /// Log-likelihood ratio of the best leak against none.
    pub evidence: Option<f64>,
    /// Size of the leak, share of the opposite tongue's opening at rest; `None` where nothing points to one.
    pub size: Option<f64>,
    /// Its 95 % interval.
    pub size_range: Option<(f64, f64)>,
    /// Where it is tight: the size that would have shown.
    pub limit: Option<f64>,
    /// Why, in one sentence.
    pub reason: String,
    /// What to do next, in one sentence; empty where nothing is to be done.
    pub next: String,
}

/// Open and sealed plays this far apart in their loudest frames share no level because of the plate, dB: twice what one
/// hand's loudest moments scatter.
const APART_DB: f64 = 6.0;

/// Judge all sealing tests of one pass together: the player's scatter is pooled over them.
pub fn judge_sealings(sets: &[SealSet], bench: &SealBench) -> Vec<SealingFinding> {
    let scatter = held::Scatter::pooled(sets);
    let mut findings: Vec<SealingFinding> = sets.iter().map(|set| one(set, bench, &scatter)).collect();
    row::take_off_common(sets, bench, &mut findings);
    findings
}

/// The set of a reed's plays; `None` where the plan has no reed there.
pub fn set_of(instrument: &Instrument, reed: &ReedPlace, plays: Vec<SealPlay>) -> Option<SealSet> {
    let (block, _, _) = instrument.plate(&reed.plate)?;
    Some(SealSet {
        valve: ValvePlace { plate: reed.plate.clone(), face: block.face_tested_by(reed.stroke) },
        reed: reed.clone(),
        pitch_hz: instrument.target(reed)?.get(),
        plays,
    })
}

fn one(set: &SealSet, bench: &SealBench, scatter: &held::Scatter) -> SealingFinding {
    let of = |seal| set.plays.iter().filter(move |play| play.seal == seal);
    let pairs = of(Seal::Sealed).count().min(of(Seal::Open).count());
    let refused = |reason: String, next: &str| refusal(set, way_of(set), reason, next);
    if pairs == 0 {
        let missing = if of(Seal::Open).count() == 0 { "open" } else { "sealed" };
        return refused(
            format!("there is no {missing} play to compare with"),
            "play it open, sealed, open, within two minutes",
        );
    }
    if let Some(finding) = silence_speaks(set, pairs) {
        return finding;
    }
    if let Some(finding) = level_speaks(set, pairs) {
        return finding;
    }
    if let Some(play) = set.plays.iter().find_map(|play| play.sound.as_ref().err()) {
        return refused(format!("one of its plays gives nothing: {play}"), "play the whole set again");
    }
    let kinds: Vec<PlayKind> = set.plays.iter().filter_map(SealPlay::blown).collect();
    match kinds.as_slice() {
        [first, rest @ ..] if rest.iter().all(|kind| kind == first) => match first {
            PlayKind::Held => held::judge(set, bench, scatter, pairs),
            PlayKind::Swell => swell::judge(set, bench, pairs),
        },
        _ => refused(
            "some of its plays are held and some swell".into(),
            "play all of them alike: evenly at the gauge, or all from soft to loud to soft",
        ),
    }
}

/// A leak so large that the open plate gives no tone, and the sealed one does.
fn silence_speaks(set: &SealSet, pairs: usize) -> Option<SealingFinding> {
    let silent = |play: &SealPlay| matches!(play.sound, Err(Refusal::Silent | Refusal::NoTone));
    let mut open = set.plays.iter().filter(|play| play.seal == Seal::Open);
    let mut sealed = set.plays.iter().filter(|play| play.seal == Seal::Sealed);
    // One silent play may be a slip of the hand.
    let speaks = set.plays.iter().filter(|play| play.seal == Seal::Open).count() >= 2
        && open.all(silent)
        && sealed.all(|play| play.sound.is_ok());
    speaks.then(|| SealingFinding {
        pairs,
        verdict: SealVerdict::Leaks,
        reason: "open it gives no tone at all, sealed it sounds".into(),
        next: "look at the valve: this is no small leak".into(),
        ..refusal(set, way_of(set), String::new(), "")
    })
}

/// A leak so large that open and sealed plays have no level in common: then the level itself speaks.
fn level_speaks(set: &SealSet, pairs: usize) -> Option<SealingFinding> {
    let loudest = |seal| set.heard(seal).map(|play| play.level_at(0.95));
    let open = loudest(Seal::Open).fold(f64::MIN, f64::max);
    let apart = loudest(Seal::Sealed).fold(f64::MAX, f64::min) - open;
    // One open play may have been a soft one.
    (loudest(Seal::Open).count() >= 2 && apart.is_finite() && apart >= APART_DB).then(|| SealingFinding {
        pairs,
        verdict: SealVerdict::Leaks,
        difference_db: Some(apart),
        size: Some(size::size_of_level_drop(apart)),
        // The loudest moments say nothing of the rest above.
        size_range: Some((size::sizes_of_level_drop(apart).0, size::LARGEST)),
        ..refusal(
            set,
            way_of(set),
            format!("sealed it grows {apart:.0} dB louder than any open play: consistent with a large leak"),
            "look at the valve: this is no small leak",
        )
    })
}

/// The way all its plays were blown in; `None` where they differ or tell nothing.
fn way_of(set: &SealSet) -> Option<Way> {
    let mut kinds = set.plays.iter().filter_map(SealPlay::blown);
    let first = kinds.next()?;
    kinds.all(|kind| kind == first).then_some(match first {
        PlayKind::Held => Way::Held,
        PlayKind::Swell => Way::Swell,
    })
}

fn refusal(set: &SealSet, way: Option<Way>, reason: String, next: &str) -> SealingFinding {
    SealingFinding {
        valve: set.valve.clone(),
        reed: set.reed.clone(),
        way,
        pairs: 0,
        verdict: SealVerdict::Refused,
        difference_db: None,
        uncertainty_db: None,
        evidence: None,
        size: None,
        size_range: None,
        limit: None,
        reason,
        next: next.into(),
    }
}

impl SealPlay {
    /// How it was blown: as it was said, else as its level shows.
    pub fn blown(&self) -> Option<PlayKind> {
        self.kind.or_else(|| self.sound.as_ref().ok().map(|play| play.kind))
    }
}

impl SealSet {
    /// The measured plays of one state.
    fn heard(&self, seal: Seal) -> impl Iterator<Item = &Play> {
        self.plays.iter().filter(move |play| play.seal == seal).filter_map(|play| play.sound.as_ref().ok())
    }
}

impl Way {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            Way::Held => "held",
            Way::Swell => "swell",
        }
    }
}

impl SealVerdict {
    /// The word for it in JSON; the valve's own, where there is one.
    pub fn name(self) -> &'static str {
        match self {
            SealVerdict::Leaks => Verdict::Leaks.name(),
            SealVerdict::Suspect => Verdict::Suspect.name(),
            SealVerdict::Tight => Verdict::Tight.name(),
            SealVerdict::Unclear => "unclear",
            SealVerdict::Refused => "refused",
        }
    }
}
