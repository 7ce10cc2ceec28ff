//! What lies beside each partial once the tone itself is taken off: the place where a second tone shows.
//!
//! Each partial is turned back by the shared wander, its own slow course and what it shares with the other partials'
//! level is taken off by least squares, and the rest is transformed. Bellows tremor leaves a pair of equal lines on
//! both sides; a second reed leaves one line on one side. So the background at a distance is taken from the weaker side.

use std::ops::Range;
use std::rc::Rc;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::bands::{smooth_length, taper};
use super::hearing::Hearing;
use super::partials::{interpolate, sample_phase};
use super::spectrum::hann;
use super::turning::Turning;

/// Zero padding of the transforms, so that a line between two bins loses under 0.1 dB.
const PADDING: usize = 4;
/// A line closer than this to the partial, in cycles over the stretch, is not looked at.
const LEAST_CYCLES: f64 = 0.45;
/// What is left of a line after the slow course is taken off must be this share of its energy.
const LEAST_SHARE: f64 = 0.04;
/// A line is measured when this share of its energy is left.
const MEASURABLE_SHARE: f64 = 0.25;
/// The background is averaged over this many cycles to either side at least, and over this share of the distance.
const BACKGROUND_CYCLES: f64 = 2.5;
const BACKGROUND_SHARE: f64 = 0.25;
/// The background is never taken lower than this share of the noise density beside the partial.
const LEAST_BACKGROUND: f64 = 0.6;

/// Bands around the lines of another note: half width in cycles over the stretch, and at least this, Hz.
const CLEAR_BAND_CYCLES: f64 = 60.0;
const CLEAR_BAND_HZ: f64 = 30.0;
/// Such a line must lie this clear of the sounding partials, in cycles over the stretch and in Hz (tremor).
const CLEAR_CYCLES: f64 = 6.0;
const CLEAR_HZ: f64 = 2.0;

/// Neighbourhood of one line of a possible second series.
pub(super) struct Line {
    /// Its number in the second series.
    pub number: usize,
    /// Power of the rest at each bin of distance, in units in which a line of amplitude B adds B² times `energy`.
    power: Vec<f64>,
    /// Background in the same units.
    background: Vec<f64>,
    /// Energy a line of amplitude 1 leaves at each bin.
    energy: Vec<f64>,
    /// Index of distance zero.
    middle: usize,
    /// Width of a bin, Hz.
    bin_hz: f64,
    /// Squared amplitude of the sounding reed hereabouts.
    pub reference: f64,
    /// The rest itself, re the partial's amplitude, the window it was seen through, and what was taken off it.
    rest: Vec<Complex<f64>>,
    window: Rc<Vec<f64>>,
    taken: Vec<Vec<f64>>,
    step_s: f64,
    /// Half width of the band the line was cut with, Hz.
    half_hz: f64,
}

/// What a line's neighbourhood says at one distance.
#[derive(Clone, Copy)]
pub(super) struct Look {
    /// Power over background.
    pub excess: f64,
    /// Power over background that a line as strong as the sounding reed's partial would add.
    pub yield_at_unity: f64,
}

impl Line {
    /// What is seen `distance_hz` from the middle; `None` where nothing can be seen.
    pub fn look(&self, distance_hz: f64) -> Option<Look> {
        let at = distance_hz / self.bin_hz + self.middle as f64;
        if !(at >= 0.0 && at < (self.power.len() - 1) as f64) {
            return None;
        }
        let low = at as usize;
        let between = |track: &[f64]| track[low] + (at - low as f64) * (track[low + 1] - track[low]);
        let energy = between(&self.energy);
        if energy <= 0.0 || self.energy[low] <= 0.0 || self.energy[low + 1] <= 0.0 {
            return None;
        }
        let background = between(&self.background);
        Some(Look {
            excess: between(&self.power) / background,
            yield_at_unity: self.reference * energy / background,
        })
    }

    /// How much of a line `distance_hz` from the middle the band lets through, in power.
    pub fn passed(&self, distance_hz: f64) -> f64 {
        taper(distance_hz / self.half_hz).powi(2).max(1e-9)
    }

