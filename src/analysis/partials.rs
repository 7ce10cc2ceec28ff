//! The partials of one tone as slow series, and the phase wander they share.

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::bands::{BandShape, Bands};
use super::smoother;
use super::spectrum::hann;

/// Half width of a band, as a share of the fundamental: just short of half way to the next partial.
const BAND_SHARE: f64 = 0.47;
/// Widest half band, Hz: room for the opposite reed beside high partials without carrying needless samples.
const WIDEST_HZ: f64 = 1_000.0;
/// Partials followed, at the most.
const MAX_PARTIALS: usize = 256;
/// Shortest frame of the shared track, s.
const FRAME_S: f64 = 0.016;
/// A partial takes part when it stands this far above the noise of its band.
const LEAST_SNR: f64 = 0.5;

/// One partial as a series around `number` times the coarse pitch.
pub(super) struct PartialBand {
    /// 1 for the fundamental.
    pub number: usize,
    /// Complex amplitude over time.
    pub series: Vec<Complex<f64>>,
    /// Variance of the noise in one sample.
    pub noise: f64,
    /// Mean power over the span the partials were judged on.
    pub power: f64,
}

/// The partials of a tone.
pub(super) struct Partials {
    /// The pitch the series turn with, Hz.
    pub centre_hz: f64,
    /// Spacing of the samples, s.
    pub step_s: f64,
    /// Time of the first sample, from the take's beginning, s.
    pub start_s: f64,
    /// Half width of the bands, Hz.
    pub half_hz: f64,
    /// Equivalent noise bandwidth of a band, Hz.
    pub noise_width_hz: f64,
    /// The partials that stand out, ascending.
    pub bands: Vec<PartialBand>,
}

/// The phase shared by all partials, frame by frame.
pub(super) struct Wander {
    /// Samples of a band in one frame.
    pub frame: usize,
    /// Spacing of the frames, s.
    pub frame_s: f64,
    /// Time of the first frame's middle, s.
    pub start_s: f64,
    /// Phase of the fundamental against the coarse pitch, rad, per frame.
    pub phase: Vec<f64>,
    /// Error variance of that from the noise, rad².
    pub variance: Vec<f64>,
    /// Summed power of the partials, per frame.
    pub power: Vec<f64>,
}

impl Partials {
    /// Cut the partials of a tone of pitch `hz` up to `highest_hz`, and keep those that stand out between `from_s` and `to_s`.
    pub fn cut(bands: &mut Bands, hz: f64, start_s: f64, highest_hz: f64, from_s: f64, to_s: f64) -> Self {
        let half_hz = (BAND_SHARE * hz).min(WIDEST_HZ);
        let shape = bands.shape(half_hz);
        let count = ((highest_hz / hz) as usize).clamp(1, MAX_PARTIALS);
        let mut partials = Self {
            centre_hz: hz,
            step_s: shape.step_s,
            start_s,
            half_hz,
            noise_width_hz: shape.noise_width_hz,
            bands: Vec::new(),
        };
        let (from, to) = partials.indices(from_s, to_s, shape.len);
        for number in 1..=count {
            let series = bands.cut(&shape, number as f64 * hz);
            let noise = noise_variance(&series[from..to], &shape);
            let power = mean_power(&series[from..to]);
            if power > (1.0 + LEAST_SNR) * noise || number <= 2 {
                partials.bands.push(PartialBand { number, series, noise: noise.max(1e-24), power });
            }
        }
        partials
    }

    /// Sample indices of a stretch of time, clamped.
    pub fn indices(&self, from_s: f64, to_s: f64, len: usize) -> (usize, usize) {
        let index = |time: f64| ((time - self.start_s) / self.step_s).round().clamp(0.0, len as f64) as usize;
        let from = index(from_s).min(len.saturating_sub(1));
        (from, index(to_s).max(from + 1).min(len))
    }

    /// Number of samples in each series.
    pub fn len(&self) -> usize {
        self.bands.first().map_or(0, |band| band.series.len())
    }

    /// Time of a sample, s.
    pub fn time(&self, index: usize) -> f64 {
        self.start_s + index as f64 * self.step_s
    }

