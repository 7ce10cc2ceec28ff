//! The noise beside a partial: its density, told from what lies between the partial and its neighbours.

use rustfft::num_complex::Complex;

use super::bands::{BandShape, smooth_length_below};
use super::partials::mean_power;
use super::plans;
use super::spectrum::hann;

/// The noise on both sides of a partial is alike but for this power ratio.
const UNLIKE_SIDES: f64 = 10.0;
/// So many bins a side hardly ever differ so much by chance.
const ENOUGH_BINS: usize = 8;

/// The middle one of values that may be shuffled; zero of none.
fn middle(values: &mut [f64]) -> f64 {
    let at = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(at, f64::total_cmp).1 }
}

/// How the noise beside partials is judged: what fits all bands of one shape.
pub(super) struct NoiseLook {
    window: Vec<f64>,
    fft: std::sync::Arc<dyn rustfft::Fft<f64>>,
    /// Nearest bin looked at, and how much of the power the band lets through from there on outwards.
    nearest: usize,
    passed: Vec<f64>,
    half_hz: f64,
    step_s: f64,
}

impl NoiseLook {
    /// For series of `len` samples beside partials `hz` apart.
    pub fn new(len: usize, hz: f64, shape: &BandShape) -> Self {
        // The window is shorter than the series where that transforms faster.
        let n = smooth_length_below(len);
        let bin_hz = 1.0 / (n as f64 * shape.step_s);
        // Away from the partial with its wander, and not beyond half way to the next one.
        let place = |share: f64| ((share * hz.min(shape.half_hz) / bin_hz) as usize).clamp(1, (n / 2).max(1));
        let (nearest, farthest) = (place(0.15), place(0.45));
        Self {
            window: hann(n),
            fft: plans::forward(n),
            nearest,
            passed: (nearest..=farthest)
                .map(|distance| shape.response(distance as f64 * bin_hz).powi(2))
                .collect(),
            half_hz: shape.half_hz,
            step_s: shape.step_s,
        }
    }

    /// Density of the noise beside a partial, power per Hz: the median of the spectrum on both sides, made a mean.
    ///
    /// Other lines fill few bins and do not move the median.
    pub fn density(&self, series: &[Complex<f64>]) -> f64 {
        let n = self.window.len();
        if n < 8 {
            return mean_power(series) / self.half_hz;
        }
        let mut bins: Vec<Complex<f64>> =
            series.iter().zip(&self.window).map(|(value, weight)| value * weight).collect();
        self.fft.process(&mut bins);
        let side = |bin_of: fn(usize, usize) -> usize| {
            (self.nearest..).zip(&self.passed).map(move |(distance, passed)| (bin_of(distance, n), passed))
        };
        let mut powers: Vec<f64> = side(|distance, n| distance % n)
            .chain(side(|distance, n| n - distance))
            .map(|(bin, passed)| bins[bin].norm_sqr() / passed)
            .collect();
        let (above, below) = powers.split_at_mut(self.passed.len());
        let (above, below) = (middle(above), middle(below));
        // Where a coder emptied one side, the other one tells.
        let unlike = self.passed.len() >= ENOUGH_BINS && above.max(below) > UNLIKE_SIDES * above.min(below);
        let median = if unlike { above.max(below) } else { middle(&mut powers) };
        let energy: f64 = self.window.iter().map(|w| w * w).sum();
        // The median of exponentially distributed values is ln 2 times their mean.
        median / std::f64::consts::LN_2 / energy * self.step_s
    }
}
