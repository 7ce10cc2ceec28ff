//! Single partials as slow complex series: one long transform, then a narrow band around each partial turned back.

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::plans;

/// Four-term Blackman-Harris window (Harris 1978): in frequency it closes the band so softly that what happens at one
/// moment is 92 dB down after `MEMORY / half width` seconds.
const BLACKMAN_HARRIS: [f64; 4] = [0.35875, 0.48829, 0.14128, 0.01168];
/// Half the main lobe of the window's transform, in units of the inverse half width.
pub(super) const MEMORY: f64 = 2.0;

/// The transform of one stretch of sound, from which bands are cut.
pub(super) struct Bands {
    spectrum: Vec<Complex<f64>>,
    /// Samples in the stretch, padding included.
    size: usize,
    rate: f64,
}

/// What fits all bands of one width: their number of samples, spacing and taper.
pub(super) struct BandShape {
    /// Samples per band.
    pub len: usize,
    /// Spacing of the samples, s.
    pub step_s: f64,
    /// Half width, Hz.
    pub half_hz: f64,
    /// Half width in bins of the long transform.
    half_bins: usize,
    taper: Vec<f64>,
    inverse: std::sync::Arc<dyn rustfft::Fft<f64>>,
}

impl BandShape {
    /// How much the band lets through at `offset_hz` from its middle, in amplitude.
    pub fn response(&self, offset_hz: f64) -> f64 {
        taper(offset_hz / self.half_hz)
    }
}

impl Bands {
    /// Transform `samples`, with `pad_s` of silence behind, so that the end does not reach round to the beginning.
    pub fn new(samples: &[f64], rate: f64, pad_s: f64) -> Self {
        let size = smooth_length(samples.len() + (pad_s * rate) as usize);
        let fft = plans::real_forward(size);
        let mut input = fft.make_input_vec();
        for (slot, sample) in input.iter_mut().zip(samples) {
            *slot = *sample;
        }
        let mut spectrum = fft.make_output_vec();
        if fft.process(&mut input, &mut spectrum).is_err() {
            spectrum.fill(Complex::zero());
        }
        Self { spectrum, size, rate }
    }

    /// The transform's own time step between bins, Hz.
    fn bin_hz(&self) -> f64 {
        self.rate / self.size as f64
    }

    /// Prepare bands of `half_hz` to either side.
    pub fn shape(&self, half_hz: f64) -> BandShape {
        let half_bins = ((half_hz / self.bin_hz()) as usize).clamp(2, self.spectrum.len() / 2);
        let len = smooth_length(2 * half_bins + 1);
        let taper: Vec<f64> = (0..=half_bins).map(|i| taper(i as f64 / half_bins as f64)).collect();
        BandShape {
            len,
            step_s: self.size as f64 / self.rate / len as f64,
            half_hz: half_bins as f64 * self.bin_hz(),
            half_bins,
            inverse: plans::inverse(len),
            taper,
        }
    }

    /// The series of the band around `hz`, turned so that a steady sinusoid `A cos(2 pi hz t + p)` reads `A exp(i p)`.
    pub fn cut(&self, shape: &BandShape, hz: f64) -> Vec<Complex<f64>> {
        let centre = (hz / self.bin_hz()).round() as isize;
        let mut series = vec![Complex::zero(); shape.len];
        for offset in -(shape.half_bins as isize)..=shape.half_bins as isize {
            let bin = centre + offset;
            if bin < 1 || bin as usize + 1 >= self.spectrum.len() {
                continue;
            }
            let slot = offset.rem_euclid(shape.len as isize) as usize;
            series[slot] = self.spectrum[bin as usize] * shape.taper[offset.unsigned_abs()];
        }
        shape.inverse.process(&mut series);
        let gain = 2.0 / self.size as f64;
        let turn = std::f64::consts::TAU * (centre as f64 * self.bin_hz() - hz) * shape.step_s;
        // A phasor by recurrence, renewed often enough that its rounding does not matter.
        let step = Complex::from_polar(1.0, turn);
        for (chunk, values) in series.chunks_mut(256).enumerate() {
            let mut phasor = Complex::from_polar(gain, turn * (chunk * 256) as f64);
            for value in values {
                *value *= phasor;
                phasor *= step;
            }
        }
        series
    }
}

/// The taper at `place`, 0 in the middle and ±1 at the edges.
pub(super) fn taper(place: f64) -> f64 {
    let turn = std::f64::consts::PI * place.clamp(-1.0, 1.0);
    (0..).zip(BLACKMAN_HARRIS).map(|(order, share)| share * (f64::from(order) * turn).cos()).sum()
}

/// The next length at or above `n` with no prime factor over 5, and even.
pub(super) fn smooth_length(n: usize) -> usize {
    let mut length = n.max(2).next_multiple_of(2);
    while !is_smooth(length) {
        length += 2;
    }
    length
}

/// The nearest length at or below `n` with no prime factor over 5.
pub(super) fn smooth_length_below(n: usize) -> usize {
    (1..=n).rev().find(|length| is_smooth(*length)).unwrap_or(1)
}

fn is_smooth(mut rest: usize) -> bool {
    for factor in [2, 3, 5] {
        while rest > 0 && rest.is_multiple_of(factor) {
            rest /= factor;
        }
    }
    rest == 1
}
