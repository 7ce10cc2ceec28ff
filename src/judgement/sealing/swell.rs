//! Swells by hand, compared at equal level: a tight plate gives the same curves of pitch and partials however it is blown.

use super::curves::{Curve, Figure, Span, fit, sides};
use super::linear::{form, inverse_and_log_determinant};
use super::{SealBench, SealSet, SealVerdict, SealingFinding, Way, nuisance, open_pair, refusal, slit_words};

/// Open plays that differ by so much more than assumed, a ratio of variances, are refused; up to that they widen the verdict.
const DISAGREE: f64 = 6.0;
/// Figures that a pair of open plays has, and how many of them the assumption is worth.
const OPEN_FIGURES: f64 = 14.0;
const ASSUMED_WORTH: f64 = 14.0;
const LEAST_DIFFER: f64 = 0.4;
/// All plays share at least this much level, dB.
const LEAST_SPAN_DB: f64 = 6.0;
/// Below this pitch a swell promises nothing, Hz: low tongues remember how they were blown.
const PROMISED_FROM_HZ: f64 = 110.0;
/// And above this one it calls nothing tight, Hz: small leaks change less there than a person's place does.
const TIGHT_UP_TO_HZ: f64 = 880.0;
/// Degrees of freedom of the Student likelihood: covariances are guesses.
const FREEDOM: f64 = 20.0;
/// Log-likelihood ratios from which a leak is named and suspected. On tight plates of two makes, one of them by the reed
/// equations, 98 in 100 stay below 2 (`tests/rooms/sealing/`).
const LEAKS_FROM: f64 = 6.0;
const SUSPECT_FROM: f64 = 4.0;
/// Tight is said up to this size at the most, openings.
const TIGHT_TO_AT_MOST: f64 = 1.0;
/// How much plates differ from that and from the pitch's slope, by the two-tongue model with other measures (with a partner
/// some cents flatter a leak even raises the pitch): the pitch by
/// this share, partial k by so many dB for a dB of loss times k to a power, and over 6 dB of level by this share of it.
const PITCH_SPREAD: f64 = 1.2;
const PARTIAL_SPREAD: f64 = 0.3;
const PARTIAL_SPREAD_POWER: f64 = 1.2;
const SLOPE_SPREAD: f64 = 0.7;
/// Sealed plays that differ by so much more than a tight plate's are not called tight, whatever the shape; chosen with the
/// thresholds of evidence.
const CHANGED: f64 = 3.5;
/// Losses that are tried, dB.
const LOSS_STEP_DB: f64 = 0.05;
const LOSS_STEPS: u32 = 160;
/// Fall of the log likelihood at the ends of a 95 % interval (half of 1.96 squared).
const INTERVAL_DROP: f64 = 1.92;
/// No limit is stated below this size, openings: on a third make of plates, whose leaks darken the tone less, leaks of half an
/// opening showed in one swell of five.
const LEAST_LIMIT: f64 = 1.0;
/// At equal level makes of plates differ more in what a leak does than at equal pressure: sizes may be larger by this factor.
const SIZE_BY_SWELL: f64 = 4.0;
/// Partial k falls by this much for a dB of loss, times log2 k − 1; fitted to the two-tongue model at equal level.
const PARTIAL_PER_DB: f64 = 0.35;
/// The leak's effect by the level it costs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Loss {
    pub db: f64,
    /// Its 95 % interval.
    pub low_db: f64,
    pub high_db: f64,
    /// Log-likelihood ratio of this loss against none.
    pub evidence: f64,
    /// How much more sealed and open plays differ than plays of a tight plate, a ratio of variances.
    pub change: f64,
}

pub(super) fn judge(set: &SealSet, bench: &SealBench, pairs: usize) -> SealingFinding {
    let refused =
        |reason: String, next: &str| SealingFinding { pairs, ..refusal(set, Some(Way::Swell), reason, next) };
    if set.plays.iter().filter_map(|play| play.sound.as_ref().ok()).any(|play| play.is_clipped) {
        return refused("a play is clipped".into(), "turn the input down and play the whole set again");
    }
    let plays = sides(set);
    let span = Span::common(plays.iter().map(|(play, _)| *play));
    if span.width_db() < LEAST_SPAN_DB {
        let reason = format!(
            "its plays share {:.1} dB of level, and {LEAST_SPAN_DB} dB are needed",
            span.width_db().max(0.0)
        );
        let next =
            "play each from as soft as it speaks to loud and back, over 5 to 8 s, the weaker ones louder";
        return refused(reason, next);
    }
    let disagreement = open_pair::disagreement(&plays, set.pitch_hz, span);
    if disagreement > DISAGREE {
        let reason = format!(
            "the open plays disagree ({disagreement:.0} times what plays differ by): microphone, block or player has moved"
        );
        return refused(
            reason,
            "leave microphone, block and yourself where they are, and play the set again",
        );
    }
    let Some(loss) = compare(set, span, plays_differ(disagreement)) else {
        return refused(
            "too little of pitch and partials is common to its plays".into(),
            "move the microphone nearer, 20 to 50 cm, and play the set again",
        );
    };
    told(set, bench, pairs, loss)
}

