//! Two reeds near unison that both sound fully, as in a tremolo rank: both pitches at once.
//!
//! With two tones of like strength there is no main tone to follow, so both are fitted together: on every partial two
//! lines at the same two pitches, under one common slope of the bellows.

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::partials::{PartialBand, Partials};
use super::plans;
use super::spectrum::hann;

/// Looked for this far around the coarse pitch, cents: the widest tremolo in use lies near 30.
const REACH_CENTS: f64 = 55.0;
/// Partials used, at the most: the strongest.
const MOST_PARTIALS: usize = 9;
const LEAST_PARTIALS: usize = 2;
/// Both ridges must come this near to the strongest line of their partials, in the middle of the partials, dB.
const RIDGE_DB: f64 = -13.0;
/// Beside the odd partials each ridge must reach this, dB: there an octave reed shows nothing.
const ODD_DB: f64 = -20.0;
/// And what lies between them must dip this much below the lower one, dB.
const DIP_DB: f64 = 5.0;
/// The weaker reed must reach this, re the stronger one, to sound fully, dB.
pub(super) const FULLY_DB: f64 = -9.0;
/// Closer than this no tremolo is tuned (the driest lie near 4 cents, common practice), and a pitch that steps looks alike.
const LEAST_CENTS: f64 = 2.5;
/// Distance of the two fundamentals times the time, cycles.
const LEAST_CYCLES: f64 = 1.2;
/// Two ends of one drifting pitch are no pair: each reed must sound in both halves, at least this strong re the other, dB.
const HALF_DB: f64 = -16.0;
/// Two tones beat, one whose pitch swings between two places does not: so much of the beat that the two lines call for must
/// be there in the partials' power. Pairs show 0.7 to 1.2 of it in a room, one reed that swings below 0.55.
const LEAST_BEAT: f64 = 0.65;
/// Share of a band's samples that are independent of one another: its equivalent noise width over its sampling rate.
const INDEPENDENT_SHARE: f64 = 0.5;
/// Floor of the stated uncertainty from what two beating tones do to each other, cents, 95 %.
const LEAST_UNCERTAINTY: f64 = 0.04;

/// Two reeds that sound together.
pub(super) struct Pair {
    /// Pitch of the lower one as the card reads it, mean over the stretch, Hz, with half its 95 % interval, cents.
    pub low: (f64, f64),
    /// The same of the higher one.
    pub high: (f64, f64),
    /// Power of the higher re the lower one.
    pub high_over_low: f64,
    /// Whether the reading is the higher one's.
    pub higher_is_played: bool,
    /// Log-likelihood ratio of two tones against the better one alone.
    pub evidence: f64,
    /// The stretch, s.
    pub start_s: f64,
    pub end_s: f64,
}

/// Look for a pair between two times.
pub(super) fn pair(partials: &Partials, from_s: f64, to_s: f64) -> Option<Pair> {
    let (from, to) = partials.indices(from_s, to_s, partials.len());
    let fit = Fit::new(partials, from, to)?;
    let (low, high) = fit.ridges()?;
    let whole = fit.refine(low, high, 0.0, 0..fit.n);
    if whole.high - whole.low < LEAST_CENTS {
        return None;
    }
    if whole.level_db().abs() > -FULLY_DB || (whole.high - whole.low) * fit.cycles_per_cent() < LEAST_CYCLES {
        return None;
    }
    if fit.beat(&whole) < LEAST_BEAT {
        return None;
    }
    let halves = [0..fit.n / 2, fit.n / 2..fit.n].map(|half| {
        // A half sees the slope as a shift: it starts from where the whole fit says the pitch is there.
        let shift = whole.slope * (0.5 * (half.start + half.end) as f64 - 0.5 * fit.n as f64) / fit.n as f64;
        fit.refine(whole.low + shift, whole.high + shift, whole.slope, half)
    });
    if halves.iter().any(|half| half.level_db().abs() > -HALF_DB) {
        return None;
    }
    let spread = |value: fn(&Tones) -> f64| {
        let rest: Vec<f64> =
            halves.iter().zip([-0.25, 0.25]).map(|(h, s)| value(h) - s * whole.slope).collect();
        // Half the 95 % interval from two halves that each should agree, and from the slope of the bellows.
        (1.96 * 0.5 * (rest[0] - rest[1])).hypot(1.96 * whole.slope / 12f64.sqrt()).hypot(LEAST_UNCERTAINTY)
    };
    let hz = |cents: f64| partials.centre_hz * (cents / 1200.0).exp2();
    Some(Pair {
        low: (hz(whole.low), spread(|tones| tones.low)),
        high: (hz(whole.high), spread(|tones| tones.high)),
        high_over_low: whole.high_over_low,
        higher_is_played: whole.high_over_low > 1.0,
        evidence: whole.evidence,
        start_s: partials.time(from),
        end_s: partials.time(to),
    })
}

