//! What lies beside each partial once the tone itself is taken off: the place where a second tone shows.
//!
//! Each partial is turned back by the shared wander, its own slow course and what it shares with the other partials'
//! level is taken off by least squares, and the rest is transformed. Bellows tremor leaves a pair of equal lines on
//! both sides; a second reed leaves one line on one side. So the background at a distance is taken from the weaker side.

use std::ops::Range;
use std::rc::Rc;

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::bands::{smooth_length, taper};
use super::hearing::Hearing;
use super::partials::{PartialBand, sample_phase};
use super::plans;
use super::shared_level::shared_level;
use super::smoother;
use super::spectrum::hann;
use super::turning::Turning;

/// Zero padding of the transforms, so that a line between two bins loses under 0.1 dB.
pub(super) const PADDING: usize = 4;
/// A line closer than this to the partial, in cycles over the stretch, is not looked at.
const LEAST_CYCLES: f64 = 0.45;
/// What is left of a line after the slow course is taken off must be this share of its energy.
const LEAST_SHARE: f64 = 0.04;
/// A line is measured when this share of its energy is left.
const MEASURABLE_SHARE: f64 = 0.25;
/// A room answers a moving pitch late: the tone's own echo lies beside it. How late, s; and from which swing of the phase
/// on that course is taken off too, rad: less is as well a second reed's doing.
const ECHOES_S: [f64; 2] = [0.04, 0.16];
const LEAST_SWING: f64 = 0.1;
/// A partial with more than this share of the shared phase is turned back by the phase of all others; one with more than the
/// second has no others to speak of.
const LEAST_PULL: f64 = 0.1;
const MOST_PULL: f64 = 0.999;
/// The background is averaged over this many cycles to either side at least, and over this share of the distance.
const BACKGROUND_CYCLES: f64 = 2.5;
const BACKGROUND_SHARE: f64 = 0.25;
/// The background is never taken lower than this share of the noise density beside the partial.
const LEAST_BACKGROUND: f64 = 0.6;

