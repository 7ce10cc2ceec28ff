//! Reasons, warnings and refusals as stored: a stable code, the figures that belong to it, and the sentence.

use serde::{Deserialize, Serialize};

use crate::analysis::{NotMeasured, Refusal, Warning};

/// A code with its figures, and the sentence people read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Worded<W> {
    #[serde(flatten)]
    pub kind: W,
    pub text: String,
}

/// Why a value is `null`.
pub(super) type MissingWord = Worded<NotMeasuredWord>;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub(super) enum NotMeasuredWord {
    AttackCut,
    TailCut,
    SlowStop,
    TailUnclear,
    TailTooShort { lasts_s: f64, needs_s: f64 },
    TooClose { steady_s: f64 },
    TooNoisy,
    TooShort { lasts_s: f64, needs_s: f64 },
    Clipped,
    SeveralReeds,
    LevelEven,
    Swelling,
    OppositeUnknown,
    OneReed,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub(super) enum WarningWord {
    Clipped { count: usize },
    NotFinite { count: usize },
    Wandering { range_cents: f64 },
    Noisy { snr_db: f64 },
    Unexpected { cents: f64 },
    Lossy,
    OtherTone { hz: f64 },
    Remark,
    SeveralReeds { count: usize },
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub(super) enum RefusalWord {
    Empty,
    Rate { rate_hz: u32 },
    Silent,
    NoTone,
    TooShort { sounds_s: f64, needs_s: f64 },
    NotSteady,
}

/// JSON has no infinity: the largest number stands for it.
pub(super) fn finite(value: f64) -> f64 {
    if value.is_nan() { 0.0 } else { value.clamp(f64::MIN, f64::MAX) }
}

impl MissingWord {
    /// The plate has one reed, so there is no opposite one.
    pub fn one_reed() -> Self {
        Self { kind: NotMeasuredWord::OneReed, text: "the plate has one reed".into() }
    }
}

impl From<NotMeasured> for MissingWord {
    fn from(reason: NotMeasured) -> Self {
        let kind = match reason {
            NotMeasured::AttackCut => NotMeasuredWord::AttackCut,
            NotMeasured::TailCut => NotMeasuredWord::TailCut,
            NotMeasured::SlowStop => NotMeasuredWord::SlowStop,
            NotMeasured::TailUnclear => NotMeasuredWord::TailUnclear,
            NotMeasured::TailTooShort { lasts, needs } => {
                NotMeasuredWord::TailTooShort { lasts_s: finite(lasts), needs_s: finite(needs) }
            }
            NotMeasured::TooClose { steady } => NotMeasuredWord::TooClose { steady_s: finite(steady) },
            NotMeasured::TooNoisy => NotMeasuredWord::TooNoisy,
            NotMeasured::TooShort { lasts, needs } => {
                NotMeasuredWord::TooShort { lasts_s: finite(lasts), needs_s: finite(needs) }
            }
            NotMeasured::Clipped => NotMeasuredWord::Clipped,
            NotMeasured::SeveralReeds => NotMeasuredWord::SeveralReeds,
            NotMeasured::LevelEven => NotMeasuredWord::LevelEven,
            NotMeasured::Swelling => NotMeasuredWord::Swelling,
            NotMeasured::OppositeUnknown => NotMeasuredWord::OppositeUnknown,
        };
        Self { kind, text: reason.to_string() }
    }
}

/// The code belongs to no reason of the analysis.
pub(super) struct NoReason;

impl TryFrom<NotMeasuredWord> for NotMeasured {
    type Error = NoReason;

    fn try_from(word: NotMeasuredWord) -> Result<Self, NoReason> {
        Ok(match word {
            NotMeasuredWord::AttackCut => NotMeasured::AttackCut,
            NotMeasuredWord::TailCut => NotMeasured::TailCut,
            NotMeasuredWord::SlowStop => NotMeasured::SlowStop,
            NotMeasuredWord::TailUnclear => NotMeasured::TailUnclear,
            NotMeasuredWord::TailTooShort { lasts_s, needs_s } => {
                NotMeasured::TailTooShort { lasts: lasts_s, needs: needs_s }
            }
            NotMeasuredWord::TooClose { steady_s } => NotMeasured::TooClose { steady: steady_s },
            NotMeasuredWord::TooNoisy => NotMeasured::TooNoisy,
            NotMeasuredWord::TooShort { lasts_s, needs_s } => {
                NotMeasured::TooShort { lasts: lasts_s, needs: needs_s }
            }
            NotMeasuredWord::Clipped => NotMeasured::Clipped,
            NotMeasuredWord::SeveralReeds => NotMeasured::SeveralReeds,
            NotMeasuredWord::LevelEven => NotMeasured::LevelEven,
            NotMeasuredWord::Swelling => NotMeasured::Swelling,
            NotMeasuredWord::OppositeUnknown => NotMeasured::OppositeUnknown,
            NotMeasuredWord::OneReed => return Err(NoReason),
        })
    }
}

impl From<&Warning> for Worded<WarningWord> {
    fn from(warning: &Warning) -> Self {
        let kind = match *warning {
            Warning::Clipped { count } => WarningWord::Clipped { count },
            Warning::NotFinite { count } => WarningWord::NotFinite { count },
            Warning::Wandering { range } => WarningWord::Wandering { range_cents: finite(range) },
            Warning::Noisy { snr } => WarningWord::Noisy { snr_db: finite(snr) },
            Warning::Unexpected { cents } => WarningWord::Unexpected { cents: finite(cents) },
            Warning::Lossy => WarningWord::Lossy,
            Warning::OtherTone { hz } => WarningWord::OtherTone { hz: finite(hz) },
            Warning::Remark(_) => WarningWord::Remark,
            Warning::SeveralReeds { count } => WarningWord::SeveralReeds { count },
        };
        Self { kind, text: warning.to_string() }
    }
}

impl From<Worded<WarningWord>> for Warning {
    fn from(worded: Worded<WarningWord>) -> Self {
        match worded.kind {
            WarningWord::Clipped { count } => Warning::Clipped { count },
            WarningWord::NotFinite { count } => Warning::NotFinite { count },
            WarningWord::Wandering { range_cents } => Warning::Wandering { range: range_cents },
            WarningWord::Noisy { snr_db } => Warning::Noisy { snr: snr_db },
            WarningWord::Unexpected { cents } => Warning::Unexpected { cents },
            WarningWord::Lossy => Warning::Lossy,
            WarningWord::OtherTone { hz } => Warning::OtherTone { hz },
            WarningWord::Remark => Warning::Remark(worded.text),
            WarningWord::SeveralReeds { count } => Warning::SeveralReeds { count },
        }
    }
}

impl From<&Refusal> for Worded<RefusalWord> {
    fn from(refusal: &Refusal) -> Self {
        let kind = match *refusal {
            Refusal::Empty => RefusalWord::Empty,
            Refusal::Rate { rate_hz } => RefusalWord::Rate { rate_hz },
            Refusal::Silent => RefusalWord::Silent,
            Refusal::NoTone => RefusalWord::NoTone,
            Refusal::TooShort { sounds, needs } => {
                RefusalWord::TooShort { sounds_s: finite(sounds), needs_s: finite(needs) }
            }
            Refusal::NotSteady => RefusalWord::NotSteady,
        };
        Self { kind, text: refusal.to_string() }
    }
}
