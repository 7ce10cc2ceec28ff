//! How far the instrument stands from its plan, by the takes the job holds already: a hint where a long recording belongs.

use super::plate::{is_as_stored, listen_to};
use crate::analysis::Expectation;
use crate::job::{Job, Readings, StoredTake};
use crate::judgement::robust::{median, robust_scatter};
use crate::units::Cents;

/// So many takes tell it, not fewer and not more; evenly spread over the block.
const LEAST_TAKES: usize = 3;
const MOST_TAKES: usize = 12;
/// Two sittings of one pass, and two passes, differ by this much as a whole, cents: room, bellows, bench.
const SAME_PASS_CENTS: f64 = 8.0;
const OTHER_PASS_CENTS: f64 = 15.0;

/// How far an instrument stands from its plan by the takes of a pass.
#[derive(Debug, Clone, PartialEq)]
pub struct TuningOffset {
    /// The middle of their deviations.
    pub offset: Cents,
    /// How far off a recording of the pass asked for may be, as a standard deviation.
    pub doubt: Cents,
    /// The pass they are of.
    pub pass: String,
    /// How many were listened to.
    pub n_takes: usize,
}

/// By the takes of `pass`, or else of the newest other pass that holds enough; those cut from the recording with the
/// SHA-256 `except` are left out, since they would confirm themselves. `None` where there are too few.
///
/// Source: our own rule; the deviation of a median is 1.25 times that of a mean (normal distribution).
pub fn tuning_offset(job: &Job, pass: &str, except: &str) -> Option<TuningOffset> {
    let mut passes: Vec<String> = job.passes().into_iter().map(|facts| facts.pass).collect();
    passes.reverse();
    passes.sort_by_key(|name| name != pass);
    let (kept, _) = Readings::of(job);
    passes.into_iter().find_map(|name| {
        let is_other = |take: &StoredTake| take.facts.cut.as_ref().is_none_or(|cut| cut.sha256 != except);
        let newest = |takes: Vec<StoredTake>| takes.into_iter().rev().find(is_other);
        let takes: Vec<StoredTake> =
            job.takes(&name).into_iter().filter_map(|(_, takes)| newest(takes)).collect();
        let step = takes.len().div_ceil(MOST_TAKES).max(1);
        let offs = takes.iter().step_by(step).filter_map(|take| deviation(job, &kept, take)).collect();
        let within = if name == pass { SAME_PASS_CENTS } else { OTHER_PASS_CENTS };
        of_deviations(offs, within, name)
    })
}

fn deviation(job: &Job, kept: &Readings, take: &StoredTake) -> Option<f64> {
    let target = job.instrument().target(&take.place)?;
    let expectation =
        Expectation { pitch: Some(target), clock: take.facts.clock(), ..Expectation::default() };
    let pitch = match kept.get(&take.facts.sha256, &expectation).filter(|_| is_as_stored(take)) {
        Some(kept) => kept.heard().0,
        None => listen_to(take, &expectation).ok()?.pitch().0,
    };
    Some(pitch.cents_above(target).get())
}

fn of_deviations(offs: Vec<f64>, within: f64, pass: String) -> Option<TuningOffset> {
    let n_takes = offs.len();
    if n_takes < LEAST_TAKES {
        return None;
    }
    let doubt = within.hypot(1.25 * robust_scatter(&offs)? / (n_takes as f64).sqrt());
    Some(TuningOffset { offset: Cents::new(median(&offs)?)?, doubt: Cents::new(doubt)?, pass, n_takes })
}

#[cfg(test)]
mod tests {
    use super::of_deviations;

    #[test]
    fn one_take_at_a_wrong_reed_moves_little_and_two_takes_tell_nothing() {
        let of = |offs: &[f64]| of_deviations(offs.to_vec(), 8.0, "before".into());
        let found = of(&[-75.0, -80.0, -71.0, 22.0, -83.0]).expect("enough takes");
        assert_eq!((found.offset.get(), found.n_takes), (-75.0, 5));
        assert!((8.0..12.0).contains(&found.doubt.get()), "{found:?}");
        assert_eq!(of(&[-75.0, -80.0]), None);
    }
}
