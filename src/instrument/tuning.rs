//! What a note should be: reference pitch, temperament, tremolo offset.

use super::Note;
use crate::units::{Cents, Hz};

/// Cents of each pitch class against equal temperament, C first; A's entry is taken off all, so that A4 stays the reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Temperament(pub [f64; 12]);

/// Reference pitch and temperament of a job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tuning {
    /// Pitch of A4, 400 to 470 Hz.
    pub reference: Hz,
    /// Offsets of the pitch classes.
    pub temperament: Temperament,
    /// Cents an octave that notes are spread away from A4; 0 for pure octaves.
    pub stretch: Cents,
}

/// How far a rank is set off its target, for beats with another rank.
#[derive(Debug, Clone, PartialEq)]
pub enum Tremolo {
    /// The same interval for all notes; zero for a straight rank.
    Even(Cents),
    /// Cents at anchor notes (ascending), interpolated smoothly over the note number and held beyond the ends.
    CentsAt(Vec<(Note, Cents)>),
    /// Beats per second at anchor notes (ascending), interpolated over the note number; negative is flat.
    BeatsAt(Vec<(Note, f64)>),
}

impl Temperament {
    /// Equal temperament.
    pub const EQUAL: Temperament = Temperament([0.0; 12]);
}

impl Tuning {
    /// The pitch `note` should have, without any tremolo offset.
    pub fn target(&self, note: Note) -> Hz {
        let table = &self.temperament.0;
        let offset = table[note.pitch_class()] - table[9];
        let semitones = f64::from(note.number() - 69);
        let cents = (100.0 + self.stretch.get() / 12.0) * semitones + offset;
        self.reference.raised_by(Cents::new(cents).unwrap_or(Cents::ZERO))
    }

    /// The note whose target lies nearest to `pitch`, and how far above it the pitch is; `None` outside the note range.
    pub fn nearest(&self, pitch: Hz) -> Option<(Note, Cents)> {
        let guess = 69 + (pitch.cents_above(self.reference).get() / 100.0).round() as i16;
        (guess - 1..=guess + 1)
            .filter_map(Note::from_number)
            .map(|note| (note, pitch.cents_above(self.target(note))))
            .min_by(|a, b| a.1.abs().get().total_cmp(&b.1.abs().get()))
    }
}

impl Tremolo {
    /// The offset of `note`, whose straight target is `target`.
    pub fn offset(&self, note: Note, target: Hz) -> Cents {
        match self {
            Tremolo::Even(cents) => *cents,
            Tremolo::CentsAt(anchors) => {
                let points: Vec<_> = anchors.iter().map(|(at, cents)| (*at, cents.get())).collect();
                Cents::new(interpolate(&points, note)).unwrap_or(Cents::ZERO)
            }
            Tremolo::BeatsAt(anchors) => {
                let beats = interpolate(anchors, note);
                Hz::new(target.get() + beats).map_or(Cents::ZERO, |pitch| pitch.cents_above(target))
            }
        }
    }
}

/// A smooth curve through the anchors, held beyond the ends: between two of them it neither overshoots nor turns back, and
/// through two anchors it is straight.
///
/// Source: cubic pieces with the slopes of Fritsch and Butland (1984), harmonic means of the neighbours' (from memory).
fn interpolate(anchors: &[(Note, f64)], note: Note) -> f64 {
    let after = anchors.partition_point(|(at, _)| *at < note);
    let x = |index: usize| anchors.get(index).map(|(at, _)| f64::from(at.number()));
    let y = |index: usize| anchors.get(index).map(|(_, value)| *value);
    let slope_after = |index: usize| Some((y(index + 1)? - y(index)?) / (x(index + 1)? - x(index)?));
    let slope_at = |index: usize| {
        let before = index.checked_sub(1).and_then(slope_after);
        match (before, slope_after(index)) {
            (Some(left), Some(right)) if left * right > 0.0 => {
                let steps = (x(index)? - x(index - 1)?, x(index + 1)? - x(index)?);
                let weights = (steps.0 + 2.0 * steps.1, 2.0 * steps.0 + steps.1);
                Some((weights.0 + weights.1) / (weights.0 / left + weights.1 / right))
            }
            (Some(_), Some(_)) => Some(0.0),
            (one, other) => one.or(other),
        }
    };
    let between = |before: usize| -> Option<f64> {
        let width = x(after)? - x(before)?;
        let way = (f64::from(note.number()) - x(before)?) / width;
        let (left, right) = (y(before)?, y(after)?);
        let (rise, fall) = (width * slope_at(before)?, width * slope_at(after)?);
        let step = way * way * (3.0 - 2.0 * way);
        let bend = way * (1.0 - way) * ((1.0 - way) * rise - way * fall);
        Some(left + step * (right - left) + bend)
    };
    match (after.checked_sub(1), anchors.get(after)) {
        (Some(before), Some(_)) => between(before).unwrap_or(0.0),
        (Some(before), None) => y(before).unwrap_or(0.0),
        (None, Some((_, value))) => *value,
        (None, None) => 0.0,
    }
}
