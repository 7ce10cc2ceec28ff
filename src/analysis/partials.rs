//! The partials of one tone as slow series, and the phase wander they share.

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::bands::{BandShape, Bands, MEMORY};
use super::noise_beside::NoiseLook;
use super::smoother;
use super::turning::Turning;

/// Half width of a band, as a share of the fundamental: the neighbouring partials lie outside.
const BAND_SHARE: f64 = 0.9;
/// Widest half band, Hz: room for the opposite reed beside high partials without carrying needless samples.
const WIDEST_HZ: f64 = 1_500.0;
/// Partials followed, at the most.
const MAX_PARTIALS: usize = 256;
/// Shortest frame of the shared track, s.
const FRAME_S: f64 = 0.016;
/// A partial guides the first rounds when its power in the band stands this far above the noise.
const GUIDE_SNR: f64 = 3.0;
/// A partial takes part in the last rounds when its mean amplitude stands this far above its own error, in power.
const LEAST_COHERENT: f64 = 4.0;
/// Noise is not believed to lie deeper than this below the strongest partial, power in one hertz (-130 dB): no microphone
/// is so quiet, but a lossy coder leaves bands empty, and what little is in them would outweigh the tone.
const DEEPEST_NOISE: f64 = 1e-13;
/// Nor deeper than this share of what lies beside the next partial (-15 dB): the empty band may begin between them.
const LEAST_OF_NEIGHBOUR: f64 = 0.03;
/// Last rounds: each takes the phase that is left by a straight line.
const LAST_ROUNDS: usize = 3;

/// One partial as a series around `number` times the coarse pitch.
pub(super) struct PartialBand {
    /// 1 for the fundamental.
    pub number: usize,
    /// Complex amplitude over time.
    pub series: Vec<Complex<f64>>,
    /// Density of the noise beside it, power per Hz.
    pub noise: f64,
    /// Mean amplitude once the shared wander is taken off, phase included; zero until then.
    pub amplitude: Complex<f64>,
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
    /// What fits all bands.
    pub shape: BandShape,
    /// Density of the noise beside each partial from the first on, whether it stands out or not, power per Hz.
    pub noise_beside: Vec<f64>,
    /// The partials, ascending.
    pub bands: Vec<PartialBand>,
}

/// The phase shared by all partials, frame by frame.
pub(super) struct Wander {
    /// Index of the first frame's first sample.
    pub from: usize,
    /// Samples of a band in one frame.
    pub frame: usize,
    /// Spacing of the frames, s.
    pub frame_s: f64,
    /// Time of the first frame's middle, s.
    pub start_s: f64,
    /// Phase of the fundamental against the coarse pitch, rad, per frame.
    pub phase: Vec<f64>,
    /// Error variance of that from the noise, rad², relative from frame to frame.
    pub variance: Vec<f64>,
    /// Summed power of the partials, per frame.
    pub power: Vec<f64>,
}

