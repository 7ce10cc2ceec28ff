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
}

/// How far a rank is set off its target, for beats with another rank.
#[derive(Debug, Clone, PartialEq)]
pub enum Tremolo {
    /// The same interval for all notes; zero for a straight rank.
    Even(Cents),
    /// Cents at anchor notes (ascending), interpolated linearly over the note number and held beyond the ends.
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
        let cents = 100.0 * f64::from(note.number() - 69) + offset;
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

fn interpolate(anchors: &[(Note, f64)], note: Note) -> f64 {
    let after = anchors.partition_point(|(at, _)| *at < note);
    match (after.checked_sub(1).and_then(|before| anchors.get(before)), anchors.get(after)) {
        (Some((low, left)), Some((high, right))) => {
            let way = f64::from(note.number() - low.number()) / f64::from(high.number() - low.number());
            left + way * (right - left)
        }
        (Some((_, value)), None) | (None, Some((_, value))) => *value,
        (None, None) => 0.0,
    }
}