    /// Complex amplitude of a line `distance_hz` from the middle, re the partial's, as the band lets it through, at the
    /// stretch's first sample; `None` where too little of such a line is left to tell.
    pub fn amplitude(&self, distance_hz: f64) -> Option<Complex<f64>> {
        let turn = std::f64::consts::TAU * distance_hz * self.step_s;
        let line: Vec<Complex<f64>> =
            self.window.iter().enumerate().map(|(i, w)| Complex::from_polar(*w, -turn * i as f64)).collect();
        let dot = |values: &[f64]| {
            line.iter().zip(values).map(|(l, v)| l * v).fold(Complex::<f64>::zero(), |a, b| a + b)
        };
        let total: f64 = self.window.iter().sum();
        let energy = total - self.taken.iter().map(|course| dot(course).norm_sqr()).sum::<f64>();
        if energy < MEASURABLE_SHARE * total {
            return None;
        }
        let sum = line.iter().zip(&self.rest).map(|(l, v)| l * v).fold(Complex::<f64>::zero(), |a, b| a + b);
        Some(sum / energy)
    }
}

/// The stretch on which second tones are looked for.
pub(super) struct Stretch {
    /// Sample range of the bands.
    pub samples: Range<usize>,
    /// Phase of the fundamental at each sample, rad, against the coarse pitch.
    pub turn: Vec<f64>,
    /// Length, s.
    pub length_s: f64,
}

/// The steady stretch of a hearing, sample by sample.
pub(super) fn stretch(hearing: &Hearing) -> Stretch {
    let wander = &hearing.wander;
    let from = wander.from + hearing.frames.0 * wander.frame;
    let n = (hearing.frames.1 - hearing.frames.0) * wander.frame;
    Stretch {
        samples: from..from + n,
        turn: sample_phase(&hearing.track.phase, wander.frame, n),
        length_s: n as f64 * hearing.partials.step_s,
    }
}

/// The neighbourhoods of the sounding reed's own partials.
///
/// `known` are lines of a second series found before, as `Search::amplitudes` gives them: they are kept out of the
/// level that the partials share.
pub(super) fn beside_partials(
    hearing: &Hearing,
    stretch: &Stretch,
    known: &[(usize, f64, Complex<f64>)],
) -> Vec<Line> {
    let partials = &hearing.partials;
    let n = stretch.samples.len();
    let window = Rc::new(hann(n));
    let mut turning = Turning::new(&stretch.turn);
    let series: Vec<Vec<Complex<f64>>> = partials
        .bands
        .iter()
        .map(|band| {
            let scale = Complex::new(1.0, 0.0) / band.amplitude;
            let back = turning.at(band.number);
            band.series[stretch.samples.clone()]
                .iter()
                .zip(back)
                .map(|(value, back)| value * back * scale)
                .collect()
        })
        .collect();
    let level = shared_level(hearing, &series, known);
    let size = smooth_length(n * PADDING);
    let fft = FftPlanner::new().plan_fft_forward(size);
    let slow = slow_course(n);
    let energy_by_bin = line_energy(&slow, &window, size, &*fft);
    let bin_hz = 1.0 / (size as f64 * partials.step_s);
    let reach = ((0.46 * partials.centre_hz).min(0.5 * partials.shape.half_hz) / bin_hz) as usize;
    let reach = reach.min(size / 2 - 1);
    let least = (LEAST_CYCLES / stretch.length_s / bin_hz).ceil() as usize;
    partials
        .bands
        .iter()
        .zip(series)
        .enumerate()
        .map(|(i, (band, mut rest))| {
            let taken = take_off(&mut rest, &slow, &level.others(i), &window);
            let mut bins: Vec<Complex<f64>> = vec![Complex::zero(); size];
            for ((slot, value), weight) in bins.iter_mut().zip(&rest).zip(window.iter()) {
                *slot = value * weight;
            }
            fft.process(&mut bins);
            let at = |distance: isize| bins[distance.rem_euclid(size as isize) as usize];
            let mut power = Vec::with_capacity(2 * reach + 1);
            let mut energy = Vec::with_capacity(2 * reach + 1);
            for distance in -(reach as isize)..=reach as isize {
                let share = energy_by_bin[distance.rem_euclid(size as isize) as usize];
                let response = partials.shape.response(distance as f64 * bin_hz).max(1e-6);
                let seen = distance.unsigned_abs() >= least && share > 0.0;
                energy.push(if seen { share } else { 0.0 });
                let norm = if seen { share } else { f64::INFINITY };
                power.push(at(distance).norm_sqr() / norm / (response * response));
            }
            // White noise of density N0 reads N0 / step once normed to energy 1.
            let floor = LEAST_BACKGROUND * band.noise / band.amplitude.norm_sqr() / partials.step_s
                * noise_share(&window);
            let background = background(&power, &energy, reach, bin_hz, stretch.length_s, floor);
            Line {
                number: band.number,
                power,
                background,
                energy,
                middle: reach,
                bin_hz,
                reference: 1.0,
                rest,
                window: Rc::clone(&window),
                taken,
                step_s: partials.step_s,
                half_hz: partials.shape.half_hz,
            }
            .scaled(band.amplitude.norm_sqr())
        })
        .collect()
}