/// The series to be fitted.
struct Fit<'a> {
    bands: Vec<&'a PartialBand>,
    from: usize,
    n: usize,
    step_s: f64,
    centre_hz: f64,
    half_hz: f64,
}

/// Two tones: cents re the coarse pitch in the middle of the stretch, slope in cents over the whole stretch.
#[derive(Clone, Copy)]
struct Tones {
    low: f64,
    high: f64,
    slope: f64,
    high_over_low: f64,
    evidence: f64,
}

/// What a pair of tones leaves.
#[derive(Clone, Copy)]
struct Rest {
    /// Summed logarithm of the share it leaves on each partial, times its samples.
    pair: f64,
    /// The same for the better one of the two tones alone.
    alone: f64,
    high_over_low: f64,
}

/// Two lines on one partial.
struct Lines {
    /// Amplitude of the lower and of the higher one.
    x: Complex<f64>,
    y: Complex<f64>,
    /// Share of the power that both leave, and that the better one alone leaves.
    left: f64,
    left_by_one: f64,
}

impl Tones {
    fn level_db(&self) -> f64 {
        10.0 * self.high_over_low.max(1e-12).log10()
    }
}

impl<'a> Fit<'a> {
    fn new(partials: &'a Partials, from: usize, to: usize) -> Option<Self> {
        let mut bands: Vec<&PartialBand> = partials.guides();
        let reach_hz = 0.5 * partials.shape.half_hz;
        // The whole reach must lie inside the band.
        bands.retain(|band| 0.5 * band.number as f64 * partials.centre_hz * REACH_CENTS / 1731.2 < reach_hz);
        let weight = |band: &PartialBand| band.power;
        bands.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
        bands.truncate(MOST_PARTIALS);
        bands.sort_by_key(|band| band.number);
        let n = to - from;
        (bands.len() >= LEAST_PARTIALS && n >= 32).then_some(Self {
            bands,
            from,
            n,
            step_s: partials.step_s,
            centre_hz: partials.centre_hz,
            half_hz: partials.shape.half_hz,
        })
    }

    fn length_s(&self) -> f64 {
        self.n as f64 * self.step_s
    }

    /// Cycles over the stretch that one cent makes at the fundamental.
    fn cycles_per_cent(&self) -> f64 {
        self.centre_hz * std::f64::consts::LN_2 / 1200.0 * self.length_s()
    }