/// By how much more or less than assumed plays of this person differ, a ratio of variances: what the open plays show, with what
/// is assumed worth some of their figures.
fn plays_differ(disagreement: f64) -> f64 {
    let share = OPEN_FIGURES / (OPEN_FIGURES + ASSUMED_WORTH);
    (share * disagreement + 1.0 - share).max(LEAST_DIFFER)
}

/// Fit the set and look for the leak in the differences.
fn compare(set: &SealSet, span: Span, widened: f64) -> Option<Loss> {
    let plays = sides(set);
    let count = |sign: f64| plays.iter().filter(|(_, side)| side * sign > 0.0).count().max(1) as f64;
    let shares = mean_shares(plays.iter().map(|(play, _)| play.shares.as_slice()));
    let curves = fit(&plays, set.pitch_hz, span, true);
    loss_of(&curves, &shares, set.pitch_hz, 1.0 / count(1.0) + 1.0 / count(-1.0), widened)
}

/// The loss under which the curves' differences are likeliest, Student's t: `v ~ t(l h, S + l² W)`, with the leak's shape h
/// for a dB, what plays differ by S, and what plates differ by in that shape W.
///
/// - `widened`: by how much more than assumed open plays of the set differ, at least 1.
pub(super) fn loss_of(
    curves: &[Curve],
    shares: &[f64],
    pitch_hz: f64,
    plays: f64,
    widened: f64,
) -> Option<Loss> {
    if !curves.iter().any(|curve| matches!(curve.figure, Figure::Partial(_))) {
        return None;
    }
    let nuisance = nuisance::covariance(curves, shares, pitch_hz, plays);
    let found: Vec<f64> = curves.iter().flat_map(|curve| curve.difference).collect();
    let (shape, spread) = (shape(curves), spread(curves));
    let dimension = found.len() as f64;
    let likelihood = |loss: f64| {
        let mut covariance = nuisance.clone();
        for (i, row) in covariance.iter_mut().enumerate() {
            row.iter_mut().for_each(|value| *value *= widened);
            row[i] += (loss * spread[i]).powi(2);
        }
        let (weights, log_determinant) = inverse_and_log_determinant(&covariance)?;
        let left: Vec<f64> = found.iter().zip(&shape).map(|(found, shape)| found - loss * shape).collect();
        let square = form(&weights, &left, &left);
        Some(-0.5 * log_determinant - 0.5 * (FREEDOM + dimension) * (1.0 + square / FREEDOM).ln())
    };
    let none = likelihood(0.0)?;
    let (weights, _) = inverse_and_log_determinant(&nuisance)?;
    let change = form(&weights, &found, &found) / (widened * dimension);
    let scale: Vec<(f64, f64)> = std::iter::once(Some((0.0, none)))
        .chain((1..=LOSS_STEPS).map(|i| {
            let loss = f64::from(i) * LOSS_STEP_DB;
            Some((loss, likelihood(loss)?))
        }))
        .collect::<Option<_>>()?;
    let best = *scale.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let inside: Vec<f64> =
        scale.iter().filter(|(_, value)| *value > best.1 - INTERVAL_DROP).map(|(loss, _)| *loss).collect();
    Some(Loss {
        db: best.0,
        low_db: inside.first().copied()?,
        high_db: inside.last().copied()?,
        evidence: best.1 - none,
        change,
    })
}

/// Sealed less open for a loss of 1 dB: the open plate is blown harder for the same level, so it is flatter, and darker.
fn shape(curves: &[Curve]) -> Vec<f64> {
    curves
        .iter()
        .flat_map(|curve| match curve.figure {
            Figure::Pitch => [-curve.slope[0], -curve.slope[1]],
            Figure::Partial(number) => [-PARTIAL_PER_DB * (1.0 - (number as f64).log2()), 0.0],
        })
        .collect()
}

/// How much plates differ in that shape, a standard deviation for each of its figures.
fn spread(curves: &[Curve]) -> Vec<f64> {
    curves
        .iter()
        .flat_map(|curve| match curve.figure {
            Figure::Pitch => {
                let slope = curve.slope[0].abs();
                [PITCH_SPREAD * slope, PITCH_SPREAD * slope]
            }
            Figure::Partial(number) => {
                let spread = PARTIAL_SPREAD * (number as f64).powf(PARTIAL_SPREAD_POWER);
                [spread, SLOPE_SPREAD * spread]
            }
        })
        .collect()
}

