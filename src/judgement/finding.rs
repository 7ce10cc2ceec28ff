//! What the readings of a pass mean for the bench, as plain data.

use super::LeakEvidence;
use crate::analysis::NotMeasured;
use crate::instrument::{Face, Note, PlatePlace, ReedPlace, Stroke, ValvePlace};
use crate::units::{Cents, Hz, Measured, Seconds};

/// Everything found in one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Findings {
    /// The pass's name.
    pub pass: String,
    /// One for each reed of the plan, in its order.
    pub reeds: Vec<ReedFinding>,
    /// One for each slot of the plan, in its order, outer before inner.
    pub valves: Vec<ValveFinding>,
    /// Plates that seem to lie in another plate's place.
    pub swaps: Vec<Swap>,
    /// The block-wide shift of pitch (median deviation), by block name; blocks with too few readings are left out.
    pub shifts: Vec<(String, Cents)>,
    /// What concerns the pass or a whole plate, one sentence each: a wrong sample rate, a plate weak on both strokes.
    pub warnings: Vec<String>,
}

/// A reed's pitch against its target.
#[derive(Debug, Clone, PartialEq)]
pub struct ReedFinding {
    /// Where it is.
    pub place: ReedPlace,
    /// The note it should give.
    pub note: Note,
    /// The pitch it should have.
    pub target: Hz,
    /// What was measured, or why nothing was.
    pub pitch: Result<ReedPitch, String>,
    /// Doubts of the reading, one sentence each.
    pub warnings: Vec<String>,
}

/// A measured pitch and what to do about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReedPitch {
    /// The pitch.
    pub f0: Hz,
    /// Deviation from the target.
    pub deviation: Measured,
    /// What to do; `None` where the plate may lie in a wrong place or the pass's sample rate may be wrong.
    pub tune: Option<Tune>,
}

/// What to do about a reed's pitch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tune {
    /// Too flat.
    Raise,
    /// Too sharp.
    Lower,
    /// Within tolerance, or not surely outside.
    Leave,
}

impl Tune {
    /// Its word, for people and in tables and JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Tune::Raise => "raise",
            Tune::Lower => "lower",
            Tune::Leave => "leave",
        }
    }
}

/// A slot's valve and what the signs say of it.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveFinding {
    /// Where it is.
    pub place: ValvePlace,
    /// The stroke that tests it.
    pub heard_on: Stroke,
    /// What the signs say together.
    pub verdict: Verdict,
    /// The signs of the ordinary pass in figures; `None` where there was nothing to compare with.
    pub leak: Option<LeakEvidence>,
    /// The signs that could be measured, strongest first.
    pub signs: Vec<Sign>,
    /// Why, in one sentence.
    pub reason: String,
    /// What to do next, in one sentence; empty where nothing is to be done.
    pub next: String,
}

impl ValveFinding {
    /// Whether the plate must be lifted to reach this valve.
    pub fn lift_plate(&self) -> bool {
        self.place.face == Face::Inner
    }
}

/// What the signs say of a valve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// The signs are consistent with a leak.
    Leaks,
    /// One weaker sign: listen again, softer.
    Suspect,
    /// Nothing found.
    NoSign,
    /// A sealing test would have shown a leak of the size the reason names.
    Tight,
    /// Could not be judged.
    NotJudged {
        /// Why, where the analysis said so.
        cause: Option<NotMeasured>,
        /// Steady time that would settle it.
        needs: Option<Seconds>,
    },
    /// No valve is due here.
    NoValve,
}

impl Verdict {
    /// Its word, for people.
    pub const fn as_str(&self) -> &'static str {
        match self {
            Verdict::Leaks => "leaks",
            Verdict::Suspect => "suspect",
            Verdict::NoSign => "no sign",
            Verdict::Tight => "tight",
            Verdict::NotJudged { .. } => "not judged",
            Verdict::NoValve => "no valve",
        }
    }

    /// Its name in tables and JSON.
    pub const fn name(&self) -> &'static str {
        match self {
            Verdict::NoSign => "no_sign",
            Verdict::NotJudged { .. } => "not_judged",
            Verdict::NoValve => "no_valve",
            one_word => one_word.as_str(),
        }
    }
}

/// One sign of a leak, as measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sign {
    /// Which.
    pub kind: SignKind,
    /// Its figure, in the kind's unit; `None` where nothing was heard.
    pub value: Option<f64>,
    /// The figure from which it stands out, same unit; where nothing was heard, the level it surely lies below.
    pub limit: f64,
    /// Whether it does.
    pub stands_out: bool,
}

