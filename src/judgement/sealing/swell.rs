//! Swells by hand, compared at equal level: a tight plate gives the same curves of pitch and partials however it is blown.

use super::curves::{Curve, Figure, Span, fit, sides};
use super::linear::{form, inverse};
use super::{
    Seal, SealBench, SealSet, SealVerdict, SealingFinding, Way, nuisance, open_pair, refusal, size,
    slit_words,
};

/// All plays share at least this much level, dB.
const LEAST_SPAN_DB: f64 = 6.0;
/// Below this pitch a swell promises nothing, Hz: low tongues remember how they were blown.
const PROMISED_FROM_HZ: f64 = 110.0;
/// Degrees of freedom of the Student likelihood: covariances are guesses.
const FREEDOM: f64 = 20.0;
/// Log-likelihood ratios from which a leak is named and suspected; chosen by the simulated plates of
/// `tests/sealing_swell.rs` for at most one false alarm in 48.
const LEAKS_FROM: f64 = 3.6;
const SUSPECT_FROM: f64 = 2.6;
/// Tight is said up to this size at the most, openings.
const TIGHT_TO_AT_MOST: f64 = 1.0;
/// Standard errors of a one-sided 97.5 % limit.
const LIMIT_SIGMAS: f64 = 2.0;
/// Partial k falls by this much for a dB of loss, times log2 k − 1; fitted to the two-tongue model at equal level.
const PARTIAL_PER_DB: f64 = 0.35;
/// Open and sealed plays this far apart in their loudest frames share no level because of the plate, dB.
const APART_DB: f64 = 6.0;

/// The leak's effect by the level it costs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Loss {
    pub db: f64,
    pub standard_error_db: f64,
    /// Log-likelihood ratio of this loss against none.
    pub evidence: f64,
}

pub(super) fn judge(set: &SealSet, bench: &SealBench, pairs: usize) -> SealingFinding {
    let refused =
        |reason: String, next: &str| SealingFinding { pairs, ..refusal(set, Some(Way::Swell), reason, next) };
    if set.plays.iter().filter_map(|play| play.sound.as_ref().ok()).any(|play| play.is_clipped) {
        return refused("a play is clipped".into(), "turn the input down and play the whole set again");
    }
    if let Some(finding) = level_speaks(set, pairs) {
        return finding;
    }
    let plays = sides(set);
    let span = Span::common(plays.iter().map(|(play, _)| *play));
    if std::env::var_os("SEAL_DEBUG").is_some() {
        println!("SPAN {:.2}", span.width_db());
    }
    if span.width_db() < LEAST_SPAN_DB {
        let reason = format!(
            "its plays share {:.1} dB of level, and {LEAST_SPAN_DB} dB are needed",
            span.width_db().max(0.0)
        );
        return refused(reason, "play each from as soft as it speaks to loud and back, over 5 to 8 s");
    }
    if let Some(reason) = open_pair::disagree(&plays, set.pitch_hz, span) {
        return refused(
            reason,
            "leave microphone, block and yourself where they are, and play the set again",
        );
    }
    let Some((curves, loss)) = compare(set, span) else {
        return refused(
            "too little of pitch and partials is common to its plays".into(),
            "move the microphone nearer, 20 to 50 cm, and play the set again",
        );
    };
    if std::env::var_os("SEAL_DEBUG").is_some() {
        println!("EV {:.3} {:.3} {:.3}", loss.db, loss.standard_error_db, loss.evidence);
        for c in &curves {
            print!(" {:?} {:.3} {:.3}", c.figure, c.difference[0], c.covariance[0][0].sqrt());
        }
        println!();
    }
    told(set, bench, pairs, &curves, loss)
}

/// Fit the set and look for the leak in the differences.
pub(super) fn compare(set: &SealSet, span: Span) -> Option<(Vec<Curve>, Loss)> {
    let plays = sides(set);
    let count = |sign: f64| plays.iter().filter(|(_, side)| side * sign > 0.0).count().max(1) as f64;
    let shares = mean_shares(plays.iter().map(|(play, _)| play.shares.as_slice()));
    let curves = fit(&plays, set.pitch_hz, span, true);
    let loss = loss_of(&curves, &shares, set.pitch_hz, 1.0 / count(1.0) + 1.0 / count(-1.0))?;
    Some((curves, loss))
}