    /// The two ridges that run through most partials at the same two pitches, cents, lower one first.
    fn ridges(&self) -> Option<(f64, f64)> {
        let window = hann(self.n);
        let size = (2 * self.n).next_power_of_two();
        let fft = plans::forward(size);
        let bin_hz = 1.0 / (size as f64 * self.step_s);
        let spectra: Vec<(usize, Vec<f64>, f64)> = self
            .bands
            .iter()
            .map(|band| {
                let mut bins: Vec<Complex<f64>> = vec![Complex::zero(); size];
                for ((slot, value), weight) in bins.iter_mut().zip(&band.series[self.from..]).zip(&window) {
                    *slot = value * weight;
                }
                fft.process(&mut bins);
                let power: Vec<f64> = bins.iter().map(Complex::norm_sqr).collect();
                let reach = ((band.number as f64 * self.centre_hz * REACH_CENTS / 1731.2 / bin_hz) as usize)
                    .min(size / 2 - 1);
                let top =
                    (0..=reach).flat_map(|i| [power[i], power[(size - i) % size]]).fold(1e-300, f64::max);
                (band.number, power, top)
            })
            .collect();
        let highest = self.bands.last().map_or(1, |band| band.number) as f64;
        let step = (0.5 / self.cycles_per_cent() / highest).max(0.05);
        let count = (2.0 * REACH_CENTS / step) as usize;
        let mut levels = Vec::with_capacity(spectra.len());
        let ridge: Vec<f64> = (0..=count)
            .map(|i| {
                let cents = -REACH_CENTS + i as f64 * step;
                levels.clear();
                for (number, power, top) in &spectra {
                    let hz = *number as f64 * self.centre_hz * ((cents / 1200.0).exp2() - 1.0);
                    if hz.abs() < 0.6 * self.half_hz {
                        let bin = (hz / bin_hz).round() as isize;
                        levels.push(power[bin.rem_euclid(size as isize) as usize] / top);
                    }
                }
                if levels.is_empty() {
                    return -120.0;
                }
                let middle = levels.len() / 2;
                let (_, median, _) = levels.select_nth_unstable_by(middle, f64::total_cmp);
                10.0 * median.max(1e-12).log10()
            })
            .collect();
        let first = (0..=count).max_by(|a, b| ridge[*a].total_cmp(&ridge[*b]))?;
        let second = (0..=count)
            .filter(|&i| {
                let (a, b) = (i.min(first), i.max(first));
                let dip = ridge[a..=b].iter().copied().fold(f64::MAX, f64::min);
                ridge[i] > RIDGE_DB && dip < ridge[i] - DIP_DB
            })
            .max_by(|a, b| ridge[*a].total_cmp(&ridge[*b]))?;
        let cents = |i: usize| -REACH_CENTS + i as f64 * step;
        // Two ridges beside the even partials alone are an octave reed, which is no pair.
        let beside_odd = |i: usize| {
            let levels = spectra.iter().filter(|(number, ..)| !number.is_multiple_of(2)).map(
                |(number, power, top)| {
                    let hz = *number as f64 * self.centre_hz * ((cents(i) / 1200.0).exp2() - 1.0);
                    power[((hz / bin_hz).round() as isize).rem_euclid(size as isize) as usize] / top
                },
            );
            let mut levels: Vec<f64> = levels.collect();
            levels.sort_by(f64::total_cmp);
            levels.get(levels.len() / 2).is_none_or(|middle| 10.0 * middle.max(1e-12).log10() > ODD_DB)
        };
        if !(beside_odd(first) && beside_odd(second)) {
            return None;
        }
        Some((cents(first.min(second)), cents(first.max(second))))
    }

    /// Climb to the pitches and the slope that leave the least on all partials together.
    fn refine(&self, low: f64, high: f64, slope: f64, range: std::ops::Range<usize>) -> Tones {
        let mut at = [low, high, slope];
        let free = if range.len() == self.n { 3 } else { 2 };
        let mut best = self.rest(at, &range);
        let highest = self.bands.last().map_or(1, |band| band.number) as f64;
        let mut step = 0.2 * self.n as f64 / range.len() as f64 / self.cycles_per_cent() / highest.sqrt();
        while step > 2e-4 {
            let mut moved = false;
            for axis in 0..free {
                for direction in [-1.0, 1.0] {
                    let mut tried = at;
                    tried[axis] += direction * step * if axis == 2 { 2.0 } else { 1.0 };
                    let rest = self.rest(tried, &range);
                    if rest.pair < best.pair {
                        (best, at, moved) = (rest, tried, true);
                    }
                }
            }
            if !moved {
                step *= 0.45;
            }
        }
        Tones {
            low: at[0],
            high: at[1],
            slope: at[2],
            high_over_low: best.high_over_low,
            evidence: INDEPENDENT_SHARE * (best.alone - best.pair),
        }
    }