impl Partials {
    /// Cut the partials of a tone of pitch `hz` up to `highest_hz`; judge their noise between `from_s` and `to_s`.
    pub fn cut(bands: &Bands, hz: f64, start_s: f64, highest_hz: f64, from_s: f64, to_s: f64) -> Self {
        let shape = bands.shape((BAND_SHARE * hz).min(WIDEST_HZ));
        let count = ((highest_hz / hz) as usize).clamp(1, MAX_PARTIALS);
        let mut partials = Self {
            centre_hz: hz,
            step_s: shape.step_s,
            start_s,
            shape,
            noise_beside: Vec::with_capacity(count),
            bands: Vec::with_capacity(count),
        };
        let (from, to) = partials.indices(from_s, to_s, partials.shape.len);
        let look = NoiseLook::new(to - from, hz, &partials.shape);
        for number in 1..=count {
            let series = bands.cut(&partials.shape, number as f64 * hz);
            let noise = look.density(&series[from..to]).max(1e-30);
            let power = mean_power(&series[from..to]);
            partials.noise_beside.push(noise);
            partials.bands.push(PartialBand { number, series, noise, amplitude: Complex::zero(), power });
        }
        let least = DEEPEST_NOISE * partials.bands.iter().map(|band| band.power).fold(0.0, f64::max);
        let found = partials.noise_beside.clone();
        for (i, (noise, band)) in partials.noise_beside.iter_mut().zip(&mut partials.bands).enumerate() {
            let beside = [i.wrapping_sub(1), i + 1].into_iter().filter_map(|i| found.get(i));
            let beside = beside.fold(0.0, |most: f64, one| most.max(*one));
            *noise = noise.max(least).max(LEAST_OF_NEIGHBOUR * beside);
            band.noise = *noise;
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
        self.shape.len
    }

    /// Time of a sample, s.
    pub fn time(&self, index: usize) -> f64 {
        self.start_s + index as f64 * self.step_s
    }

    /// How long the bands remember what happened, s.
    pub fn memory_s(&self) -> f64 {
        MEMORY / self.shape.half_hz
    }

    /// Follow the phase that the guiding partials share between `from_s` and `to_s`.
    ///
    /// First by the turning rate from sample to sample, then phase-coherently with more and more partials.
    pub fn follow(&self, from_s: f64, to_s: f64) -> Wander {
        let (from, to) = self.indices(from_s, to_s, self.len());
        // Neighbouring samples share their noise; over four of them it has become white.
        let frame = ((FRAME_S / self.step_s).round() as usize).max(4);
        let n_frames = ((to - from) / frame).max(1);
        let guides = self.guides();
        let mut phase = self.rough_phase(&guides, from, frame, n_frames);
        let best = guides.iter().map(|band| self.snr(band)).fold(0.0, f64::max);
        let mut reach = guides.iter().find(|band| self.snr(band) > 0.1 * best).map_or(1, |band| band.number);
        let highest = guides.last().map_or(1, |band| band.number);
        let mut variance;
        loop {
            (phase, variance) = self.coherent_phase(&guides, &phase, from, frame, reach);
            if reach >= highest {
                break;
            }
            reach = (reach * 3).min(highest);
        }
        let power = (0..n_frames)
            .map(|m| {
                let range = from + m * frame..from + (m + 1) * frame;
                guides.iter().map(|band| mean_power(&band.series[range.clone()])).sum()
            })
            .collect();
        let frame_s = frame as f64 * self.step_s;
        let start_s = self.time(from) + 0.5 * (frame as f64 - 1.0) * self.step_s;
        Wander { from, frame, frame_s, start_s, phase, variance, power }
    }

    /// Take up every partial that stands out once the shared phase is known, drop the others, and follow once more.
    ///
    /// With `select` false the partials stay as they are. `frames` is the stretch on which amplitudes and noise are taken.
    /// The phase that is left is small, so each partial's share is linear in it and weak partials add up without bias.
    pub fn refine(&mut self, wander: &mut Wander, frames: (usize, usize), select: bool) {
        let length_s = (frames.1 - frames.0) as f64 * wander.frame_s;
        for round in 0..LAST_ROUNDS {
            let smooth = smoother::smooth(&wander.phase, &wander.variance, wander.frame_s).phase;
            let turn = sample_phase(&smooth, wander.frame, self.len() - wander.from);
            let n_frames = wander.phase.len();
            let mut turning = Turning::new(&turn[..n_frames * wander.frame]);
            let mut turned: Vec<Vec<Complex<f64>>> = Vec::with_capacity(self.bands.len());
            for band in &mut self.bands {
                let values = sum_frames(&band.series[wander.from..], turning.at(band.number), wander.frame);
                let sum = values[frames.0..frames.1].iter().fold(Complex::<f64>::zero(), |a, b| a + b);
                band.amplitude = sum / ((frames.1 - frames.0) * wander.frame) as f64;
                turned.push(values);
            }
            if round == 0 && select {
                let least = |band: &PartialBand| LEAST_COHERENT * band.noise / length_s;
                let keep: Vec<bool> = self
                    .bands
                    .iter()
                    .map(|band| band.number == 1 || band.amplitude.norm_sqr() > least(band))
                    .collect();
                let mut kept = keep.iter();
                self.bands.retain(|_| kept.next() == Some(&true));
                let mut kept = keep.iter();
                turned.retain(|_| kept.next() == Some(&true));
            }
            let mut sum = vec![0.0; n_frames];
            let mut weight = 1e-300;
            for (band, values) in self.bands.iter().zip(&turned) {
                let number = band.number as f64;
                let scale = number / band.noise / wander.frame as f64;
                for (sum, value) in sum.iter_mut().zip(values) {
                    *sum += scale * (value * band.amplitude.conj()).im;
                }
                weight += number * number * band.amplitude.norm_sqr() / band.noise;
            }
            for (m, left) in sum.iter().enumerate() {
                // Outside the stretch, in attack and tail, the linear step may not hold: it is kept small.
                wander.phase[m] = smooth[m] + (left / weight).clamp(-0.3, 0.3);
                wander.variance[m] = 0.5 / (weight * wander.frame_s);
            }
        }
    }

    /// The partials that stand out in their bands at first sight.
    pub fn guides(&self) -> Vec<&PartialBand> {
        let guides: Vec<_> = self.bands.iter().filter(|band| self.snr(band) > GUIDE_SNR).collect();
        if guides.is_empty() { self.bands.iter().take(3).collect() } else { guides }
    }

    /// Power of a partial over the noise in its band.
    pub fn snr(&self, band: &PartialBand) -> f64 {
        // The window's equivalent noise width is 2.004 / 4 of its whole width (Harris 1978) times its mean power.
        band.power / (band.noise * 0.52 * self.shape.half_hz) - 1.0
    }

    /// Phase from the turning rate alone, frame by frame, summed up.
    fn rough_phase(&self, guides: &[&PartialBand], from: usize, frame: usize, n_frames: usize) -> Vec<f64> {
        // The rate is taken over at least 50 ms, so that noise does not throw it.
        let reach = (((0.05 / self.step_s) as usize).max(frame) / 2).max(1);
        let wide = (reach as f64 / frame as f64).round().max(1.0) as usize;
        let (mut sum, mut weights) = (vec![0.0; n_frames], vec![1e-300; n_frames]);
        for band in guides {
            let number = band.number as f64;
            let mut totals = vec![Complex::<f64>::zero(); n_frames + 1];
            for m in 0..n_frames {
                let first = from + m * frame;
                let last = (first + frame).min(self.len() - 1);
                let turn = (first..last).map(|i| band.series[i + 1] * band.series[i].conj());
                totals[m + 1] = totals[m] + turn.fold(Complex::<f64>::zero(), |a, b| a + b);
            }
            for m in 0..n_frames {
                let turn = totals[(m + wide + 1).min(n_frames)] - totals[m.saturating_sub(wide)];
                let weight = number * number * turn.norm() / band.noise;
                sum[m] += weight * turn.arg() / number;
                weights[m] += weight;
            }
        }
        let rate: Vec<f64> = sum.iter().zip(&weights).map(|(sum, weight)| sum / weight).collect();
        let mut phase = vec![0.0; n_frames];
        for m in 1..n_frames {
            phase[m] = phase[m - 1] + 0.5 * (rate[m] + rate[m - 1]) * frame as f64;
        }
        phase
    }

    /// Phase from the guides up to `reach`, each held against its own mean phase, weighted by its information.
    fn coherent_phase(
        &self,
        guides: &[&PartialBand],
        phase: &[f64],
        from: usize,
        frame: usize,
        reach: usize,
    ) -> (Vec<f64>, Vec<f64>) {
        let n_frames = phase.len();
        let mut turning = Turning::new(&sample_phase(phase, frame, n_frames * frame));
        let mut sum = vec![0.0; n_frames];
        let mut weights = vec![1e-300; n_frames];
        for band in guides.iter().filter(|band| band.number <= reach) {
            let number = band.number as f64;
            let mut frames = sum_frames(&band.series[from..], turning.at(band.number), frame);
            frames.iter_mut().for_each(|value| *value /= frame as f64);
            // Each partial's own mean phase is not wander.
            let own = frames.iter().fold(Complex::<f64>::zero(), |a, b| a + b).arg();
            let mut before = 0.0;
            for ((value, sum), weights) in frames.iter().zip(&mut sum).zip(&mut weights) {
                // Unwrapped against a slowly following reference, so that a partial may drift in phase by itself.
                let angle = before + wrap(value.arg() - own - before);
                before = 0.9 * before + 0.1 * angle;
                let weight = number * number * value.norm_sqr() / band.noise;
                *sum += weight * angle / number;
                *weights += weight;
            }
        }
        let found = (0..n_frames).map(|m| phase[m] + sum[m] / weights[m]).collect();
        let variance = weights.iter().map(|w| 0.5 / (w * frame as f64 * self.step_s)).collect();
        (found, variance)
    }
}

/// Sums over frames of a series turned back by `phasors`.
fn sum_frames(series: &[Complex<f64>], phasors: &[Complex<f64>], frame: usize) -> Vec<Complex<f64>> {
    phasors
        .chunks_exact(frame)
        .zip(series.chunks_exact(frame))
        .map(|(phasors, series)| series.iter().zip(phasors).fold(Complex::zero(), |sum, (a, b)| sum + a * b))
        .collect()
}

/// The phase of the frames at each of `len` samples, by straight lines.
pub(super) fn sample_phase(phase: &[f64], frame: usize, len: usize) -> Vec<f64> {
    (0..len).map(|i| interpolate(phase, (i as f64 - 0.5 * (frame as f64 - 1.0)) / frame as f64)).collect()
}

impl Wander {
    /// Time of a frame's middle, s.
    pub fn time(&self, frame_idx: usize) -> f64 {
        self.start_s + frame_idx as f64 * self.frame_s
    }

    /// The frames between two times, `None` for fewer than three.
    pub fn frames_between(&self, from_s: f64, to_s: f64) -> Option<(usize, usize)> {
        let index = |time: f64| ((time - self.start_s) / self.frame_s).ceil().max(0.0) as usize;
        let (from, to) = (index(from_s), index(to_s).min(self.phase.len()));
        (to >= from + 3).then_some((from, to))
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

pub(super) fn mean_power(values: &[Complex<f64>]) -> f64 {
    values.iter().map(Complex::norm_sqr).sum::<f64>() / values.len().max(1) as f64
}