/// The neighbourhoods of the lines of another note of pitch `pitch_hz`, where they lie clear of the sounding partials.
pub(super) fn between_partials(hearing: &mut Hearing, stretch: &Stretch, pitch_hz: f64) -> Vec<Line> {
    let (from_s, to_s) = (hearing.steady.start.get(), hearing.steady.end.get());
    let sounding_hz = hearing.measured_hz;
    let half_hz = (CLEAR_BAND_CYCLES / stretch.length_s).max(CLEAR_BAND_HZ);
    let shape = hearing.bands.shape(half_hz);
    let clear_hz = CLEAR_CYCLES / stretch.length_s + CLEAR_HZ;
    let highest = hearing.partials.bands.last().map_or(0.0, |band| (band.number as f64 + 0.5) * sounding_hz);
    let (from, to) = {
        let index = |time: f64| ((time - hearing.partials.start_s) / shape.step_s).max(0.0) as usize;
        (index(from_s).min(shape.len), index(to_s).min(shape.len))
    };
    let n = to.saturating_sub(from);
    if n < 16 {
        return Vec::new();
    }
    let window: Rc<Vec<f64>> =
        Rc::new((0..n).map(|i| taper(2.0 * (i as f64 + 0.5) / n as f64 - 1.0)).collect());
    let energy: f64 = window.iter().sum();
    // The shared wander, in turns of the other note.
    let turn: Vec<f64> = (0..n)
        .map(|i| {
            let time = hearing.partials.start_s + (from + i) as f64 * shape.step_s;
            let frame = (time - hearing.wander.time(hearing.frames.0)) / hearing.wander.frame_s;
            let whole = interpolate(&hearing.track.phase, frame);
            // The mean pitch is in `pitch_hz` already: only the departure from it is wander.
            whole - hearing.track.mean_rate * frame * hearing.wander.frame_s
        })
        .collect();
    let size = (n * PADDING).next_power_of_two();
    let fft = FftPlanner::new().plan_fft_forward(size);
    let bin_hz = 1.0 / (size as f64 * shape.step_s);
    let reach = ((0.5 * half_hz / bin_hz) as usize).min(size / 2 - 1);
    let own_bins = (CLEAR_CYCLES / stretch.length_s / bin_hz) as usize;
    let mut lines = Vec::new();
    for number in 1.. {
        let hz = number as f64 * pitch_hz;
        if hz > highest {
            break;
        }
        let nearest = (hz / sounding_hz).round().max(1.0);
        if (hz - nearest * sounding_hz).abs() < clear_hz {
            continue;
        }
        let reference = reference_near(hearing, hz / sounding_hz);
        let amplitude = reference.sqrt();
        let rest: Vec<Complex<f64>> = hearing.bands.cut(&shape, hz)[from..to]
            .iter()
            .zip(&turn)
            .map(|(value, turn)| value * Complex::from_polar(1.0 / amplitude, -turn * hz / sounding_hz))
            .collect();
        let mut bins: Vec<Complex<f64>> = vec![Complex::zero(); size];
        for ((slot, value), weight) in bins.iter_mut().zip(&rest).zip(window.iter()) {
            *slot = value * weight;
        }
        fft.process(&mut bins);
        let power: Vec<f64> = (-(reach as isize)..=reach as isize)
            .map(|d| {
                let response = shape.response(d as f64 * bin_hz);
                bins[d.rem_euclid(size as isize) as usize].norm_sqr() / energy / (response * response)
            })
            .collect();
        let mut around: Vec<f64> = power
            .iter()
            .enumerate()
            .filter(|(i, _)| i.abs_diff(reach) > own_bins)
            .map(|(_, value)| *value)
            .collect();
        if around.is_empty() {
            continue;
        }
        let middle = around.len() / 2;
        let (_, median, _) = around.select_nth_unstable_by(middle, f64::total_cmp);
        let background = (*median / std::f64::consts::LN_2).max(1e-300);
        let line = Line {
            number,
            background: vec![background; power.len()],
            energy: vec![energy; power.len()],
            power,
            middle: reach,
            bin_hz,
            reference: 1.0,
            rest,
            window: Rc::clone(&window),
            taken: Vec::new(),
            step_s: shape.step_s,
            half_hz: shape.half_hz,
        };
        lines.push(line.scaled(reference));
    }
    lines
}

