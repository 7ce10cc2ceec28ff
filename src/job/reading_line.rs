//! A reading as it is stored and handed to other programs; `docs/json.md` describes every field.
//!
//! A shape of its own, so that no change in the analysis silently changes what others parse. Every digit is kept: a
//! reading comes back bit for bit. Other programs' extra fields are passed over.

use serde::{Deserialize, Serialize};

use super::reading_words::{MissingWord, NotMeasuredWord, WarningWord, Worded, finite};
use crate::analysis::{
    Doubt, NotMeasured, Opposite, OppositeDetail, OppositeLine, Partial, Reading, SoundingReed, Tail,
};
use crate::instrument::Note;
use crate::units::{Cents, Dbfs, Decibels, Hz, Seconds, Span};

/// A reading: the reed, the opposite reed, the tail, further reeds, warnings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingLine {
    reading: ReedPart,
    opposite: OppositePart,
    tail: TailPart,
    reeds: Vec<SoundingPart>,
    warnings: Vec<Worded<WarningWord>>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct ReedPart {
    f0_hz: f64,
    note: Option<String>,
    cents: Option<f64>,
    uncertainty_cents: f64,
    doubt_cents: DoubtPart,
    steady_s: [f64; 2],
    level_dbfs: f64,
    onset_s: Option<f64>,
    breath_db: Option<f64>,
    pitch_per_db: Option<SlopePart>,
    partials: Vec<PartialPart>,
    not_measured: NotMeasuredPart,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct DoubtPart {
    noise: f64,
    wander: f64,
    clock: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct SlopePart {
    cents: f64,
    uncertainty_cents: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct PartialPart {
    number: u32,
    level_db: f64,
    above_noise_db: f64,
}

/// Why each `null` of the reed part is one.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct NotMeasuredPart {
    #[serde(skip_serializing_if = "Option::is_none")]
    onset_s: Option<MissingWord>,
    #[serde(skip_serializing_if = "Option::is_none")]
    breath_db: Option<MissingWord>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pitch_per_db: Option<MissingWord>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum OppositeState {
    Sounding,
    Quiet,
    Unresolved,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct OppositePart {
    state: Option<OppositeState>,
    level_db: Option<f64>,
    limit_db: Option<f64>,
    cents: Option<f64>,
    uncertainty_cents: Option<f64>,
    evidence: Option<f64>,
    needs_s: Option<f64>,
    reason: Option<MissingWord>,
    /// Readings kept by an earlier version have neither of these.
    #[serde(default)]
    limit_from_cents: Option<f64>,
    #[serde(default)]
    lines: Option<Vec<OppositeLinePart>>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct OppositeLinePart {
    number: u32,
    level_db: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum TailState {
    Heard,
    Quiet,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct TailPart {
    state: Option<TailState>,
    level_db: Option<f64>,
    limit_db: Option<f64>,
    cents: Option<f64>,
    evidence: Option<f64>,
    reason: Option<MissingWord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct SoundingPart {
    f0_hz: f64,
    uncertainty_cents: f64,
    level_db: f64,
}

impl ReadingLine {
    /// The same, with the note the pitch was measured against and how far above it the pitch lies.
    pub(super) fn against(mut self, note: Note, cents: Cents) -> Self {
        self.reading.note = Some(note.to_string());
        self.reading.cents = Some(cents.get());
        self
    }
}

impl From<&Reading> for ReadingLine {
    fn from(reading: &Reading) -> Self {
        let Doubt { noise, wander, clock } = reading.doubt;
        Self {
            reading: ReedPart {
                f0_hz: reading.f0.get(),
                note: None,
                cents: None,
                uncertainty_cents: reading.uncertainty.get(),
                doubt_cents: DoubtPart { noise: noise.get(), wander: wander.get(), clock: clock.get() },
                steady_s: [reading.steady.start.get(), reading.steady.end.get()],
                level_dbfs: reading.level.get(),
                onset_s: reading.onset.ok().map(Seconds::get),
                breath_db: reading.breath.ok().map(Decibels::get),
                pitch_per_db: reading.pitch_per_db.ok().map(|(cents, doubt)| SlopePart {
                    cents: finite(cents),
                    uncertainty_cents: finite(doubt),
                }),
                partials: reading.partials.iter().map(PartialPart::from).collect(),
                not_measured: NotMeasuredPart {
                    onset_s: reading.onset.err().map(MissingWord::from),
                    breath_db: reading.breath.err().map(MissingWord::from),
                    pitch_per_db: reading.pitch_per_db.err().map(MissingWord::from),
                },
            },
            opposite: OppositePart::from((&reading.opposite, &reading.opposite_detail)),
            tail: TailPart::from(&reading.tail),
            reeds: reading.reeds.iter().map(SoundingPart::from).collect(),
            warnings: reading.warnings.iter().map(Worded::from).collect(),
        }
    }
}

impl From<&Partial> for PartialPart {
    fn from(partial: &Partial) -> Self {
        let (level_db, above_noise_db) = (partial.level.get(), partial.above_noise.get());
        Self { number: partial.number, level_db, above_noise_db }
    }
}

impl From<&SoundingReed> for SoundingPart {
    fn from(reed: &SoundingReed) -> Self {
        let (uncertainty_cents, level_db) = (reed.uncertainty.get(), reed.level.get());
        Self { f0_hz: reed.f0.get(), uncertainty_cents, level_db }
    }
}

impl From<(&Opposite, &OppositeDetail)> for OppositePart {
    fn from((opposite, detail): (&Opposite, &OppositeDetail)) -> Self {
        let line = |line: &OppositeLine| OppositeLinePart { number: line.number, level_db: line.level.get() };
        let empty = Self {
            limit_from_cents: detail.limit_from.map(Cents::get),
            lines: (!detail.lines.is_empty()).then(|| detail.lines.iter().map(line).collect()),
            ..Self::default()
        };
        match *opposite {
            Opposite::Sounding { level, offset, uncertainty, evidence } => Self {
                state: Some(OppositeState::Sounding),
                level_db: Some(level.get()),
                cents: Some(offset.get()),
                uncertainty_cents: Some(uncertainty.get()),
                evidence: Some(finite(evidence)),
                ..empty
            },
            Opposite::Quiet { limit, evidence } => Self {
                state: Some(OppositeState::Quiet),
                limit_db: Some(limit.get()),
                evidence: Some(finite(evidence)),
                ..empty
            },
            Opposite::Unresolved { evidence, needs, reason } => Self {
                state: Some(OppositeState::Unresolved),
                evidence: Some(finite(evidence)),
                needs_s: needs.map(Seconds::get),
                reason: Some(reason.into()),
                ..empty
            },
            Opposite::NotLooked => Self { reason: Some(MissingWord::one_reed()), ..empty },
        }
    }
}

impl From<&Tail> for TailPart {
    fn from(tail: &Tail) -> Self {
        let empty = Self::default();
        match *tail {
            Tail::Heard { level, offset, evidence } => Self {
                state: Some(TailState::Heard),
                level_db: Some(level.get()),
                cents: Some(offset.get()),
                evidence: Some(finite(evidence)),
                ..empty
            },
            Tail::Quiet { limit, evidence } => Self {
                state: Some(TailState::Quiet),
                limit_db: Some(limit.get()),
                evidence: Some(finite(evidence)),
                ..empty
            },
            Tail::NotMeasured(reason) => Self { reason: Some(reason.into()), ..empty },
        }
    }
}

impl TryFrom<ReadingLine> for Reading {
    type Error = String;

    /// Fails, with the field's name, on a number out of range or a part whose fields do not fit its state.
    fn try_from(line: ReadingLine) -> Result<Self, String> {
        let reed = line.reading;
        let [start, end] = reed.steady_s;
        let missing = reed.not_measured;
        let wrong = || "`reading.steady_s`: the end lies before the start".to_string();
        Ok(Self {
            f0: Hz::new(reed.f0_hz).ok_or("`reading.f0_hz` is not above 0")?,
            uncertainty: cents(reed.uncertainty_cents)?,
            doubt: Doubt {
                noise: cents(reed.doubt_cents.noise)?,
                wander: cents(reed.doubt_cents.wander)?,
                clock: cents(reed.doubt_cents.clock)?,
            },
            steady: (start <= end)
                .then_some(Span { start: seconds(start)?, end: seconds(end)? })
                .ok_or_else(wrong)?,
            level: Dbfs::new(reed.level_dbfs).ok_or("`reading.level_dbfs` is not finite")?,
            onset: value_or_reason("onset_s", reed.onset_s.map(seconds).transpose()?, missing.onset_s)?,
            breath: value_or_reason("breath_db", reed.breath_db.map(db).transpose()?, missing.breath_db)?,
            pitch_per_db: value_or_reason(
                "pitch_per_db",
                reed.pitch_per_db.map(|slope| (slope.cents, slope.uncertainty_cents)),
                missing.pitch_per_db,
            )?,
            partials: reed.partials.into_iter().map(Partial::try_from).collect::<Result<_, _>>()?,
            opposite_detail: line.opposite.detail()?,
            opposite: line.opposite.try_into()?,
            tail: line.tail.try_into()?,
            reeds: line.reeds.into_iter().map(SoundingReed::try_from).collect::<Result<_, _>>()?,
            warnings: line.warnings.into_iter().map(Into::into).collect(),
        })
    }
}

impl TryFrom<PartialPart> for Partial {
    type Error = String;

    fn try_from(part: PartialPart) -> Result<Self, String> {
        Ok(Self { number: part.number, level: db(part.level_db)?, above_noise: db(part.above_noise_db)? })
    }
}

impl TryFrom<SoundingPart> for SoundingReed {
    type Error = String;

    fn try_from(part: SoundingPart) -> Result<Self, String> {
        let f0 = Hz::new(part.f0_hz).ok_or("`reeds.f0_hz` is not above 0")?;
        Ok(Self { f0, uncertainty: cents(part.uncertainty_cents)?, level: db(part.level_db)? })
    }
}

impl OppositePart {
    fn detail(&self) -> Result<OppositeDetail, String> {
        let line =
            |part: &OppositeLinePart| Ok(OppositeLine { number: part.number, level: db(part.level_db)? });
        Ok(OppositeDetail {
            lines: self.lines.iter().flatten().map(line).collect::<Result<_, String>>()?,
            limit_from: self.limit_from_cents.map(cents).transpose()?,
        })
    }
}

impl TryFrom<OppositePart> for Opposite {
    type Error = String;

    fn try_from(part: OppositePart) -> Result<Self, String> {
        let needed = |value: Option<f64>, name: &str| value.ok_or(format!("`opposite.{name}` is missing"));
        let Some(state) = part.state else { return Ok(Opposite::NotLooked) };
        let evidence = needed(part.evidence, "evidence")?;
        Ok(match state {
            OppositeState::Sounding => Opposite::Sounding {
                level: db(needed(part.level_db, "level_db")?)?,
                offset: cents(needed(part.cents, "cents")?)?,
                uncertainty: cents(needed(part.uncertainty_cents, "uncertainty_cents")?)?,
                evidence,
            },
            OppositeState::Quiet => {
                Opposite::Quiet { limit: db(needed(part.limit_db, "limit_db")?)?, evidence }
            }
            OppositeState::Unresolved => Opposite::Unresolved {
                evidence,
                needs: part.needs_s.map(seconds).transpose()?,
                reason: reason("opposite.reason", part.reason)?,
            },
        })
    }
}

impl TryFrom<TailPart> for Tail {
    type Error = String;

    fn try_from(part: TailPart) -> Result<Self, String> {
        let needed = |value: Option<f64>, name: &str| value.ok_or(format!("`tail.{name}` is missing"));
        Ok(match part.state {
            Some(TailState::Heard) => Tail::Heard {
                level: db(needed(part.level_db, "level_db")?)?,
                offset: cents(needed(part.cents, "cents")?)?,
                evidence: needed(part.evidence, "evidence")?,
            },
            Some(TailState::Quiet) => Tail::Quiet {
                limit: db(needed(part.limit_db, "limit_db")?)?,
                evidence: needed(part.evidence, "evidence")?,
            },
            None => Tail::NotMeasured(reason("tail.reason", part.reason)?),
        })
    }
}

fn value_or_reason<T>(
    name: &str,
    value: Option<T>,
    why: Option<MissingWord>,
) -> Result<Result<T, NotMeasured>, String> {
    match value {
        Some(value) => Ok(Ok(value)),
        None => Ok(Err(reason(&format!("reading.not_measured.{name}"), why)?)),
    }
}

fn reason(name: &str, why: Option<MissingWord>) -> Result<NotMeasured, String> {
    let word: NotMeasuredWord = why.ok_or(format!("`{name}` is missing"))?.kind;
    word.try_into().map_err(|_| format!("`{name}` does not fit"))
}

fn cents(value: f64) -> Result<Cents, String> {
    Cents::new(value).ok_or_else(|| "an interval in cents is not finite".into())
}

fn db(value: f64) -> Result<Decibels, String> {
    Decibels::new(value).ok_or_else(|| "a level in dB is not finite".into())
}

fn seconds(value: f64) -> Result<Seconds, String> {
    Seconds::new(value).ok_or_else(|| "a time in seconds is not finite".into())
}
