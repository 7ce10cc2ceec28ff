//! What changes between two plays of a tight plate: the microphone's and the player's position, as a gain over frequency.

use super::curves::{Curve, Figure, pitch_spread_cents};
use super::linear::{Matrix, zeros};

/// Standard deviations between two plays, dB: of the level as a whole, of a gain smooth over so many octaves, of a tilt
/// per octave above a corner, and of each partial by itself. From simulated rooms with the microphone untouched and a
/// person who moves by a centimetre.
const LEVEL_DB: f64 = 0.34;
const SMOOTH_DB: f64 = 0.38;
const SMOOTH_OCTAVES: f64 = 0.8;
const TILT_DB: f64 = 0.24;
const TILT_FROM_HZ: f64 = 2_000.0;
const OWN_DB: f64 = 0.14;
/// And by so much more per kHz, where a body's reflections change within millimetres, up to a bound.
const OWN_DB_PER_KHZ: f64 = 0.2;
const MOST_OWN_DB: f64 = 1.2;

/// How far such a difference moves with the level, dB and share of [`pitch_spread_cents`] for each 6 dB. Curves fitted to a
/// play without any scatter of its own are parallel to a hundredth of a dB, and no person is (our own choice; a third make of
/// plates, whose leaks do not tilt the curves, was found by nothing without it).
const SLOPE_DB: f64 = 0.3;
const PITCH_SLOPE_SHARE: f64 = 0.5;

/// Covariance of all curves' `d0, d1` (in this order, curve after curve): the fit's and the nuisance's.
///
/// A change of gain in one partial moves the whole level too, and with it the place on every curve: with power shares `s`
/// and gains `e`, partial k sees `e_k - Σ s e` less its slope times `Σ s e`, and the pitch its slope times `-Σ s e`.
///
/// - `plays`: `1/n_A + 1/n_B` of the two sides.
pub(super) fn covariance(curves: &[Curve], shares: &[f64], pitch_hz: f64, plays: f64) -> Matrix {
    let n = shares.len();
    let gains: Matrix =
        (0..n).map(|i| (0..n).map(|j| gain_covariance(i + 1, j + 1, pitch_hz)).collect()).collect();
    // One row of weights on the gains for each d0 and d1.
    let weights: Vec<Vec<f64>> = curves
        .iter()
        .flat_map(|curve| {
            [0, 1].map(|order| {
                shares
                    .iter()
                    .enumerate()
                    .map(|(j, share)| {
                        let own = match curve.figure {
                            Figure::Partial(number) if order == 0 => f64::from(number == j + 1) - share,
                            _ => 0.0,
                        };
                        own - curve.slope[order] * share
                    })
                    .collect()
            })
        })
        .collect();
    let mut all = zeros(weights.len());
    for (i, left) in weights.iter().enumerate() {
        for (j, right) in weights.iter().enumerate() {
            all[i][j] = 0.5 * plays * super::linear::form(&gains, left, right);
        }
    }
    for (idx, curve) in curves.iter().enumerate() {
        for (i, row) in curve.covariance.iter().enumerate() {
            for (j, value) in row.iter().enumerate() {
                all[2 * idx + i][2 * idx + j] += value;
            }
        }
        let (value, slope) = match curve.figure {
            Figure::Pitch => {
                let spread = pitch_spread_cents(pitch_hz);
                (spread, PITCH_SLOPE_SHARE * spread)
            }
            Figure::Partial(_) => (0.0, SLOPE_DB),
        };
        all[2 * idx][2 * idx] += 0.5 * plays * value * value;
        all[2 * idx + 1][2 * idx + 1] += 0.5 * plays * slope * slope;
    }
    all
}

fn gain_covariance(i: usize, j: usize, pitch_hz: f64) -> f64 {
    let octaves = (i as f64 / j as f64).log2();
    let tilt = |number: usize| (number as f64 * pitch_hz / TILT_FROM_HZ).log2().max(0.0);
    let high = (OWN_DB_PER_KHZ * i as f64 * pitch_hz / 1000.0).min(MOST_OWN_DB);
    let own = if i == j { OWN_DB * OWN_DB + high * high } else { 0.0 };
    LEVEL_DB * LEVEL_DB
        + SMOOTH_DB * SMOOTH_DB * (-0.5 * (octaves / SMOOTH_OCTAVES).powi(2)).exp()
        + TILT_DB * TILT_DB * tilt(i) * tilt(j)
        + own
}
