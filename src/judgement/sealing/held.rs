//! Pressure held: mean levels of sealed plays less those of open ones.

use super::{Seal, SealBench, SealSet, SealVerdict, SealingFinding, Way, refusal, slit_words};
use crate::analysis::PlayKind;

/// A leak makes at least this much, dB: less can come of sealing itself.
const LEAKS_FROM_DB: f64 = 0.6;
const SUSPECT_FROM_DB: f64 = 0.5;
/// And so many standard errors.
const LEAKS_SIGMAS: f64 = 3.2;
const SUSPECT_SIGMAS: f64 = 2.3;
/// A limit is stated, and a figure told, with so many.
const TOLD_SIGMAS: f64 = 2.0;
/// Tight is said where less than this would have shown, dB: a leak of 0.14 to 0.55 openings, by the make of the plate.
const TIGHT_TO_DB: f64 = 1.2;
/// A seal that makes it softer by this much, dB, and three standard errors, touches what it should not.
const DAMPED_DB: f64 = 1.2;
/// More pairs than this are not asked for: then it is the pressure.
const MOST_PAIRS: usize = 6;
/// A player's scatter before anything is known of it: standard deviation of a play's level, dB, and the plays that
/// knowledge is worth. Pressure within 5 % moves the level by about half a decibel.
const USUAL_SCATTER_DB: f64 = 0.5;
const USUAL_WORTH: f64 = 3.0;

/// How much plays of one state differ, over all sealing tests of a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scatter {
    /// Standard deviation of one play's level, dB.
    pub play_db: f64,
    /// Degrees of freedom behind it.
    pub freedom: f64,
}

impl Scatter {
    /// From the repeats of all held sets.
    pub fn pooled(sets: &[SealSet]) -> Self {
        let (mut squares, mut freedom) = (USUAL_WORTH * USUAL_SCATTER_DB.powi(2), USUAL_WORTH);
        let is_held = |set: &&SealSet| set.plays.iter().all(|play| play.blown() == Some(PlayKind::Held));
        for set in sets.iter().filter(is_held) {
            for seal in [Seal::Open, Seal::Sealed] {
                let levels: Vec<f64> = set.heard(seal).map(|play| play.level_db).collect();
                let mean = mean(&levels);
                squares += levels.iter().map(|level| (level - mean).powi(2)).sum::<f64>();
                freedom += levels.len().saturating_sub(1) as f64;
            }
        }
        Self { play_db: (squares / freedom).sqrt(), freedom }
    }

    /// The point of Student's t that leaves as much out as `sigmas` of a normal distribution.
    ///
    /// Source: Cornish and Fisher's expansion, Abramowitz and Stegun 26.7.5 (from memory).
    pub fn points(&self, sigmas: f64) -> f64 {
        let (z, n) = (sigmas, self.freedom);
        let first = (z.powi(3) + z) / (4.0 * n);
        let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * n * n);
        let third = (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z) / (384.0 * n.powi(3));
        z + first + second + third
    }

    /// `sigmas` standard errors of a difference with so many plays on either side, dB.
    pub fn reach_db(&self, sigmas: f64, open: usize, sealed: usize, bench: &SealBench) -> f64 {
        let plays = 1.0 / open.max(1) as f64 + 1.0 / sealed.max(1) as f64;
        (self.points(sigmas) * self.play_db * plays.sqrt()).hypot(sigmas * bench.seal_effect_db)
    }
}

pub(super) fn judge(set: &SealSet, bench: &SealBench, scatter: &Scatter, pairs: usize) -> SealingFinding {
    let difference = difference_db(set);
    told(set, bench, scatter, pairs, difference)
}

/// Mean level sealed less mean level open, dB.
pub(super) fn difference_db(set: &SealSet) -> f64 {
    let level = |seal| mean(&set.heard(seal).map(|play| play.level_db).collect::<Vec<_>>());
    level(Seal::Sealed) - level(Seal::Open)
}

