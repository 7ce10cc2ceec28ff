//! How far the whole instrument lies from its targets: what is expected beforehand, and what else may be true.

use super::hmm::{self, At, Notes};
use super::transitions::Transitions;
use crate::instrument::ReedPlace;
use crate::units::Cents;

/// Offsets so far apart are looked at apart, cents.
pub(super) const APART_CENTS: f64 = 25.0;
/// The common offset is looked for up to here, cents, in these steps.
const MOST_CENTS: i32 = 80;
const STEP_CENTS: i32 = 5;
/// Near zero is likelier, but not by much: deviation of the expected offset, cents.
const SPREAD_CENTS: f64 = 50.0;
/// Around a known offset it is looked for so far, cents.
const AROUND_CENTS: f64 = 35.0;

/// How far the instrument is known to lie from its targets, before the recording is listened to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownOffset {
    /// Where it is expected.
    pub centre: Cents,
    /// Standard deviation about that; above 0.
    pub spread: Cents,
    /// How likely it is that this holds at all, from 0 to 1; else nothing is known.
    pub holds: f64,
}

/// Another offset at which the notes fit too.
#[derive(Debug, Clone, PartialEq)]
pub struct Rival {
    /// The offset.
    pub offset: Cents,
    /// How likely it is, from 0 to 1.
    pub part: f64,
    /// Where the notes belong then, in the order they were given; `None` where one fits no reed.
    pub places: Vec<Option<ReedPlace>>,
}

/// A way to understand the whole: an order, an offset, and the targets with plates exchanged or not.
pub(super) struct Way {
    /// Its likelihood, natural logarithm.
    pub log: f64,
    /// Number of the order.
    pub order: usize,
    pub offset: f64,
    /// The notes over those targets.
    pub notes: Notes,
}

/// The offsets to be looked at, cents.
pub(super) fn steps(known: Option<KnownOffset>) -> Vec<f64> {
    let all = (-MOST_CENTS / STEP_CENTS..=MOST_CENTS / STEP_CENTS).map(|step| f64::from(step * STEP_CENTS));
    let mut steps: Vec<f64> = all.collect();
    if let Some(known) = known {
        let (low, high) = (known.centre.get() - AROUND_CENTS, known.centre.get() + AROUND_CENTS);
        let step = f64::from(STEP_CENTS);
        let around = (0..=((high - low) / step) as usize).map(|k| ((low / step).ceil() + k as f64) * step);
        steps.extend(around.filter(|offset| offset.abs() > f64::from(MOST_CENTS)));
        steps.sort_by(f64::total_cmp);
    }
    steps
}

/// How likely an offset is before anything is heard, natural logarithm, up to a constant.
pub(super) fn log_expected(known: Option<KnownOffset>, offset: f64) -> f64 {
    let normal = |centre: f64, spread: f64| (-0.5 * ((offset - centre) / spread).powi(2)).exp() / spread;
    let unknown = normal(0.0, SPREAD_CENTS);
    let value = known.map_or(unknown, |known| {
        let near = normal(known.centre.get(), known.spread.get().max(1.0));
        known.holds * near + (1.0 - known.holds) * unknown
    });
    value.max(1e-300).ln()
}

/// The likeliest offset apart from the `chosen` one, where it has more than `least` of all likelihood.
pub(super) fn rival(
    all: &[Way],
    chosen: f64,
    least: f64,
    lanes: &[Transitions],
    reeds: &[ReedPlace],
) -> Option<Rival> {
    let top = all.iter().map(|one| one.log).fold(f64::NEG_INFINITY, f64::max);
    let sum = |ways: &mut dyn Iterator<Item = &Way>| ways.map(|one| (one.log - top).exp()).sum::<f64>();
    let apart = all.iter().filter(|one| (one.offset - chosen).abs() > APART_CENTS);
    let best = apart.max_by(|a, b| a.log.total_cmp(&b.log))?;
    let near_it = |one: &&Way| {
        (one.offset - best.offset).abs() <= APART_CENTS && (one.offset - chosen).abs() > APART_CENTS
    };
    let part = sum(&mut all.iter().filter(near_it)) / sum(&mut all.iter());
    if part < least {
        return None;
    }
    let lane = lanes.get(best.order)?;
    let way = hmm::likeliest(lane, &best.notes);
    let places = way.iter().map(|at| match at {
        At::State(state) => lane.reed.get(*state).and_then(|reed| reeds.get(*reed)).cloned(),
        At::Astray => None,
    });
    Some(Rival { offset: Cents::new(best.offset)?, part, places: places.collect() })
}

/// The middle of some values.
pub(super) fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(centre: f64, holds: f64) -> Option<KnownOffset> {
        let cents = |value| Cents::new(value).expect("cents");
        Some(KnownOffset { centre: cents(centre), spread: cents(10.0), holds })
    }

    #[test]
    fn a_known_offset_beyond_the_usual_ones_is_looked_for() {
        assert_eq!(steps(None).first().zip(steps(None).last().copied()), Some((&-80.0, 80.0)));
        let far = steps(known(-143.0, 0.99));
        assert!(far.first() == Some(&-175.0) && far.contains(&-145.0) && far.contains(&80.0), "{far:?}");
        assert!(far.windows(2).all(|pair| pair[0] < pair[1]), "{far:?}");
    }

    #[test]
    fn what_is_known_weighs_and_what_it_leaves_open_stays_possible() {
        let gain = |known, a, b| log_expected(known, a) - log_expected(known, b);
        assert!(gain(None, 22.0, -78.0) > 0.0);
        assert!(gain(known(-78.0, 0.95), -78.0, 22.0) > 4.0);
        // Not for ever: what is heard may say otherwise.
        assert!(gain(known(-78.0, 0.95), -78.0, 22.0) < 8.0);
    }
}