    /// Follow the phase that all partials share between `from_s` and `to_s`.
    ///
    /// First by the turning rate from sample to sample, then phase-coherently with more and more partials.
    pub fn follow(&self, from_s: f64, to_s: f64) -> Wander {
        let (from, to) = self.indices(from_s, to_s, self.len());
        let frame = ((FRAME_S / self.step_s).round() as usize).max(1);
        let n_frames = ((to - from) / frame).max(1);
        let frame_s = frame as f64 * self.step_s;
        let rough = self.rough_phase(from, frame, n_frames);
        let mut phase = rough;
        let mut variance = vec![1.0; n_frames];
        let highest = self.bands.last().map_or(1, |band| band.number);
        let mut reach = self.lowest_strong();
        loop {
            let (found, found_variance) = self.coherent_phase(&phase, from, frame, n_frames, reach);
            phase = found;
            variance = found_variance;
            if reach >= highest {
                break;
            }
            reach = (reach * 3).min(highest);
        }
        let power = (0..n_frames)
            .map(|m| {
                let range = from + m * frame..(from + (m + 1) * frame).min(self.len());
                self.bands.iter().map(|band| mean_power(&band.series[range.clone()])).sum()
            })
            .collect();
        Wander {
            frame,
            frame_s,
            start_s: self.time(from) + 0.5 * (frame as f64 - 1.0) * self.step_s,
            phase,
            variance,
            power,
        }
    }

    /// The lowest partial number that reaches a tenth of the strongest partial's information.
    fn lowest_strong(&self) -> usize {
        let best = self.bands.iter().map(PartialBand::snr).fold(0.0, f64::max);
        self.bands.iter().find(|band| band.snr() > 0.1 * best).map_or(1, |band| band.number)
    }

    /// Phase from the turning rate alone, frame by frame, summed up.
    fn rough_phase(&self, from: usize, frame: usize, n_frames: usize) -> Vec<f64> {
        // The rate is taken over at least 50 ms, so that noise does not throw it.
        let reach = (((0.05 / self.step_s) as usize).max(frame) / 2).max(1);
        let mut rate = Vec::with_capacity(n_frames);
        for m in 0..n_frames {
            let middle = from + m * frame + frame / 2;
            let low = middle.saturating_sub(reach);
            let high = (middle + reach).min(self.len() - 1);
            let (mut sum, mut weights) = (0.0, 1e-300);
            for band in &self.bands {
                let turn: Complex<f64> =
                    (low..high).map(|i| band.series[i + 1] * band.series[i].conj()).fold(Complex::zero(), |a, b| a + b);
                let number = band.number as f64;
                let weight = number * number * turn.norm() / band.noise;
                sum += weight * turn.arg() / number;
                weights += weight;
            }
            rate.push(sum / weights);
        }
        let mut phase = vec![0.0; n_frames];
        for m in 1..n_frames {
            phase[m] = phase[m - 1] + 0.5 * (rate[m] + rate[m - 1]) * frame as f64;
        }
        phase
    }

    /// Phase from the partials up to `reach`, each held against its own mean phase, weighted by its information.
    fn coherent_phase(
        &self,
        phase: &[f64],
        from: usize,
        frame: usize,
        n_frames: usize,
        reach: usize,
    ) -> (Vec<f64>, Vec<f64>) {
        let turn = self.sample_phase(phase, from, frame);
        let mut sum = vec![0.0; n_frames];
        let mut weights = vec![1e-300; n_frames];
        for band in self.bands.iter().filter(|band| band.number <= reach) {
            let number = band.number as f64;
            let mut frames = vec![Complex::zero(); n_frames];
            for (i, value) in band.series[from..(from + n_frames * frame).min(self.len())].iter().enumerate() {
                frames[i / frame] += value * Complex::from_polar(1.0 / frame as f64, -number * turn[i]);
            }
            let mut before = mean_direction(&frames);
            for ((value, sum), weights) in frames.iter().zip(&mut sum).zip(&mut weights) {
                // Unwrapped against a slowly following reference, so that a partial may drift in phase by itself.
                let angle = before + wrap(value.arg() - before);
                before = 0.9 * before + 0.1 * angle;
                let weight = number * number * value.norm_sqr() / band.noise;
                *sum += weight * angle / number;
                *weights += weight;
            }
            // Each partial's own mean phase is not wander.
            let own = mean_direction(&frames);
            for (value, sum) in frames.iter().zip(&mut sum) {
                *sum -= number * value.norm_sqr() / band.noise * own;
            }
        }
        let found = (0..n_frames).map(|m| phase[m] + sum[m] / weights[m]).collect();
        let variance = weights.iter().map(|w| 0.5 / (w * frame as f64)).collect();
        (found, variance)
    }