    /// How much of the beat that two such lines make is found in the power of the partials, 1 for all of it.
    fn beat(&self, tones: &Tones) -> f64 {
        let per_cent = self.centre_hz * std::f64::consts::LN_2 / 1200.0 * std::f64::consts::TAU * self.step_s;
        let (mut found, mut called_for) = (0.0, 1e-300);
        for band in &self.bands {
            let number = band.number as f64;
            let series = &band.series[self.from..self.from + self.n];
            let Some((x, y)) =
                self.lines([tones.low, tones.high, tones.slope], &(0..self.n), band).map(|l| (l.x, l.y))
            else {
                continue;
            };
            let expected = x * y.conj();
            let mean = series.iter().map(Complex::norm_sqr).sum::<f64>() / self.n as f64;
            let turn = number * per_cent * (tones.low - tones.high);
            let middle = 0.5 * self.n as f64;
            let projected = series.iter().enumerate().fold(Complex::<f64>::zero(), |sum, (i, value)| {
                sum + Complex::from_polar(value.norm_sqr() - mean, -turn * (i as f64 - middle))
            });
            found += (projected / self.n as f64 * expected.conj()).re;
            called_for += expected.norm_sqr();
        }
        found / called_for
    }

    /// What two lines leave on each partial.
    fn rest(&self, [low, high, slope]: [f64; 3], range: &std::ops::Range<usize>) -> Rest {
        let (mut pair, mut alone, mut low_power, mut high_power) = (0.0, 0.0, 0.0, 0.0);
        let n = range.len() as f64;
        for band in &self.bands {
            let Some(lines) = self.lines([low, high, slope], range, band) else { continue };
            pair += n * lines.left.max(1e-9).ln();
            alone += n * lines.left_by_one.max(1e-9).ln();
            low_power += lines.x.norm_sqr();
            high_power += lines.y.norm_sqr();
        }
        Rest { pair, alone, high_over_low: high_power / f64::max(low_power, 1e-300) }
    }

    /// The two lines on one partial; `None` where they cannot be told apart.
    fn lines(
        &self,
        [low, high, slope]: [f64; 3],
        range: &std::ops::Range<usize>,
        band: &PartialBand,
    ) -> Option<Lines> {
        let per_cent = self.centre_hz * std::f64::consts::LN_2 / 1200.0 * std::f64::consts::TAU * self.step_s;
        let number = band.number as f64;
        let (a_rate, b_rate) = (number * per_cent * low, number * per_cent * high);
        let bend = number * per_cent * slope / self.n as f64;
        let start = range.start as f64 - 0.5 * self.n as f64;
        // Phasors by recurrence: the turning rate itself turns by the slope.
        let phase = |rate: f64| Complex::from_polar(1.0, rate * start + 0.5 * bend * start * start);
        let turn = |rate: f64| Complex::from_polar(1.0, rate + bend * (start + 0.5));
        let faster = Complex::from_polar(1.0, bend);
        let (mut a, mut b) = (phase(a_rate), phase(b_rate));
        let (mut a_turn, mut b_turn) = (turn(a_rate), turn(b_rate));
        let (mut total, mut da, mut db, mut ab) =
            (0.0, Complex::<f64>::zero(), Complex::<f64>::zero(), Complex::<f64>::zero());
        for value in &band.series[self.from + range.start..self.from + range.end] {
            total += value.norm_sqr();
            da += a.conj() * value;
            db += b.conj() * value;
            ab += a.conj() * b;
            a *= a_turn;
            b *= b_turn;
            a_turn *= faster;
            b_turn *= faster;
        }
        let n = range.len() as f64;
        let determinant = n * n - ab.norm_sqr();
        if determinant < 1e-3 * n * n {
            return None;
        }
        let x = (da * n - ab * db) / determinant;
        let y = (db * n - ab.conj() * da) / determinant;
        let explained = (x.conj() * da + y.conj() * db).re;
        let by_one = da.norm_sqr().max(db.norm_sqr()) / n;
        Some(Lines { x, y, left: (total - explained) / total, left_by_one: (total - by_one) / total })
    }
}
