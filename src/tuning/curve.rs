//! A rank beside its companion: the curve it is set off by, the curve it follows now, and how evenly.

use crate::instrument::{Note, Tremolo};
use crate::judgement::robust::{median, robust_scatter};
use crate::units::{Cents, Hz, Measured};

use super::solve::Root;

/// One anchor for so many notes, at least 2 and at most 6: an octave and a half of freedom is what a tuner's own curve has.
const NOTES_AN_ANCHOR: f64 = 9.0;
const MOST_ANCHORS: usize = 6;
/// A note further off than this many robust spreads tells nothing of the curve (Tukey's weights, usual constant).
const TUKEY: f64 = 4.685;
/// Below this scatter departures are luck, beats per second. Our own choice.
const LEAST_SCATTER_HZ: f64 = 0.02;
const ROUNDS: usize = 20;

/// What a curve is told in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveUnit {
    /// Beats per second.
    Beats,
    /// Cents.
    Cents,
}

/// A note of a rank beside its companion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// The note.
    pub note: Note,
    /// The companion's pitch.
    pub companion: Hz,
    /// The rank's pitch.
    pub rank: Hz,
    /// Half the 95 % interval of the distance between them.
    pub uncertainty: Cents,
}

impl Beside {
    /// Beats per second; negative where the rank is below.
    pub fn beats(&self) -> f64 {
        self.rank.get() - self.companion.get()
    }

    /// Half the 95 % interval of the beats.
    pub fn beats_uncertainty(&self) -> f64 {
        self.companion.get() * ((self.uncertainty.get() / 1200.0).exp2() - 1.0)
    }

    fn told(&self, told: CurveUnit) -> f64 {
        match told {
            CurveUnit::Beats => self.beats(),
            CurveUnit::Cents => self.rank.cents_above(self.companion).get(),
        }
    }
}

/// The curve a rank follows now.
#[derive(Debug, Clone, PartialEq)]
pub struct Followed {
    /// Anchors for the plan, beats per second or cents.
    pub tremolo: Tremolo,
    /// Robust scatter of the notes about it, beats per second: the evenness.
    pub evenness_hz: f64,
    /// Each note's departure from it, beats per second, in the order given.
    pub departures: Vec<(Note, f64)>,
}

/// The curve that most of the notes follow: heights at anchors a few notes apart, straight between them, fitted by least
/// squares with Tukey's weights. `None` with fewer than 4 notes.
pub fn followed(notes: &[Beside], told: CurveUnit) -> Option<Followed> {
    if notes.len() < super::LEAST_REEDS {
        return None;
    }
    let low = notes.iter().map(|beside| beside.note).min()?;
    let high = notes.iter().map(|beside| beside.note).max()?;
    let span = f64::from(high.number() - low.number());
    let wanted = (span / NOTES_AN_ANCHOR).round() as usize + 1;
    // Half as many anchors as notes, or a note would be its own judge.
    let count = wanted.clamp(2, MOST_ANCHORS).min(notes.len() / 2).max(1);
    let mut anchors: Vec<Note> = (0..count)
        .filter_map(|k| {
            let way = if count == 1 { 0.5 } else { k as f64 / (count - 1) as f64 };
            Note::from_number(low.number() + (way * span).round() as i16)
        })
        .collect();
    anchors.dedup();
    let values: Vec<f64> = notes.iter().map(|beside| beside.told(told)).collect();
    let heights = fit(&anchors, notes, &values)?;
    let tremolo = match told {
        CurveUnit::Beats => Tremolo::BeatsAt(anchors.into_iter().zip(heights).collect()),
        CurveUnit::Cents => Tremolo::CentsAt(
            anchors
                .into_iter()
                .zip(heights)
                .filter_map(|(note, height)| Some((note, Cents::new(height)?)))
                .collect(),
        ),
    };
    let departures = departures(&tremolo, notes);
    let values: Vec<f64> = departures.iter().map(|(_, beats)| *beats).collect();
    Some(Followed { tremolo, evenness_hz: robust_scatter(&values)?, departures })
}

/// How far each note lies from a curve, beats per second.
pub fn departures(tremolo: &Tremolo, notes: &[Beside]) -> Vec<(Note, f64)> {
    notes
        .iter()
        .map(|beside| (beside.note, beside.beats() - beats_of(tremolo, beside.note, beside.companion)))
        .collect()
}

/// Beats per second that a curve asks for at a note whose companion stands at `companion`.
pub fn beats_of(tremolo: &Tremolo, note: Note, companion: Hz) -> f64 {
    companion.raised_by(tremolo.offset(note, companion)).get() - companion.get()
}

fn fit(anchors: &[Note], notes: &[Beside], values: &[f64]) -> Option<Vec<f64>> {
    let hats: Vec<Vec<f64>> = notes.iter().map(|beside| hat(anchors, beside.note)).collect();
    let mut weights = vec![1.0; notes.len()];
    // From a robust start: the median everywhere.
    let mut heights = vec![median(values)?; anchors.len()];
    for round in 0..ROUNDS {
        if round > 0 {
            let left: Vec<f64> =
                hats.iter().zip(values).map(|(hat, value)| value - dot(hat, &heights)).collect();
            let reach = TUKEY * robust_scatter(&left)?.max(LEAST_SCATTER_HZ);
            weights = left.iter().map(|left| (1.0 - (left / reach).powi(2)).max(0.0).powi(2)).collect();
        }
        let n = anchors.len();
        let (mut matrix, mut right) = (vec![vec![0.0; n]; n], vec![0.0; n]);
        for ((hat, value), weight) in hats.iter().zip(values).zip(&weights) {
            for i in 0..n {
                right[i] += weight * hat[i] * value;
                for j in 0..n {
                    matrix[i][j] += weight * hat[i] * hat[j];
                }
            }
        }
        // A touch of stiffness: an anchor without notes lies between its neighbours.
        for i in 1..n.saturating_sub(1) {
            for (a, at) in [(i - 1, -0.5), (i, 1.0), (i + 1, -0.5)] {
                for (b, bt) in [(i - 1, -0.5), (i, 1.0), (i + 1, -0.5)] {
                    matrix[a][b] += 0.1 * at * bt;
                }
            }
        }
        for (i, row) in matrix.iter_mut().enumerate() {
            row[i] += 1e-9;
        }
        heights = Root::of(&matrix)?.solve(&right);
    }
    Some(heights)
}

fn hat(anchors: &[Note], note: Note) -> Vec<f64> {
    let mut hat = vec![0.0; anchors.len()];
    let after = anchors.partition_point(|anchor| *anchor < note);
    match (after.checked_sub(1), anchors.get(after)) {
        (Some(before), Some(high)) => {
            let low = anchors[before];
            let way = f64::from(note.number() - low.number()) / f64::from(high.number() - low.number());
            hat[before] = 1.0 - way;
            hat[after] = way;
        }
        (Some(before), None) => hat[before] = 1.0,
        (None, _) => hat[0] = 1.0,
    }
    hat
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The distance of two pitches with half its 95 % interval.
pub fn distance(rank: (Hz, Cents), companion: (Hz, Cents)) -> Measured {
    let uncertainty = Cents::new(rank.1.get().hypot(companion.1.get())).unwrap_or(Cents::ZERO);
    Measured { value: rank.0.cents_above(companion.0), uncertainty }
}
