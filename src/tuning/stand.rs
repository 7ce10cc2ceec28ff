//! Where the instrument stands, and what any target would cost.

use crate::instrument::{Instrument, Note, ReedPlace, Temperament};
use crate::judgement::robust::{median, robust_scatter, theil_sen};
use crate::judgement::{Findings, Tune};
use crate::units::{Cents, Hz, Measured};

/// Raising a thin high reed by more takes metal that carries the tone: a job for a new reed. Common practice, no source.
const PRUDENT_HIGH_CENTS: f64 = 30.0;
/// Lower, thicker reeds, and any reed at its root, bear more. Our own choice, after the figure for high reeds.
const PRUDENT_CENTS: f64 = 50.0;
/// Thin high reeds begin at C6.
const HIGH_FROM: i16 = 84;

/// Where a rank or the whole instrument stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Stand {
    /// Block and row; `None` for the whole instrument.
    pub rank: Option<(String, String)>,
    /// A4 as found: the plan's reference moved by the median deviation.
    pub a4: Hz,
    /// The median deviation from the plan's targets, with half its 95 % interval, the clock's doubt included.
    pub offset: Measured,
    /// How the deviation goes from low to high, cents an octave, with half its 95 % interval; `None` where the reeds span
    /// less than half an octave.
    pub slope: Option<(f64, f64)>,
    /// Scatter of single reeds about that line, one robust standard deviation, cents.
    pub scatter: f64,
    /// How many reeds were measured.
    pub reeds: usize,
}

/// A pitch to tune to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goal {
    /// Pitch of A4.
    pub reference: Hz,
    /// Offsets of the pitch classes.
    pub temperament: Temperament,
    /// Cents an octave that notes are spread away from A4.
    pub stretch: Cents,
}

/// What a goal costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Cost {
    /// The goal.
    pub goal: Goal,
    /// Reeds surely out of tolerance, of those measured.
    pub reeds: usize,
    /// Reeds that were measured.
    pub measured: usize,
    /// Cents to raise by filing at the tip, all reeds together.
    pub at_tip: f64,
    /// Cents to lower by filing at the root, all reeds together.
    pub at_root: f64,
    /// Reeds beyond what is prudent, in the plan's order.
    pub beyond: Vec<ReedPlace>,
}

/// Where each rank and the whole instrument stand; ranks with too few reeds are left out.
pub fn stands(instrument: &Instrument, findings: &Findings) -> Vec<Stand> {
    let seen: Vec<(&ReedPlace, Note, Measured)> = findings
        .reeds
        .iter()
        .filter_map(|reed| {
            let pitch = reed.pitch.as_ref().ok().filter(|pitch| pitch.tune.is_some())?;
            Some((&reed.place, reed.note, pitch.deviation))
        })
        .collect();
    let ranks = instrument
        .blocks
        .iter()
        .flat_map(|block| block.rows.iter().map(|row| Some((block.name.clone(), row.name.clone()))));
    let whole = std::iter::once(None);
    let all: Vec<Stand> = whole
        .chain(ranks)
        .filter_map(|rank| {
            let values: Vec<(f64, Measured)> = seen
                .iter()
                .filter(|(place, ..)| {
                    rank.as_ref()
                        .is_none_or(|(block, row)| (&place.plate.block, &place.plate.row) == (block, row))
                })
                .map(|(_, note, off)| (f64::from(note.number()), *off))
                .collect();
            stand(instrument.tuning.reference, rank, &values)
        })
        .collect();
    // One rank is the whole.
    if all.len() == 2 { all.into_iter().take(1).collect() } else { all }
}