/// Neighbourhood of one line of a possible second series.
pub(super) struct Line {
    /// Its number in the second series.
    pub number: usize,
    /// Power of the rest at each bin of distance, in units in which a line of amplitude B adds B² times `energy`.
    pub(super) power: Vec<f64>,
    /// Background in the same units.
    pub(super) background: Vec<f64>,
    /// Energy a line of amplitude 1 leaves at each bin.
    pub(super) energy: Vec<f64>,
    /// Index of distance zero.
    pub(super) middle: usize,
    /// Width of a bin, Hz.
    pub(super) bin_hz: f64,
    /// Squared amplitude of the sounding reed hereabouts.
    pub reference: f64,
    /// The rest itself, re the partial's amplitude, the window it was seen through, and what was taken off it.
    pub(super) rest: Vec<Complex<f64>>,
    pub(super) window: Rc<Vec<f64>>,
    pub(super) taken: Vec<Vec<f64>>,
    pub(super) step_s: f64,
    /// Half width of the band the line was cut with, Hz.
    pub(super) half_hz: f64,
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
    let mut series: Vec<Vec<Complex<f64>>> = partials
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
    let pulls = pulls(hearing);
    let level = shared_level(hearing, &series, known);
    for ((band, series), pull) in partials.bands.iter().zip(&mut series).zip(&pulls) {
        if *pull > LEAST_PULL && *pull < MOST_PULL {
            turn_by_the_others(hearing, band.number, *pull, series);
        }
    }
    let size = smooth_length(n * PADDING);
    let fft = plans::forward(size);
    let mut slow = orthonormal(&[], &slow_course(n), &window);
    let echoes = echo_courses(&stretch.turn, partials.step_s);
    let echoes = orthonormal(&slow, &echoes, &window);
    slow.extend(echoes);
    let energy_by_bin = line_energy(&slow, &window, size, &*fft);
    let bin_hz = 1.0 / (size as f64 * partials.step_s);
    let reach = ((0.46 * partials.centre_hz).min(0.5 * partials.shape.half_hz) / bin_hz) as usize;
    let reach = reach.min(size / 2 - 1);
    let response: Vec<f64> =
        (0..=reach).map(|distance| partials.shape.response(distance as f64 * bin_hz).max(1e-6)).collect();
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
                let seen = distance.unsigned_abs() >= least && share > 0.0;
                energy.push(if seen { share } else { 0.0 });
                let norm = if seen { share } else { f64::INFINITY };
                let passed = response[distance.unsigned_abs()].powi(2);
                power.push(at(distance).norm_sqr() / norm / passed);
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

/// Each partial's share of the shared phase.
fn pulls(hearing: &Hearing) -> Vec<f64> {
    let has_say = |band: &PartialBand| !(hearing.odd_alone && band.number.is_multiple_of(2));
    let weight = |band: &PartialBand| (band.number as f64).powi(2) * band.amplitude.norm_sqr() / band.noise;
    let bands = &hearing.partials.bands;
    let weights: f64 = bands.iter().filter(|band| has_say(band)).map(weight).sum();
    bands.iter().map(|band| if has_say(band) { weight(band) / weights.max(1e-300) } else { 0.0 }).collect()
}

/// Turn a series, turned back by the shared phase already, by what the phase of all other partials differs from that: a beat
/// of its own is no wander.
fn turn_by_the_others(hearing: &Hearing, number: usize, pull: f64, series: &mut [Complex<f64>]) {
    let wander = &hearing.wander;
    let (from, to) = hearing.frames;
    let own = series
        .chunks_exact(wander.frame)
        .map(|frame| frame.iter().map(|value| value.im).sum::<f64>() / (wander.frame as f64 * number as f64));
    let track = &hearing.track.phase;
    let seen: Vec<f64> = wander.phase[from..to]
        .iter()
        .zip(track)
        .zip(own)
        .map(|((seen, track), own)| track + (seen - track - pull * own) / (1.0 - pull))
        .collect();
    let variance: Vec<f64> = wander.variance[from..to].iter().map(|v| v / (1.0 - pull)).collect();
    let others = smoother::smooth(&seen, &variance, wander.frame_s).phase;
    let moved: Vec<f64> = others.iter().zip(track).map(|(others, track)| others - track).collect();
    let turn = sample_phase(&moved, wander.frame, series.len());
    for (value, turn) in series.iter_mut().zip(turn) {
        *value *= Complex::from_polar(1.0, -turn * number as f64);
    }
}

impl Line {
    /// From units of the partial's own amplitude to those of the take.
    pub(super) fn scaled(mut self, squared: f64) -> Self {
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

/// How far the phase has moved since each echo left: what a room adds to every partial goes with it.
fn echo_courses(turn: &[f64], step_s: f64) -> Vec<Vec<f64>> {
    let course = |late_s: f64| -> Vec<f64> {
        let late = (late_s / step_s).round() as usize;
        turn.iter().enumerate().map(|(i, now)| now - turn[i.saturating_sub(late)]).collect()
    };
    let swing = |course: &Vec<f64>| {
        let n = course.len().max(1) as f64;
        let mean = course.iter().sum::<f64>() / n;
        (course.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / n).sqrt()
    };
    ECHOES_S.into_iter().map(course).filter(|course| swing(course) > LEAST_SWING).collect()
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

/// Take courses off a series by least squares under the window; `slow` are orthonormal already. Gives what was taken off,
/// orthonormal under the window.
fn take_off(
    series: &mut [Complex<f64>],
    slow: &[Vec<f64>],
    companions: &[Vec<f64>],
    window: &[f64],
) -> Vec<Vec<f64>> {
    let mut basis = slow.to_vec();
    basis.extend(orthonormal(slow, companions, window));
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

/// Courses made orthonormal under the window and to those of `done` (Gram-Schmidt); one that adds nothing drops out.
fn orthonormal(done: &[Vec<f64>], courses: &[Vec<f64>], window: &[f64]) -> Vec<Vec<f64>> {
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for course in courses {
        let mut left = course.clone();
        let before: f64 = left.iter().zip(window).map(|(c, w)| c * c * w).sum();
        for earlier in done.iter().chain(&basis) {
            let dot: f64 = left.iter().zip(earlier).zip(window).map(|((a, b), w)| a * b * w).sum();
            left.iter_mut().zip(earlier).for_each(|(a, b)| *a -= dot * b);
        }
        let after: f64 = left.iter().zip(window).map(|(c, w)| c * c * w).sum();
        if after > 1e-12 * before && after > 0.0 {
            left.iter_mut().for_each(|a| *a /= after.sqrt());
            basis.push(left);
        }
    }
    basis
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