/// The loss that fits the curves' differences best.
pub(super) fn loss_of(curves: &[Curve], shares: &[f64], pitch_hz: f64, plays: f64) -> Option<Loss> {
    if !curves.iter().any(|curve| matches!(curve.figure, Figure::Partial(_))) {
        return None;
    }
    let covariance = nuisance::covariance(curves, shares, pitch_hz, plays);
    let weights = inverse(&covariance)?;
    let found: Vec<f64> = curves.iter().flat_map(|curve| curve.difference).collect();
    let shape = shape(curves);
    let (fits, size) = (form(&weights, &shape, &found), form(&weights, &shape, &shape));
    let none = form(&weights, &found, &found);
    let best = if fits > 0.0 { fits * fits / size.max(1e-30) } else { 0.0 };
    let dimension = found.len() as f64;
    let likelihood = |square: f64| -0.5 * (FREEDOM + dimension) * (1.0 + square / FREEDOM).ln();
    Some(Loss {
        db: fits / size.max(1e-30),
        // A set that fits badly as a whole is told less surely.
        standard_error_db: ((FREEDOM + none - best) / (FREEDOM + dimension)).max(1.0).sqrt()
            / size.max(1e-30).sqrt(),
        evidence: likelihood(none - best) - likelihood(none),
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

pub(super) fn told(
    set: &SealSet,
    bench: &SealBench,
    pairs: usize,
    _curves: &[Curve],
    loss: Loss,
) -> SealingFinding {
    let sized = |db: f64| bench.size_factor * size::size_of_swell_loss(db);
    let two = LIMIT_SIGMAS * loss.standard_error_db;
    let limit = sized((loss.db + two).max(0.0));
    let verdict = if set.pitch_hz < PROMISED_FROM_HZ {
        SealVerdict::Unclear
    } else if loss.evidence >= LEAKS_FROM {
        SealVerdict::Leaks
    } else if loss.evidence >= SUSPECT_FROM {
        SealVerdict::Suspect
    } else if limit <= TIGHT_TO_AT_MOST {
        SealVerdict::Tight
    } else {
        SealVerdict::Unclear
    };
    let points_to_one = loss.db > 0.0 && verdict != SealVerdict::Tight;
    let figures = format!(
        "at equal level the open plays are {} ± {two:.1} dB behind in pitch and partials",
        crate::units::signed(loss.db, 1)
    );
    let (reason, next) = match verdict {
        SealVerdict::Leaks => (
            format!("{figures}: consistent with a leak, {}", slit_words(sized(loss.db), set.pitch_hz)),
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
        _ => (format!("{figures}: not settled"), more_pairs(pairs, loss)),
    };
    SealingFinding {
        pairs,
        verdict,
        difference_db: Some(loss.db),
        uncertainty_db: Some(two),
        evidence: Some(loss.evidence),
        size: points_to_one.then(|| sized(loss.db)),
        size_range: points_to_one.then(|| (sized(loss.db - two), sized(loss.db + two))),
        limit: (verdict == SealVerdict::Tight).then_some(limit),
        ..refusal(set, Some(Way::Swell), reason, &next)
    }
}

/// How many pairs more would settle it, as the errors fall with their number.
fn more_pairs(pairs: usize, loss: Loss) -> String {
    let settles = |n: usize| {
        let shrunk = (pairs as f64 / n as f64).sqrt();
        let evidence = loss.evidence * n as f64 / pairs as f64;
        let limit = size::size_of_swell_loss(loss.db + LIMIT_SIGMAS * loss.standard_error_db * shrunk);
        evidence >= LEAKS_FROM || limit <= TIGHT_TO_AT_MOST
    };
    match (pairs.max(1) + 1..=6).find(|n| settles(*n)).map(|n| n - pairs) {
        Some(1) => "one more pair would settle it".into(),
        Some(n) => format!("{n} more pairs would settle it"),
        None => "hold the pressure by a gauge: swells do not settle it here".into(),
    }
}

/// A leak so large that open and sealed plays have no level in common: then the level itself speaks.
fn level_speaks(set: &SealSet, pairs: usize) -> Option<SealingFinding> {
    let loudest = |seal| set.heard(seal).map(|play| play.level_at(0.95));
    let (open, sealed) =
        (loudest(Seal::Open).fold(f64::MIN, f64::max), loudest(Seal::Sealed).fold(f64::MAX, f64::min));
    let n_open = loudest(Seal::Open).count();
    // One open play may have been a soft one.
    (n_open >= 2 && sealed - open >= APART_DB).then(|| SealingFinding {
        pairs,
        verdict: SealVerdict::Leaks,
        difference_db: Some(sealed - open),
        ..refusal(
            set,
            Some(Way::Swell),
            format!(
                "sealed it grows {:.0} dB louder than any open play: consistent with a large leak",
                sealed - open
            ),
            "look at the valve: this is no small leak",
        )
    })
}

/// Power shares of the partials, the mean over the plays.
pub(super) fn mean_shares<'a>(plays: impl Iterator<Item = &'a [f64]>) -> Vec<f64> {
    let plays: Vec<&[f64]> = plays.collect();
    let n = plays.iter().map(|shares| shares.len()).min().unwrap_or(0);
    (0..n)
        .map(|k| plays.iter().filter_map(|shares| shares.get(k)).sum::<f64>() / plays.len().max(1) as f64)
        .collect()
}
