//! One voice: a harmonic series whose partials all follow one phase, each with a gain of its own.

use std::f64::consts::TAU;

/// Samples between two control points; gains and cents run straight in between.
pub const STEP: usize = 64;

/// How many control points `n_samples` need.
pub fn n_controls(n_samples: usize) -> usize {
    n_samples / STEP + 2
}

/// Turns of the fundamental up to each sample, `n_samples + 1` values, summed sample by sample.
///
/// - `cents`: pitch re `f0_hz` at each control point.
/// - `start`: turns at the first sample.
pub fn turns(cents: &[f64], f0_hz: f64, true_rate_hz: f64, n_samples: usize, start: f64) -> Vec<f64> {
    let mut sum = start;
    let mut turns = Vec::with_capacity(n_samples + 1);
    turns.push(sum);
    let per_sample = f0_hz / true_rate_hz;
    for pair in cents.windows(2) {
        let left = n_samples + 1 - turns.len();
        // The pitch half-way between two samples. It runs straight in cents, so each frequency is the one before times
        // the same ratio; 64 products lose less than 1e-14 of it.
        let slope = (pair[1] - pair[0]) / STEP as f64;
        let ratio = (slope / 1200.0).exp2();
        let mut step = per_sample * ((pair[0] + 0.5 * slope) / 1200.0).exp2();
        for _ in 0..STEP.min(left) {
            sum += step;
            turns.push(sum);
            step *= ratio;
        }
    }
    turns
}

/// Add `amplitude · sin(2π (turn · i + phase))` to every sample `i` of `out`.
///
/// One sine for [`STEP`] samples, turned on from there by a table that is the same for all of them.
pub fn add_sine(out: &mut [f64], turn: f64, phase: f64, amplitude: f64) {
    let table: [(f64, f64); STEP] = std::array::from_fn(|i| (TAU * (turn * i as f64).fract()).sin_cos());
    for (block_idx, block) in out.chunks_mut(STEP).enumerate() {
        let start = (turn * (block_idx * STEP) as f64 + phase).fract();
        let (sin, cos) = (TAU * start).sin_cos();
        let (sin, cos) = (amplitude * sin, amplitude * cos);
        for (x, (sin_on, cos_on)) in block.iter_mut().zip(&table) {
            *x += sin * cos_on + cos * sin_on;
        }
    }
}

/// Add a harmonic series to `out`.
///
/// - `turns`: of the fundamental, one more than `out` has samples.
/// - `n_partials`: how many; the caller keeps them below half the rate.
/// - `gain(k, control)`: complex gain of partial `k`, 0 for the fundamental, at a control point.
pub fn add_series(
    out: &mut [f64],
    turns: &[f64],
    n_partials: usize,
    gain: impl Fn(usize, usize) -> (f64, f64),
) {
    let mut before: Vec<(f64, f64)> = (0..n_partials).map(|k| gain(k, 0)).collect();
    for (block_idx, block) in out.chunks_mut(STEP).enumerate() {
        let mut sum = [0.0; STEP];
        let (mut c1, mut s1) = ([0.0; STEP], [0.0; STEP]);
        for (i, t) in turns[block_idx * STEP..].iter().take(block.len()).enumerate() {
            (s1[i], c1[i]) = (TAU * t.fract()).sin_cos();
        }
        // The k-th power of the unit phasor turns k times as fast; 60 products lose no more than 1e-14.
        let (mut c, mut s) = (c1, s1);
        for (k, gain_before) in before.iter_mut().enumerate() {
            let (re, im) = *gain_before;
            let after = gain(k, block_idx + 1);
            let (slope_re, slope_im) = ((after.0 - re) / STEP as f64, (after.1 - im) / STEP as f64);
            for i in 0..STEP {
                let at = i as f64;
                sum[i] += (re + slope_re * at) * c[i] - (im + slope_im * at) * s[i];
                let turned = c[i] * c1[i] - s[i] * s1[i];
                s[i] = c[i] * s1[i] + s[i] * c1[i];
                c[i] = turned;
            }
            *gain_before = after;
        }
        for (out, sum) in block.iter_mut().zip(sum) {
            *out += sum;
        }
    }
}