/// The signs of a leak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum SignKind {
    /// The opposite reed in the steady tone, dB re the sounding reed.
    SecondTone,
    /// The opposite reed after the air has stopped, dB re the sounding reed's tail.
    TailTone,
    /// Noise between the partials, dB more than the comparison.
    Breath,
    /// Start of the note, times as long as the comparison.
    SlowStart,
    /// Level, dB below the comparison; negative is stronger.
    WeakTone,
    /// Pitch, cents above the comparison.
    PitchPull,
}

impl SignKind {
    /// The word for it in JSON and CSV.
    pub fn name(self) -> &'static str {
        match self {
            SignKind::SecondTone => "second_tone",
            SignKind::TailTone => "tail_tone",
            SignKind::Breath => "breath",
            SignKind::SlowStart => "slow_start",
            SignKind::WeakTone => "weak_tone",
            SignKind::PitchPull => "pitch_pull",
        }
    }

    /// The unit of its figures.
    pub fn unit(self) -> &'static str {
        match self {
            SignKind::SecondTone | SignKind::TailTone | SignKind::Breath | SignKind::WeakTone => "dB",
            SignKind::SlowStart => "times",
            SignKind::PitchPull => "cents",
        }
    }
}

/// Plates that seem to lie in another plate's place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Swap {
    /// The places, in the plan's order: two, or more where plates went round in a ring.
    pub places: Vec<PlatePlace>,
    /// Whether every place was measured; where only one plate was heard out of its place, the other one is a guess.
    pub sure: bool,
}

/// What changed between two passes.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The earlier pass.
    pub earlier: String,
    /// The later pass.
    pub later: String,
    /// One for each slot with a valve.
    pub valves: Vec<ValveChanged>,
    /// One for each reed measured in both passes.
    pub reeds: Vec<ReedChange>,
    /// What each block's reeds share, and which reeds tell it.
    pub common: Vec<CommonShift>,
    /// What concerns the comparison as a whole, one sentence each.
    pub warnings: Vec<String>,
}

/// What became of one valve, and why that is said.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveChanged {
    /// Which valve.
    pub place: ValvePlace,
    /// What became of it.
    pub change: ValveChange,
    /// Why, in one sentence.
    pub reason: String,
}

/// What became of a valve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ValveChange {
    /// It leaked and shows no sign now.
    Cured,
    /// It leaked and leaks.
    StillLeaks,
    /// It showed no sign and leaks now.
    NewlyLeaks,
    /// No sign then, none now.
    StillNoSign,
    /// One of the passes does not tell.
    CannotTell,
}

impl ValveChange {
    /// Its words, for people.
    pub const fn as_str(self) -> &'static str {
        match self {
            ValveChange::Cured => "cured",
            ValveChange::StillLeaks => "still leaks",
            ValveChange::NewlyLeaks => "newly leaks",
            ValveChange::StillNoSign => "still no sign",
            ValveChange::CannotTell => "cannot tell",
        }
    }

    /// Its name in tables and JSON.
    pub const fn name(self) -> &'static str {
        match self {
            ValveChange::Cured => "cured",
            ValveChange::StillLeaks => "still_leaks",
            ValveChange::NewlyLeaks => "newly_leaks",
            ValveChange::StillNoSign => "still_no_sign",
            ValveChange::CannotTell => "cannot_tell",
        }
    }
}

/// What a block's reeds share between two passes.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonShift {
    /// The block.
    pub block: String,
    /// The shift, after the temperature is taken off; `None` with too few untouched reeds to tell.
    pub cents: Option<Cents>,
    /// The reeds that tell it: measured in both passes, their tongues not worked on.
    pub from: Vec<ReedPlace>,
}

/// How a reed moved between two passes.
#[derive(Debug, Clone, PartialEq)]
pub struct ReedChange {
    /// Which reed.
    pub place: ReedPlace,
    /// The whole change, later less earlier.
    pub change: Measured,
    /// The part the whole block shares, after the temperature is taken off; `None` with too few reeds to tell.
    pub common_shift: Option<Cents>,
    /// The part the temperatures explain; `None` when they are not both known.
    pub temperature: Option<Cents>,
    /// What is left for the reed itself.
    pub own: Measured,
    /// The pass in which, by its pitch, another plate lies at this place: then no reed moved, but the plates did.
    pub astray_in: Option<String>,
    /// Work on its tongue between the passes, as it was noted; empty where it was left alone.
    pub work: Vec<String>,
}