/// The verdict on a difference.
pub(super) fn told(
    set: &SealSet,
    bench: &SealBench,
    scatter: &Scatter,
    pairs: usize,
    difference: f64,
) -> SealingFinding {
    let (open, sealed) = (set.heard(Seal::Open).count(), set.heard(Seal::Sealed).count());
    let verdict_at = |open: usize, sealed: usize| {
        let reach = |sigmas| scatter.reach_db(sigmas, open, sealed, bench);
        if difference > LEAKS_FROM_DB.max(reach(LEAKS_SIGMAS)) {
            SealVerdict::Leaks
        } else if difference < -DAMPED_DB.max(reach(LEAKS_SIGMAS)) {
            SealVerdict::Unclear
        } else if difference + reach(TOLD_SIGMAS) < TIGHT_TO_DB {
            SealVerdict::Tight
        } else if difference > SUSPECT_FROM_DB.max(reach(SUSPECT_SIGMAS)) {
            SealVerdict::Suspect
        } else {
            SealVerdict::Unclear
        }
    };
    let two = scatter.reach_db(TOLD_SIGMAS, open, sealed, bench);
    let verdict = verdict_at(open, sealed);
    let points_to_one = difference > 0.0 && verdict != SealVerdict::Tight;
    let limit = (verdict == SealVerdict::Tight).then(|| bench.largest((difference + two).max(LEAKS_FROM_DB)));
    let figures = format!("sealed {} ± {two:.1} dB against open", crate::units::signed(difference, 1));
    let more = (pairs + 1..=MOST_PAIRS).find(|n| {
        let more = n - pairs;
        matches!(verdict_at(open + more, sealed + more), SealVerdict::Leaks | SealVerdict::Tight)
    });
    // With no leak at all, would six pairs show it?
    let six = scatter.reach_db(TOLD_SIGMAS, MOST_PAIRS, MOST_PAIRS, bench);
    let more_words = |more: usize| match more {
        1 => "one more pair would settle it".to_string(),
        n => format!("{n} more pairs would settle it"),
    };
    let (reason, next) = match verdict {
        SealVerdict::Leaks => {
            let words = slit_words(bench.sized(difference), set.pitch_hz);
            (format!("{figures}: consistent with a leak, {words}"), "renew or refit the valve".into())
        }
        SealVerdict::Tight => {
            let limit = limit.unwrap_or(0.0);
            (
                format!("{figures}: tight to {limit:.2} of the opening, {}", slit_words(limit, set.pitch_hz)),
                String::new(),
            )
        }
        _ if difference < -DAMPED_DB.max(scatter.reach_db(LEAKS_SIGMAS, open, sealed, bench)) => (
            format!("{figures}: sealed it is softer, which no leak of the model does with reeds in unison"),
            "see that pad or cap touches no tongue and covers no slot but the one meant, and test again"
                .into(),
        ),
        _ if six >= TIGHT_TO_DB => (
            format!("{figures}; a play's level is even to {:.1} dB only", scatter.play_db),
            "pressure unsteady: hold the gauge".into(),
        ),
        _ => {
            let next = match more {
                Some(n) => more_words(n - pairs),
                None => "seal it again more carefully, or change what it is sealed with".into(),
            };
            (format!("{figures}: not settled"), next)
        }
    };
    SealingFinding {
        pairs,
        verdict,
        difference_db: Some(difference),
        uncertainty_db: Some(two),
        evidence: Some(evidence(difference, two, scatter.freedom)),
        size: points_to_one.then(|| bench.sized(difference)),
        size_range: points_to_one.then(|| bench.size_range(difference - two, difference + two)),
        limit,
        ..refusal(set, Some(Way::Held), reason, &next)
    }
}

/// Log-likelihood ratio of the leak that fits best against none, Student's t; a leak makes it louder sealed, never softer.
fn evidence(difference: f64, two: f64, freedom: f64) -> f64 {
    let t = difference.max(0.0) / (0.5 * two).max(1e-9);
    0.5 * (freedom + 1.0) * (1.0 + t * t / freedom).ln()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 3 standard deviations one-sided are 0.998 65; Student's t at that probability is 3.957 with 10 degrees of freedom
    /// and 3.270 with 30 (tables; from memory, to the second digit).
    #[test]
    fn few_repeats_ask_for_more() {
        for (freedom, wanted) in [(10.0, 3.957), (30.0, 3.270)] {
            let points = Scatter { play_db: 1.0, freedom }.points(3.0);
            assert!((points - wanted).abs() < 0.02, "{points}");
        }
    }
}