/// Squared amplitude of the sounding reed's spectrum near the `place`-th partial, which need not be whole.
fn reference_near(hearing: &Hearing, place: f64) -> f64 {
    let nearest = hearing.partials.bands.iter().map(|band| {
        let distance = (band.number as f64 - place).abs();
        (distance, band.amplitude.norm_sqr())
    });
    let mut close: Vec<(f64, f64)> = nearest.collect();
    close.sort_by(|a, b| a.0.total_cmp(&b.0));
    close.truncate(2);
    let mean = close.iter().map(|(_, power)| power.max(1e-30).ln()).sum::<f64>() / close.len().max(1) as f64;
    mean.exp()
}

impl Line {
    /// From units of the partial's own amplitude to those of the take.
    fn scaled(mut self, squared: f64) -> Self {
        for value in self.power.iter_mut().chain(&mut self.background) {
            *value *= squared;
        }
        self.reference = squared;
        self
    }
}

/// Energy over the window's own: the noise a matched line of this window lets in, per unit of its energy.
fn noise_share(window: &[f64]) -> f64 {
    let (sum, squares) = window.iter().fold((0.0, 0.0), |(a, b), w| (a + w, b + w * w));
    squares / sum
}

/// Constant and straight line, orthonormal under the window.
fn slow_course(n: usize) -> Vec<Vec<f64>> {
    let middle = 0.5 * (n as f64 - 1.0);
    vec![vec![1.0; n], (0..n).map(|i| (i as f64 - middle) / middle.max(1.0)).collect()]
}

/// Energy that a unit line keeps at each bin once the slow course is taken off: its window-weighted square.
fn line_energy(slow: &[Vec<f64>], window: &[f64], size: usize, fft: &dyn rustfft::Fft<f64>) -> Vec<f64> {
    let total: f64 = window.iter().sum();
    let mut energy = vec![total; size];
    for course in slow {
        let norm: f64 = course.iter().zip(window).map(|(c, w)| c * c * w).sum();
        let mut bins: Vec<Complex<f64>> = vec![Complex::zero(); size];
        for ((slot, c), w) in bins.iter_mut().zip(course).zip(window) {
            *slot = Complex::new(c * w, 0.0);
        }
        fft.process(&mut bins);
        for (left, bin) in energy.iter_mut().zip(&bins) {
            *left -= bin.norm_sqr() / norm;
        }
    }
    for left in &mut energy {
        if *left < LEAST_SHARE * total {
            *left = 0.0;
        }
    }
    energy
}

/// Take the slow course and the companions off a series, by least squares under the window; gives what was taken off,
/// orthonormal under the window.
fn take_off(
    series: &mut [Complex<f64>],
    slow: &[Vec<f64>],
    companions: &[Vec<f64>],
    window: &[f64],
) -> Vec<Vec<f64>> {
    // Gram-Schmidt on the courses, then one pass over the series: stable, and a course that adds nothing drops out.
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for course in slow.iter().chain(companions) {
        let mut left = course.clone();
        let before: f64 = left.iter().zip(window).map(|(c, w)| c * c * w).sum();
        for done in &basis {
            let dot: f64 = left.iter().zip(done).zip(window).map(|((a, b), w)| a * b * w).sum();
            left.iter_mut().zip(done).for_each(|(a, b)| *a -= dot * b);
        }
        let after: f64 = left.iter().zip(window).map(|(c, w)| c * c * w).sum();
        if after > 1e-12 * before && after > 0.0 {
            left.iter_mut().for_each(|a| *a /= after.sqrt());
            basis.push(left);
        }
    }
    for course in &basis {
        let dot: Complex<f64> = series
            .iter()
            .zip(course)
            .zip(window)
            .map(|((s, c), w)| s * (c * w))
            .fold(Complex::zero(), |a, b| a + b);
        series.iter_mut().zip(course).for_each(|(s, c)| *s -= dot * c);
    }
    basis
}

