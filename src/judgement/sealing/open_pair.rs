//! Open plays against open plays: where they disagree, something else than the seal has changed.

use super::curves::{Span, fit};
use super::linear::{form, inverse};
use super::{nuisance, swell};
use crate::analysis::Play;

/// How much more the first and the last open play differ than plays are assumed to: chi-square over its degrees of freedom;
/// 1 where there are not two.
///
/// - `plays`: with their sides, open ones negative.
pub(super) fn disagreement(plays: &[(&Play, f64)], pitch_hz: f64, span: Span) -> f64 {
    let open: Vec<&Play> = plays.iter().filter(|(_, side)| *side < 0.0).map(|(play, _)| *play).collect();
    let [first, .., last] = open.as_slice() else { return 1.0 };
    let pair = [(*first, -0.5), (*last, 0.5)];
    let curves = fit(&pair, pitch_hz, span, false);
    let shares = swell::mean_shares(pair.iter().map(|(play, _)| play.shares.as_slice()));
    let covariance = nuisance::covariance(&curves, &shares, pitch_hz, 2.0);
    let found: Vec<f64> = curves.iter().flat_map(|curve| curve.difference).collect();
    inverse(&covariance).map_or(1.0, |weights| form(&weights, &found, &found) / found.len().max(1) as f64)
}
