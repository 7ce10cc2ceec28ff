//! Short power spectra with their noise floor and peaks.

use rustfft::num_complex::Complex;

/// Power spectrum averaged over frames.
pub(crate) struct Spectrum {
    /// Power of each bin; a sinusoid of amplitude A at a bin's centre reads A².
    pub power: Vec<f64>,
    /// Mean noise power around each bin.
    pub floor: Vec<f64>,
    /// Width of a bin, Hz.
    pub bin_hz: f64,
    /// Half the width of a peak at its foot, Hz.
    pub lobe_hz: f64,
}

/// A local maximum of a spectrum.
#[derive(Clone, Copy)]
pub(crate) struct Peak {
    /// Where, Hz.
    pub hz: f64,
    /// Power over the noise floor.
    pub excess: f64,
    /// Power.
    pub power: f64,
}

/// Zero padding of the frames.
const PADDING: usize = 2;
/// Width of the stretch over which the floor is taken, Hz.
const FLOOR_HZ: f64 = 160.0;
/// The floor is this quantile of the bins nearby: partials of the lowest reed cover under half of them.
const FLOOR_QUANTILE: f64 = 0.35;

/// Hann window of `n` points, periodic form.
pub(super) fn hann(n: usize) -> Vec<f64> {
    (0..n).map(|i| 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos()).collect()
}

/// Average power spectrum of `n_frames` frames of `frame_s` spread over `samples`.
pub(crate) fn spectrum(samples: &[f64], rate: f64, frame_s: f64, n_frames: usize) -> Spectrum {
    let frame = ((frame_s * rate) as usize).clamp(16, samples.len().max(16));
    let size = (frame * PADDING).next_power_of_two();
    let window = hann(frame);
    let gain = 2.0 / window.iter().sum::<f64>();
    let fft = super::plans::real_forward(size);
    let mut input = fft.make_input_vec();
    let mut output: Vec<Complex<f64>> = fft.make_output_vec();
    let mut scratch = fft.make_scratch_vec();
    let mut power = vec![0.0; output.len()];
    let room = samples.len().saturating_sub(frame);
    let n_frames = if room == 0 { 1 } else { n_frames };
    for frame_idx in 0..n_frames {
        let from = if n_frames == 1 { room / 2 } else { room * frame_idx / (n_frames - 1) };
        input.fill(0.0);
        for ((slot, sample), weight) in input.iter_mut().zip(samples.iter().skip(from)).zip(&window) {
            *slot = sample * weight;
        }
        if fft.process_with_scratch(&mut input, &mut output, &mut scratch).is_err() {
            break;
        }
        for (sum, value) in power.iter_mut().zip(&output) {
            *sum += value.norm_sqr() * gain * gain / n_frames as f64;
        }
    }
    let bin_hz = rate / size as f64;
    let floor = noise_floor(&power, bin_hz);
    Spectrum { power, floor, bin_hz, lobe_hz: 2.0 * rate / frame as f64 }
}

/// A low quantile of overlapping stretches, scaled to the mean of the noise and joined by straight lines.
fn noise_floor(power: &[f64], bin_hz: f64) -> Vec<f64> {
    let width = ((FLOOR_HZ / bin_hz) as usize).clamp(16, power.len().max(16));
    let half = width / 2;
    // For exponentially distributed bins the quantile q lies at -ln(1 - q) times the mean.
    let scale = 1.0 / -(1.0 - FLOOR_QUANTILE).ln();
    let mut stretch = Vec::with_capacity(width);
    let mut knots: Vec<(usize, f64)> = Vec::new();
    let mut from = 0;
    while from < power.len() {
        let to = (from + width).min(power.len());
        stretch.clear();
        stretch.extend_from_slice(&power[from..to]);
        let rank = ((stretch.len() - 1) as f64 * FLOOR_QUANTILE) as usize;
        let (_, value, _) = stretch.select_nth_unstable_by(rank, f64::total_cmp);
        knots.push(((from + to) / 2, (*value * scale).max(1e-30)));
        if to == power.len() {
            break;
        }
        from += half.max(1);
    }
    let mut floor = vec![0.0; power.len()];
    let mut knot = 0;
    for (i, value) in floor.iter_mut().enumerate() {
        while knot + 1 < knots.len() && knots[knot + 1].0 <= i {
            knot += 1;
        }
        let (at, left) = knots[knot];
        *value = match knots.get(knot + 1) {
            Some(&(next, right)) if i >= at => left + (right - left) * (i - at) as f64 / (next - at) as f64,
            _ => left,
        };
    }
    floor
}

impl Spectrum {
    /// Local maxima more than `excess` times above the floor, between `low` and `high`, ascending in frequency.
    pub fn peaks(&self, excess: f64, low: f64, high: f64) -> Vec<Peak> {
        let first = ((low / self.bin_hz) as usize).max(1);
        let last = ((high / self.bin_hz) as usize).min(self.power.len().saturating_sub(2));
        (first..=last)
            .filter(|&i| {
                let p = &self.power;
                p[i] > p[i - 1] && p[i] >= p[i + 1] && p[i] > excess * self.floor[i]
            })
            .map(|i| {
                let level = |j: usize| self.power[j].max(1e-30).ln();
                let (left, centre, right) = (level(i - 1), level(i), level(i + 1));
                let curvature = left - 2.0 * centre + right;
                let shift =
                    if curvature < 0.0 { (0.5 * (left - right) / curvature).clamp(-0.5, 0.5) } else { 0.0 };
                Peak {
                    hz: (i as f64 + shift) * self.bin_hz,
                    excess: self.power[i] / self.floor[i],
                    power: self.power[i],
                }
            })
            .collect()
    }
}