/// The level that the partials share, so that each can be held against all others.
struct SharedLevel {
    sum: Vec<f64>,
    weights: f64,
    /// Weight and level of each partial.
    own: Vec<(f64, Vec<f64>)>,
}

fn shared_level(
    hearing: &Hearing,
    series: &[Vec<Complex<f64>>],
    known: &[(usize, f64, Complex<f64>)],
) -> SharedLevel {
    let n = series.first().map_or(0, Vec::len);
    let mut sum = vec![0.0; n];
    let mut weights = 0.0;
    let mut own = Vec::with_capacity(series.len());
    for (band, values) in hearing.partials.bands.iter().zip(series) {
        // In power over noise, but no partial outweighs the rest by more than 20 dB over the weakest usable one.
        let weight = (band.amplitude.norm_sqr() / band.noise).sqrt();
        let mut level: Vec<f64> = values.iter().map(|value| value.re - 1.0).collect();
        if let Some((_, distance_hz, amplitude)) = known.iter().find(|(number, _, _)| *number == band.number)
        {
            let turn = std::f64::consts::TAU * distance_hz * hearing.partials.step_s;
            for (i, level) in level.iter_mut().enumerate() {
                *level -= (amplitude * Complex::from_polar(1.0, turn * i as f64)).re;
            }
        }
        for (sum, level) in sum.iter_mut().zip(&level) {
            *sum += weight * level;
        }
        weights += weight;
        own.push((weight, level));
    }
    SharedLevel { sum, weights, own }
}

impl SharedLevel {
    /// The level of all partials but one, smoothed to what bellows can do, with its course a little earlier and later.
    fn others(&self, index: usize) -> Vec<Vec<f64>> {
        let (weight, own) = &self.own[index];
        let rest = self.weights - weight;
        if rest <= 1e-9 * self.weights {
            return Vec::new();
        }
        let level: Vec<f64> =
            self.sum.iter().zip(own).map(|(sum, own)| (sum - weight * own) / rest).collect();
        let n = level.len();
        let slope: Vec<f64> =
            (0..n).map(|i| 0.5 * (level[(i + 1).min(n - 1)] - level[i.saturating_sub(1)])).collect();
        vec![level, slope]
    }
}

/// Background at each distance: twice the mean of the weaker side nearby, at least the weaker side right here.
fn background(
    power: &[f64],
    energy: &[f64],
    reach: usize,
    bin_hz: f64,
    length_s: f64,
    floor: f64,
) -> Vec<f64> {
    let weaker: Vec<f64> = (0..=reach).map(|d| power[reach + d].min(power[reach - d])).collect();
    let usable: Vec<bool> = (0..=reach).map(|d| energy[reach + d] > 0.0).collect();
    let mut sums = vec![(0.0, 0.0)];
    for (value, seen) in weaker.iter().zip(&usable) {
        let (sum, count) = sums[sums.len() - 1];
        sums.push(if *seen { (sum + value, count + 1.0) } else { (sum, count) });
    }
    let half: Vec<f64> = (0..=reach)
        .map(|d| {
            let wide = (BACKGROUND_CYCLES / length_s).max(BACKGROUND_SHARE * d as f64 * bin_hz);
            let width = (wide / bin_hz) as usize;
            let (low, high) = (d.saturating_sub(width), (d + width + 1).min(reach + 1));
            let count = sums[high].1 - sums[low].1;
            // The weaker of two equal backgrounds is half as strong as either, on average.
            let mean = if count > 0.0 { 2.0 * (sums[high].0 - sums[low].0) / count } else { f64::INFINITY };
            mean.max(2.0 * weaker[d]).max(floor).max(1e-300)
        })
        .collect();
    (0..=2 * reach).map(|i| half[i.abs_diff(reach)]).collect()
}