fn stand(reference: Hz, rank: Option<(String, String)>, seen: &[(f64, Measured)]) -> Option<Stand> {
    if seen.len() < super::LEAST_REEDS {
        return None;
    }
    let values: Vec<f64> = seen.iter().map(|(_, off)| off.value.get()).collect();
    let middle = median(&values)?;
    let points: Vec<(f64, f64)> =
        seen.iter().map(|(note, off)| ((note - 69.0) / 12.0, off.value.get())).collect();
    let (slope, height) = theil_sen(&points);
    let left: Vec<f64> = points.iter().map(|(x, y)| y - height - slope * x).collect();
    let scatter = robust_scatter(&left)?;
    let n = seen.len() as f64;
    let x_mean = points.iter().map(|(x, _)| x).sum::<f64>() / n;
    let spread: f64 = points.iter().map(|(x, _)| (x - x_mean).powi(2)).sum();
    let reach = |pick: fn(f64, f64) -> f64, from: f64| points.iter().map(|(x, _)| *x).fold(from, pick);
    let span = reach(f64::max, f64::NEG_INFINITY) - reach(f64::min, f64::INFINITY);
    let whole_scatter = robust_scatter(&values)?;
    // The median of normal scatter is 1.2533 times less sure than the mean; what all readings share is the clock, at the
    // most the surest reading's whole doubt.
    let shared = seen.iter().map(|(_, off)| off.uncertainty.get()).fold(f64::INFINITY, f64::min);
    let doubt = (1.96 * 1.2533 * whole_scatter / n.sqrt()).hypot(shared);
    let offset = Measured { value: Cents::new(middle)?, uncertainty: Cents::new(doubt)? };
    Some(Stand {
        rank,
        a4: reference.raised_by(offset.value),
        offset,
        // Theil and Sen's slope has 0.91 of least squares' efficiency for normal scatter (from memory).
        slope: (span >= 0.5).then(|| (slope, 1.96 * scatter / (0.91 * spread).sqrt())),
        scatter,
        reeds: seen.len(),
    })
}

impl Goal {
    /// What the plan asks for.
    pub fn of(instrument: &Instrument) -> Self {
        let tuning = &instrument.tuning;
        Self { reference: tuning.reference, temperament: tuning.temperament, stretch: tuning.stretch }
    }

    /// The instrument as it would be planned for this goal.
    fn planned(&self, instrument: &Instrument) -> Instrument {
        let mut planned = instrument.clone();
        planned.tuning.reference = self.reference;
        planned.tuning.temperament = self.temperament;
        planned.tuning.stretch = self.stretch;
        planned
    }
}

/// What tuning to `goal` would cost, by the findings of a pass.
pub fn cost(instrument: &Instrument, findings: &Findings, goal: &Goal) -> Cost {
    let planned = goal.planned(instrument);
    let mut cost = Cost { goal: *goal, reeds: 0, measured: 0, at_tip: 0.0, at_root: 0.0, beyond: Vec::new() };
    for reed in &findings.reeds {
        let Some(pitch) = reed.pitch.as_ref().ok().filter(|pitch| pitch.tune.is_some()) else { continue };
        let Some(target) = planned.target(&reed.place) else { continue };
        let Some((block, ..)) = planned.plate(&reed.place.plate) else { continue };
        cost.measured += 1;
        let deviation = Measured { value: pitch.f0.cents_above(target), ..pitch.deviation };
        let way = deviation.value.abs().get();
        match Tune::of(deviation, block.tolerance) {
            Tune::Leave => continue,
            Tune::Raise => cost.at_tip += way,
            Tune::Lower => cost.at_root += way,
        }
        cost.reeds += 1;
        if way > prudent(reed.note, deviation.value) {
            cost.beyond.push(reed.place.clone());
        }
    }
    cost
}

/// How many cents of filing a reed bears.
fn prudent(note: Note, deviation: Cents) -> f64 {
    if deviation.get() < 0.0 && note.number() >= HIGH_FROM { PRUDENT_HIGH_CENTS } else { PRUDENT_CENTS }
}

/// Goals worth comparing: the plan's, the pitch as found to half a hertz, 440 (ISO 16) and 442 (common practice), and
/// those asked for; each reference once, ascending.
pub fn goals(instrument: &Instrument, whole: Option<&Stand>, asked: &[Goal]) -> Vec<Goal> {
    let plan = Goal::of(instrument);
    let mut goals = vec![plan];
    goals.extend(asked);
    let found = whole.and_then(|stand| Hz::new((2.0 * stand.a4.get()).round() / 2.0));
    let usual = [found, Some(Hz::STANDARD_A4), Hz::new(442.0)];
    for reference in usual.into_iter().flatten() {
        if goals.iter().all(|goal| goal.reference != reference) {
            goals.push(Goal { reference, ..plan });
        }
    }
    goals.sort_by(|a, b| a.reference.get().total_cmp(&b.reference.get()));
    goals.dedup();
    goals
}