    /// The phase of the frames at each sample from `from` on, by straight lines.
    fn sample_phase(&self, phase: &[f64], from: usize, frame: usize) -> Vec<f64> {
        let len = (phase.len() * frame).min(self.len() - from);
        (0..len).map(|i| interpolate(phase, (i as f64 - 0.5 * (frame as f64 - 1.0)) / frame as f64)).collect()
    }
}

impl PartialBand {
    /// Power of the partial over the noise in its band.
    pub fn snr(&self) -> f64 {
        (self.power / self.noise - 1.0).max(0.0)
    }
}

impl Wander {
    /// Time of a frame's middle, s.
    pub fn time(&self, frame_idx: usize) -> f64 {
        self.start_s + frame_idx as f64 * self.frame_s
    }

    /// Smooth the frames `from..to`.
    pub fn smooth(&self, from: usize, to: usize) -> smoother::Track {
        smoother::smooth(&self.phase[from..to], &self.variance[from..to], self.frame_s)
    }
}

/// Value of a frame track at a fractional frame, held straight beyond the ends.
pub(super) fn interpolate(track: &[f64], at: f64) -> f64 {
    match track {
        [] => 0.0,
        [only] => *only,
        _ => {
            let low = (at.floor().max(0.0) as usize).min(track.len() - 2);
            track[low] + (at - low as f64) * (track[low + 1] - track[low])
        }
    }
}

/// An angle brought into -π..π.
pub(super) fn wrap(angle: f64) -> f64 {
    angle - std::f64::consts::TAU * (angle / std::f64::consts::TAU).round()
}

fn mean_direction(values: &[Complex<f64>]) -> f64 {
    values.iter().fold(Complex::<f64>::zero(), |a, b| a + b).arg()
}

fn mean_power(values: &[Complex<f64>]) -> f64 {
    values.iter().map(Complex::norm_sqr).sum::<f64>() / values.len().max(1) as f64
}

/// Noise in one sample of a band: the median of its spectrum well away from the partial, made the mean of white noise.
///
/// Other lines fill few bins and do not move the median.
fn noise_variance(series: &[Complex<f64>], shape: &BandShape) -> f64 {
    let n = series.len();
    if n < 8 {
        return mean_power(series);
    }
    let window = hann(n);
    let mut bins: Vec<Complex<f64>> = series.iter().zip(&window).map(|(value, weight)| value * weight).collect();
    rustfft::FftPlanner::new().plan_fft_forward(n).process(&mut bins);
    // The band is flat to three quarters of its half width; the partial and its wander fill the first third.
    let edge = shape.half_share() * n as f64;
    let (low, high) = ((0.35 * edge).ceil() as usize, ((0.75 * edge) as usize).max(1));
    let mut powers: Vec<f64> = (low..=high.max(low))
        .flat_map(|i| [i % n, (n - i % n) % n])
        .map(|i| bins[i].norm_sqr())
        .collect();
    let middle = powers.len() / 2;
    let (_, median, _) = powers.select_nth_unstable_by(middle, f64::total_cmp);
    let energy: f64 = window.iter().map(|w| w * w).sum();
    // The median of exponentially distributed values is ln 2 times their mean; the mean density times the band's
    // noise width is the variance.
    *median / std::f64::consts::LN_2 / energy * shape.noise_width_hz * shape.step_s
}
