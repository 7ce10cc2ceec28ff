//! A phase that wanders: how much of what is seen is wander and how much is noise, told by maximum likelihood.
//!
//! The phase is an integrated random walk (its rate of turning does a random walk), seen in white noise. The ratio of
//! the two strengths is the only free number; where none is needed the estimate is the straight line of least squares,
//! which meets the Cramér-Rao bound of a steady tone.

/// A smoothed phase track.
pub(super) struct Track {
    /// Smoothed phase at each observation, rad.
    pub phase: Vec<f64>,
    /// Mean rate of turning from the first to the last observation, rad/s.
    pub mean_rate: f64,
    /// Standard error of that from the noise, rad/s.
    pub mean_rate_error: f64,
}

/// A straight line is kept unless wander raises the log-likelihood by this much: 5 % of steady tones cross it (chi-squared, one sided).
const LEAST_GAIN: f64 = 1.35;
/// Ratios tried, as powers of ten times `1 / (step * length³ …)`; see `ratios`.
const RATIO_STEPS: usize = 26;

/// Smooth `seen` (rad, `step_s` apart) with relative observation variances `variance`.
pub(super) fn smooth(seen: &[f64], variance: &[f64], step_s: f64) -> Track {
    let straight = filter(seen, variance, step_s, 0.0);
    let mut best = (0.0, straight.log_likelihood);
    let length = seen.len() as f64 * step_s;
    // From a wander that bends the line by about its own error over the whole length to one that follows every step.
    let lowest = step_s / length.powi(4);
    let highest = 10.0 / step_s.powi(3);
    let factor = (highest / lowest).max(1.0).powf(1.0 / RATIO_STEPS as f64);
    let mut ratio = lowest;
    for _ in 0..=RATIO_STEPS {
        let likelihood = filter(seen, variance, step_s, ratio).log_likelihood;
        if likelihood > best.1 {
            best = (ratio, likelihood);
        }
        ratio *= factor;
    }
    if best.0 > 0.0 {
        for refine in [factor.powf(-0.5), factor.powf(0.5), factor.powf(-0.25), factor.powf(0.25)] {
            let tried = best.0 * refine;
            let likelihood = filter(seen, variance, step_s, tried).log_likelihood;
            if likelihood > best.1 {
                best = (tried, likelihood);
            }
        }
    }
    let ratio = if best.1 - straight.log_likelihood > LEAST_GAIN { best.0 } else { 0.0 };
    let run = filter(seen, variance, step_s, ratio);
    let span = (seen.len().saturating_sub(1)) as f64 * step_s;
    Track {
        phase: smooth_with(seen, variance, step_s, ratio),
        mean_rate: run.rise / span,
        mean_rate_error: (run.rise_variance * run.scale).max(0.0).sqrt() / span,
    }
}

struct Run {
    log_likelihood: f64,
    /// Phase at the last observation less phase at the first.
    rise: f64,
    rise_variance: f64,
    /// Observation variance for a relative variance of 1.
    scale: f64,
}

