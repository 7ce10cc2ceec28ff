//! Open plays against open plays: where they disagree, something else than the seal has changed.

use super::curves::{Span, fit};
use super::linear::{form, inverse};
use super::{nuisance, swell};
use crate::analysis::Play;

/// Chi-square per degree of freedom beyond which two open plays disagree: 14 figures of plays that differ as assumed exceed
/// 2.6 times their number once in a thousand (tables of chi-square: 36.1 for 14; from memory).
const DISAGREE: f64 = 2.6;

/// Why the open plays of a set cannot stand for one plate, if so.
///
/// - `plays`: with their sides, open ones negative.
pub(super) fn disagree(plays: &[(&Play, f64)], pitch_hz: f64, span: Span) -> Option<String> {
    let open: Vec<&Play> = plays.iter().filter(|(_, side)| *side < 0.0).map(|(play, _)| *play).collect();
    let (first, rest) = open.split_first()?;
    let last = rest.last()?;
    let pair = [(*first, -0.5), (*last, 0.5)];
    let curves = fit(&pair, pitch_hz, span, false);
    let shares = swell::mean_shares(pair.iter().map(|(play, _)| play.shares.as_slice()));
    let covariance = nuisance::covariance(&curves, &shares, pitch_hz, 2.0);
    let found: Vec<f64> = curves.iter().flat_map(|curve| curve.difference).collect();
    let square = form(&inverse(&covariance)?, &found, &found) / found.len().max(1) as f64;
    if std::env::var_os("SEAL_DEBUG").is_some() {
        println!("AA {pitch_hz:.1} {square:.3} {:.2}", span.width_db());
        return None;
    }
    (square > DISAGREE).then(|| {
        format!(
            "the open plays disagree ({square:.1} times what plays differ by): microphone, block or player has moved"
        )
    })
}