fn told(set: &SealSet, bench: &SealBench, pairs: usize, loss: Loss) -> SealingFinding {
    let two = 0.5 * (loss.high_db - loss.low_db);
    let limit = bench.largest(loss.high_db).max(LEAST_LIMIT);
    let verdict = if set.pitch_hz < PROMISED_FROM_HZ {
        SealVerdict::Unclear
    } else if loss.evidence >= LEAKS_FROM {
        SealVerdict::Leaks
    } else if loss.evidence >= SUSPECT_FROM {
        SealVerdict::Suspect
    } else if limit <= TIGHT_TO_AT_MOST && loss.change < CHANGED && set.pitch_hz <= TIGHT_UP_TO_HZ {
        SealVerdict::Tight
    } else {
        SealVerdict::Unclear
    };
    let points_to_one = matches!(verdict, SealVerdict::Leaks | SealVerdict::Suspect);
    let figures = format!(
        "at equal level the open plays are {:.1} dB ({:.1} to {:.1}) behind in pitch and partials",
        loss.db, loss.low_db, loss.high_db
    );
    let (reason, next) = match verdict {
        SealVerdict::Leaks => (
            format!("{figures}: consistent with a leak, {}", slit_words(bench.sized(loss.db), set.pitch_hz)),
            "renew or refit the valve".to_string(),
        ),
        SealVerdict::Tight => (
            format!("{figures}: tight to {limit:.2} of the opening, {}", slit_words(limit, set.pitch_hz)),
            String::new(),
        ),
        _ if set.pitch_hz < PROMISED_FROM_HZ => (
            format!("{figures}; below {PROMISED_FROM_HZ} Hz swells by hand tell nothing for sure"),
            "hold the pressure by a gauge: plays of 3 s, evenly".into(),
        ),
        _ if set.pitch_hz > TIGHT_UP_TO_HZ => (
            format!("{figures}; above {TIGHT_UP_TO_HZ} Hz swells by hand show large leaks only"),
            "hold the pressure by a gauge: plays of 3 s, evenly".into(),
        ),
        _ if loss.change >= CHANGED => (
            format!("{figures}; pitch and partials change when it is sealed, and not as with a leak"),
            "seal it otherwise (pad instead of film, no hand on the block), and play the set again".into(),
        ),
        _ => (format!("{figures}: not settled"), more_pairs(bench, pairs, loss)),
    };
    SealingFinding {
        pairs,
        verdict,
        difference_db: Some(loss.db),
        uncertainty_db: Some(two),
        evidence: Some(loss.evidence),
        size: points_to_one.then(|| bench.sized(loss.db)),
        size_range: points_to_one.then(|| {
            let (low, high) = bench.size_range(loss.low_db, loss.high_db);
            (
                low,
                if bench.size_spread.is_some() {
                    high
                } else {
                    (SIZE_BY_SWELL * high).min(super::size::LARGEST)
                },
            )
        }),
        limit: (verdict == SealVerdict::Tight).then_some(limit),
        ..refusal(set, Some(Way::Swell), reason, &next)
    }
}

/// How many pairs more would settle it, as evidence grows and errors fall with their number.
fn more_pairs(bench: &SealBench, pairs: usize, loss: Loss) -> String {
    let settles = |n: usize| {
        let more = n as f64 / pairs.max(1) as f64;
        let high = loss.db + (loss.high_db - loss.db) / more.sqrt();
        loss.evidence * more >= LEAKS_FROM || bench.largest(high).max(LEAST_LIMIT) <= TIGHT_TO_AT_MOST
    };
    match (pairs.max(1) + 1..=6).find(|n| settles(*n)).map(|n| n - pairs.max(1)) {
        Some(1) => "one more pair would settle it".into(),
        Some(n) => format!("{n} more pairs would settle it"),
        None => "hold the pressure by a gauge: swells do not settle it here".into(),
    }
}

/// Power shares of the partials, the mean over the plays.
pub(super) fn mean_shares<'a>(plays: impl Iterator<Item = &'a [f64]>) -> Vec<f64> {
    let plays: Vec<&[f64]> = plays.collect();
    let n = plays.iter().map(|shares| shares.len()).min().unwrap_or(0);
    (0..n)
        .map(|k| plays.iter().filter_map(|shares| shares.get(k)).sum::<f64>() / plays.len().max(1) as f64)
        .collect()
}