/// Kalman filter with three states: phase, rate, and the phase at the first observation.
fn filter(seen: &[f64], variance: &[f64], step_s: f64, ratio: f64) -> Run {
    let mut state = [seen.first().copied().unwrap_or(0.0), 0.0, 0.0];
    state[2] = state[0];
    let first = variance.first().copied().unwrap_or(1.0);
    // The first phase is known from its observation; the rate is as good as unknown.
    let loose = first * 1e8 / step_s.powi(2);
    let mut p = [[first, 0.0, first], [0.0, loose, 0.0], [first, 0.0, first]];
    let noise = [ratio * step_s.powi(3) / 3.0, ratio * step_s.powi(2) / 2.0, ratio * step_s];
    let (mut squares, mut logs, mut count) = (0.0, 0.0, 0.0);
    for (i, (value, r)) in seen.iter().zip(variance).enumerate().skip(1) {
        state[0] += step_s * state[1];
        let d = step_s;
        let (p01, p11, p02, p12) = (p[0][1], p[1][1], p[0][2], p[1][2]);
        p[0][0] += d * (2.0 * p01 + d * p11) + noise[0];
        p[0][1] = p01 + d * p11 + noise[1];
        p[0][2] = p02 + d * p12;
        p[1][1] = p11 + noise[2];
        p[1][0] = p[0][1];
        p[2][0] = p[0][2];
        let innovation = value - state[0];
        let s = p[0][0] + r;
        // The second observation fixes the unknown rate and says nothing of the fit.
        if i >= 2 {
            squares += innovation * innovation / s;
            logs += s.ln();
            count += 1.0;
        }
        let gain = [p[0][0] / s, p[1][0] / s, p[2][0] / s];
        for (value, g) in state.iter_mut().zip(gain) {
            *value += g * innovation;
        }
        let row = p[0];
        for (line, g) in p.iter_mut().zip(gain) {
            for (cell, top) in line.iter_mut().zip(row) {
                *cell -= g * top;
            }
        }
    }
    let scale = if count > 0.0 { (squares / count).max(1e-300) } else { 1.0 };
    Run {
        log_likelihood: -0.5 * (count * scale.ln() + logs),
        rise: state[0] - state[2],
        rise_variance: p[0][0] + p[2][2] - 2.0 * p[0][2],
        scale,
    }
}

/// The smoothed phase for a given ratio: a forward filter and a backward pass (Rauch, Tung and Striebel).
pub(super) fn smooth_with(seen: &[f64], variance: &[f64], step_s: f64, ratio: f64) -> Vec<f64> {
    let n = seen.len();
    if n < 3 {
        return seen.to_vec();
    }
    let d = step_s;
    let noise = [ratio * d.powi(3) / 3.0, ratio * d.powi(2) / 2.0, ratio * d];
    let mut state = [seen[0], 0.0];
    let mut p = [variance[0], 0.0, variance[0] * 1e8 / d.powi(2)];
    let mut filtered = Vec::with_capacity(n);
    filtered.push((state, p, state, p));
    for i in 1..n {
        let predicted = [state[0] + d * state[1], state[1]];
        let pp = [p[0] + d * (2.0 * p[1] + d * p[2]) + noise[0], p[1] + d * p[2] + noise[1], p[2] + noise[2]];
        let s = pp[0] + variance[i];
        let gain = [pp[0] / s, pp[1] / s];
        let innovation = seen[i] - predicted[0];
        state = [predicted[0] + gain[0] * innovation, predicted[1] + gain[1] * innovation];
        p = [pp[0] - gain[0] * pp[0], pp[1] - gain[0] * pp[1], pp[2] - gain[1] * pp[1]];
        filtered.push((state, p, predicted, pp));
    }
    let mut smoothed = vec![0.0; n];
    let mut next = filtered[n - 1].0;
    smoothed[n - 1] = next[0];
    for i in (0..n - 1).rev() {
        let (state, p, _, _) = filtered[i];
        let (_, _, predicted, pp) = filtered[i + 1];
        let determinant = pp[0] * pp[2] - pp[1] * pp[1];
        let back = [next[0] - predicted[0], next[1] - predicted[1]];
        // C = P F' inverse(P predicted), written out for two states.
        let pf = [[p[0] + d * p[1], p[1]], [p[1] + d * p[2], p[2]]];
        let inv = if determinant.abs() > 0.0 {
            [pp[2] / determinant, -pp[1] / determinant, pp[0] / determinant]
        } else {
            [0.0, 0.0, 0.0]
        };
        let solved = [inv[0] * back[0] + inv[1] * back[1], inv[1] * back[0] + inv[2] * back[1]];
        next = [
            state[0] + pf[0][0] * solved[0] + pf[0][1] * solved[1],
            state[1] + pf[1][0] * solved[0] + pf[1][1] * solved[1],
        ];
        smoothed[i] = next[0];
    }
    smoothed
}
