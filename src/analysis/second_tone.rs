//! The opposite reed in the steady tone: a second series at one distance in cents, judged by all partials together.

use std::rc::Rc;

use rustfft::num_complex::Complex;

use super::sidebands::{Line, Look};

/// The opposite reed's partials scatter about the sounding reed's by this much, dB: three points stand for it.
const SCATTER_DB: f64 = 7.0;
/// Strengths tried re the sounding reed, in half steps of the scatter, so that neighbours share their points.
const STRENGTHS: std::ops::RangeInclusive<i32> = -26..=3;
/// How a softly driven tongue's spectrum may fall against the played reed's, dB an octave: from alike to nearly all fundamental.
const SLOPES_DB: [f64; 5] = [0.0, -6.0, -12.0, -18.0, -24.0];
/// Logarithm of the odds against each of these slopes, and against an end at each of some forty partials, before anything is
/// heard: one of five, and one half for all ends together.
const SLOPE_ODDS: f64 = 1.6;
const END_ODDS: f64 = 4.4;
/// Share of lines that carry something that is no second reed.
const STRAY_SHARE: f64 = 0.03;
/// Mains frequencies and how far they and their harmonics may stray, Hz per harmonic; harmonics looked out for.
pub(super) const MAINS_HZ: [f64; 2] = [50.0, 60.0];
const MAINS_STRAY_HZ: f64 = 0.12;
const MAINS_HARMONICS: f64 = 12.0;
/// One-sided 95 % point of the normal distribution: for the limit.
const ONE_SIDED_95: f64 = 1.645;
/// A line is measured at its own top when it stands so far over the background, power ratio.
const STANDS_OUT: f64 = 8.0;
/// The top of a line is looked for from points so far to either side of its place, cycles over the stretch.
const TOP_CYCLES: f64 = 0.3;
/// Candidates looked at closely.
const CANDIDATES: usize = 16;
/// The best of them, from which the top is climbed.
const CLIMBS: usize = 3;
/// Half width of the offset's interval in standard errors: 1.96 for lines that err alone; a room moves neighbouring lines
/// together, and the sweep over natural takes asks for this.
const OFFSET_95: f64 = 3.3;
/// A room and its own slow course pull each line by this much, cycles over the stretch.
const OWN_CYCLES: f64 = 0.03;
/// Rounds of moving to where the lines lie.
const PLACING_ROUNDS: usize = 6;
/// One line adds no more than this to the first look: no single line makes a candidate.
const FIRST_LOOK_CAP: f64 = 12.0;
/// Strength for which the first look is weighted, power ratio (-40 dB).
const FIRST_LOOK_STRENGTH: f64 = 1e-4;
/// Lines asked where nothing is expected.
const GLANCE_PARTIALS: usize = 16;
/// Evidence from which a candidate's top is climbed.
const WORTH_A_CLIMB: f64 = 2.0;
/// The first look asks the lines up to these numbers, then all: a dark series has no more.
const FIRST_LOOK_ENDS: [usize; 3] = [4, 8, 16];

/// A second series that was looked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    /// Distance from the sounding reed, cents.
    pub cents: f64,
    /// Half the 95 % interval of that from the noise, cents.
    pub cents_uncertainty: f64,
    /// Log-likelihood ratio against no second series.
    pub evidence: f64,
    /// Power of the series re the sounding reed's.
    pub power_ratio: f64,
    /// Its spectrum as fitted.
    pub spectrum: Spectrum,
}

/// The spectrum of a second series against the sounding reed's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spectrum {
    /// Power ratio at the first partial.
    strength: f64,
    /// Fall, dB an octave.
    slope_db: f64,
    /// The last partial.
    last: usize,
}

impl Spectrum {
    const NOTHING: Self = Self { strength: 0.0, slope_db: 0.0, last: 0 };

    /// Power ratio at a partial.
    fn at(&self, number: usize) -> f64 {
        if number > self.last {
            return 0.0;
        }
        self.strength * 10f64.powf(0.1 * self.slope_db * (number as f64).log2())
    }
}

/// What was seen on the way from one distance to another.
struct Scan {
    step: f64,
    /// First look at each place.
    score: Vec<f64>,
    /// The power a series there stays below, over the sounding reed's, 95 %.
    limit: f64,
}

/// Lines and the rule that ties a distance in cents to a distance in Hz on each.
pub(super) struct Search {
    /// The lines.
    pub lines: Rc<Vec<Line>>,
    /// Which of them belong to the series.
    pub belongs: fn(usize) -> bool,
    /// Pitch of the series at `origin_cents`, Hz.
    pub origin_hz: f64,
    /// Distance of that from the sounding reed, cents.
    pub origin_cents: f64,
    /// Length of the stretch, s.
    pub length_s: f64,
    /// Power of the sounding reed.
    pub sounding_power: f64,
}

impl Search {
    /// How far the fundamental of a series at `cents` lies from the origin, Hz; its `k`-th line lies `k` times as far.
    fn distance_hz(&self, cents: f64) -> f64 {
        self.origin_hz * (((cents - self.origin_cents) / 1200.0).exp2() - 1.0)
    }

    fn looks(&self, cents: f64) -> impl Iterator<Item = (&Line, Look)> {
        let apart = self.distance_hz(cents);
        self.lines.iter().filter(|line| (self.belongs)(line.number)).filter_map(move |line| {
            let distance = line.number as f64 * apart;
            if self.is_mains(line.number as f64 * self.origin_hz + distance) {
                return None;
            }
            Some((line, line.look(distance)?))
        })
    }

    /// Whether a frequency may be mains hum, which no reed can be told from.
    fn is_mains(&self, hz: f64) -> bool {
        // Beyond the harmonics looked out for there is nothing to ask.
        hz < (MAINS_HARMONICS + 0.5) * MAINS_HZ[1]
            && MAINS_HZ.iter().any(|mains| {
                let harmonic = (hz / mains).round();
                harmonic <= MAINS_HARMONICS
                    && (hz - harmonic * mains).abs() < MAINS_STRAY_HZ * harmonic + 1.5 / self.length_s
            })
    }

    /// Step in cents that moves the highest line by a third of a cycle over the stretch.
    pub fn step_cents(&self) -> f64 {
        self.step_with(usize::MAX)
    }

    fn step_with(&self, most: usize) -> f64 {
        let highest = self.lines.iter().map(|line| line.number).max().unwrap_or(1).min(most) as f64;
        (0.33 / self.length_s / highest / self.origin_hz * 1200.0 / std::f64::consts::LN_2).max(1e-4)
    }

    /// Look at every place between two distances, in cents, with the lines up to number `most`.
    fn scan(&self, low: f64, high: f64, most: usize) -> Scan {
        let step = self.step_with(most);
        let steps = (((high - low) / step).ceil() as usize).clamp(1, 60_000);
        let step = (high - low) / steps as f64;
        let mut limit: f64 = 0.0;
        let score = (0..=steps)
            .map(|i| {
                let apart = self.distance_hz(low + i as f64 * step);
                let mut sum = 0.0;
                let mut count = 0.0;
                let mut score = f64::NEG_INFINITY;
                let mut ends = FIRST_LOOK_ENDS.iter();
                let mut end = ends.next();
                let (mut power, mut variance) = (0.0, 0.0);
                let lines = self.lines.iter().take_while(|line| line.number <= most);
                for line in lines.filter(|line| (self.belongs)(line.number)) {
                    while let Some(at) = end
                        && line.number > *at
                    {
                        score = score.max(sum / f64::max(count, 1.0).sqrt());
                        end = ends.next();
                    }
                    let distance = line.number as f64 * apart;
                    let Some(look) = line.look(distance) else { continue };
                    // What a strong line of its own leaves of itself once it has pulled the shared phase.
                    let noise = line.reference / (look.yield_at_unity * (1.0 - 0.5 * line.pull).powi(2));
                    power += noise * look.excess;
                    variance += noise * noise * (2.0 * look.excess + 1.0);
                    if !self.is_mains(line.number as f64 * self.origin_hz + distance) {
                        let strength = FIRST_LOOK_STRENGTH * look.yield_at_unity;
                        sum += (look.excess.min(FIRST_LOOK_CAP) - 1.0) * strength / (1.0 + strength);
                        count += 1.0;
                    }
                }
                limit = limit.max(power + ONE_SIDED_95 * variance.sqrt());
                score.max(sum / f64::max(count, 1.0).sqrt())
            })
            .collect();
        Scan { step, score, limit: limit / self.sounding_power.max(1e-300) }
    }

    /// The power ratio that a series between two distances stays below, 95 %, whatever its spectrum.
    ///
    /// Every line is at most what is seen at its place, noise included.
    pub fn limit(&self, low: f64, high: f64) -> f64 {
        self.scan(low, high, usize::MAX).limit
    }

    /// The best second series between two distances, in cents.
    pub fn best(&self, low: f64, high: f64) -> Option<Found> {
        self.best_with(low, high, usize::MAX)
    }

    /// The same where nothing is expected: a first look at the lower lines alone costs a tenth.
    pub fn best_at_a_glance(&self, low: f64, high: f64) -> Option<Found> {
        self.best_with(low, high, GLANCE_PARTIALS)
    }

    fn best_with(&self, low: f64, high: f64, most: usize) -> Option<Found> {
        let Scan { step, score, .. } = self.scan(low, high, most);
        let last = score.len() - 1;
        let mut peaks: Vec<usize> = (0..=last)
            .filter(|&i| (i == 0 || score[i] >= score[i - 1]) && (i == last || score[i] > score[i + 1]))
            .collect();
        peaks.sort_by(|a, b| score[*b].total_cmp(&score[*a]));
        peaks.truncate(CANDIDATES);
        let mut starts: Vec<(f64, f64, Spectrum)> = peaks
            .into_iter()
            .map(|peak| {
                let cents = low + peak as f64 * step;
                let (evidence, spectrum) = self.evidence(cents, 1);
                (cents, evidence, spectrum)
            })
            .collect();
        starts.sort_by(|a, b| b.1.total_cmp(&a.1));
        starts.truncate(CLIMBS);
        // A climb adds to what is there already; from next to nothing it leads nowhere.
        starts.retain(|start| start.1 > WORTH_A_CLIMB);
        let (cents, evidence, spectrum) = starts
            .into_iter()
            .map(|start| self.climb(start, 0.5 * step, low, high))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let (cents, cents_uncertainty) = self.place(cents, spectrum);
        let cents = cents.clamp(low, high);
        let power_ratio = self.level(cents, spectrum);
        Some(Found { cents, cents_uncertainty, evidence, power_ratio, spectrum })
    }

    /// Climb to the top with ever smaller steps: distance, evidence, spectrum.
    fn climb(&self, start: (f64, f64, Spectrum), step: f64, low: f64, high: f64) -> (f64, f64, Spectrum) {
        let (mut cents, mut evidence, mut spectrum) = start;
        let mut nudge = step;
        while nudge > 0.005 * step {
            let tried = [cents - nudge, cents + nudge]
                .map(|cents| cents.clamp(low, high))
                .map(|cents| (cents, self.evidence(cents, 1)));
            match tried.into_iter().filter(|(_, (e, _))| *e > evidence).max_by(|a, b| a.1.0.total_cmp(&b.1.0))
            {
                Some((c, (e, s))) => (cents, evidence, spectrum) = (c, e, s),
                None => nudge *= 0.4,
            }
        }
        (cents, evidence, spectrum)
    }

    /// Where the lines themselves lie, near `cents`, and half the 95 % interval of that.
    ///
    /// The likelihood asks how strong a line is; for strong lines its top is flat, and their own tops tell the place.
    fn place(&self, mut cents: f64, spectrum: Spectrum) -> (f64, f64) {
        let mut error = 1.96 * self.step_cents() * 5.0;
        for _ in 0..PLACING_ROUNDS {
            let tops = self.tops(cents, spectrum);
            let Some((mean, spread)) = weighted_mean(&tops) else { break };
            cents += mean;
            error = OFFSET_95 * spread + mean.abs();
            if mean.abs() < 0.02 * spread {
                break;
            }
        }
        (cents, error.hypot(self.own_wander(cents, spectrum)))
    }

    /// How far the second tone wanders by itself, cents: the change of its distance from the first two thirds of the stretch
    /// to the last two, from the phases of its lines.
    fn own_wander(&self, cents: f64, spectrum: Spectrum) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (line, look) in self.looks(cents) {
            if spectrum.at(line.number) * look.yield_at_unity < STANDS_OUT || look.excess < STANDS_OUT {
                continue;
            }
            let number = line.number as f64;
            let turn = std::f64::consts::TAU * number * self.distance_hz(cents) * line.step_s;
            let third = line.rest.len() / 3;
            if third < 4 {
                continue;
            }
            let parts = [0, third, 2 * third].map(|from| {
                let part = line.rest[from..from + third].iter().enumerate();
                part.fold(Complex::new(0.0, 0.0), |sum, (i, value)| {
                    let weight = (std::f64::consts::PI * (i as f64 + 0.5) / third as f64).sin();
                    sum + value * Complex::from_polar(weight, -turn * (from + i) as f64)
                })
            });
            let bend = (parts[2] * parts[1].conj() * (parts[1] * parts[0].conj()).conj()).arg();
            let hz = bend / (std::f64::consts::TAU * third as f64 * line.step_s) / number;
            let weight = number * number * look.excess;
            sum += weight * hz;
            weights += weight;
        }
        if weights > 0.0 {
            1200.0 / std::f64::consts::LN_2 * (sum / weights).abs() / self.origin_hz
        } else {
            0.0
        }
    }

    /// How far each line's top lies from `cents`, with the variance of that, cents.
    fn tops(&self, cents: f64, spectrum: Spectrum) -> Vec<(f64, f64)> {
        let top = |(line, look): (&Line, Look)| {
            if spectrum.at(line.number) * look.yield_at_unity < 4.0 || look.excess < STANDS_OUT {
                return None;
            }
            let per_hz = 1200.0 / std::f64::consts::LN_2 / (line.number as f64 * self.origin_hz);
            // A parabola through the levels half a cycle to either side places this line.
            let width = 0.5 / self.length_s * per_hz;
            let level =
                |c: f64| Some(line.look(line.number as f64 * self.distance_hz(c))?.excess.max(1e-9).ln());
            let (left, right) = (level(cents - width)?, level(cents + width)?);
            let curvature = left - 2.0 * look.excess.ln() + right;
            if curvature >= 0.0 {
                return None;
            }
            let place = (0.5 * (left - right) / curvature).clamp(-2.0, 2.0) * width;
            // Standard error of one line's frequency under a Hann window: about 0.9 / (pi T sqrt(2 snr)) Hz.
            let noise = 0.4 / self.length_s / (2.0 * look.excess).sqrt() * per_hz;
            Some((place, noise.powi(2) + (OWN_CYCLES / self.length_s * per_hz).powi(2)))
        };
        self.looks(cents).filter_map(top).collect()
    }

    /// Log-likelihood ratio of a series at `cents`, on every `stride`-th partial only, and the spectrum that gives it.
    ///
    /// The series may be darker than the sounding reed and may end anywhere: lines that it does not have say nothing of it.
    pub fn evidence(&self, cents: f64, stride: usize) -> (f64, Spectrum) {
        let (first, last) = STRENGTHS.into_inner();
        // Two more at either end for the scatter.
        let strengths: Vec<f64> =
            (first - 2..=last + 2).map(|i| 10f64.powf(0.05 * SCATTER_DB * f64::from(i))).collect();
        let count = strengths.len() - 4;
        let mut gains = vec![0.0; count];
        let mut likelihoods = vec![0.0; strengths.len()];
        let mut sums = vec![0.0; SLOPES_DB.len() * count];
        let mut best = (0.0, Spectrum::NOTHING);
        let lines: Vec<_> = self.looks(cents).filter(|(line, _)| line.number % stride == 0).collect();
        for (line_idx, (line, look)) in lines.iter().enumerate() {
            for (likelihood, strength) in likelihoods.iter_mut().zip(&strengths) {
                *likelihood = likelihood_at(*look, *strength);
            }
            let (stray, without) = without_second(*look);
            for (gain, points) in gains.iter_mut().zip(likelihoods.windows(5)) {
                if let [weak, _, middle, _, strong] = points {
                    *gain = (with_second(*weak, *middle, *strong, stray) / without).ln();
                }
            }
            let ended = if line_idx + 1 == lines.len() { 0.0 } else { END_ODDS };
            for (slope_db, sums) in SLOPES_DB.iter().zip(sums.chunks_exact_mut(count)) {
                let steps = -slope_db * (line.number as f64).log2() / (0.5 * SCATTER_DB);
                let steps = steps.round() as usize;
                // Lines weaker than the weakest strength tried say nothing.
                for (sum, gain) in sums.iter_mut().skip(steps).zip(&gains) {
                    *sum += gain;
                }
                let odds = ended + if *slope_db == 0.0 { 0.0 } else { SLOPE_ODDS };
                for (sum, strength) in sums.iter().zip(&strengths[2..]) {
                    if sum - odds > best.0 {
                        let spectrum =
                            Spectrum { strength: *strength, slope_db: *slope_db, last: line.number };
                        best = (sum - odds, spectrum);
                    }
                }
            }
        }
        if lines.last().is_some_and(|(line, _)| line.number == best.1.last) {
            best.1.last = usize::MAX;
        }
        best
    }

    /// Complex amplitude of each line of the series at `cents`, re its partial, with its distance in Hz.
    pub fn amplitudes(&self, cents: f64) -> Vec<(usize, f64, Complex<f64>)> {
        self.lines
            .iter()
            .filter_map(|line| {
                let distance = line.number as f64 * self.distance_hz(cents);
                Some((line.number, distance, line.amplitude(distance)?))
            })
            .collect()
    }

    /// Power of the series at `cents` over the sounding reed's.
    fn level(&self, cents: f64, spectrum: Spectrum) -> f64 {
        self.line_powers(cents, spectrum).iter().map(|(_, power)| power).sum::<f64>()
            / self.sounding_power.max(1e-300)
    }

    /// The series' lines with their powers. A line that does not stand out has no more than the fitted spectrum gives it.
    pub fn line_powers(&self, cents: f64, spectrum: Spectrum) -> Vec<(usize, f64)> {
        let apart = self.distance_hz(cents);
        let lines = self.lines.iter().filter(|line| (self.belongs)(line.number));
        lines
            .filter(|line| line.number <= spectrum.last)
            .map(|line| {
                let distance = line.number as f64 * apart;
                let fitted = spectrum.at(line.number) * line.reference;
                let hum = self.is_mains(line.number as f64 * self.origin_hz + distance);
                let seen = line.look(distance).filter(|_| !hum).and_then(|look| {
                    let noise = 1.0 / look.yield_at_unity;
                    let top = self.peak_power(line, distance)?;
                    let power = (top - noise).max(0.0) * line.reference;
                    Some(if look.excess > STANDS_OUT { power } else { power.min(fitted) })
                });
                (line.number, seen.unwrap_or(fitted))
            })
            .collect()
    }

    /// Power of a line re its partial, at its top near `distance_hz`: a tongue that wanders by itself moves its high lines.
    fn peak_power(&self, line: &Line, distance_hz: f64) -> Option<f64> {
        let power = |distance: f64| Some(line.amplitude(distance)?.norm_sqr() / line.passed(distance));
        let step = TOP_CYCLES / self.length_s;
        let here = power(distance_hz)?;
        let (Some(left), Some(right)) = (power(distance_hz - step), power(distance_hz + step)) else {
            return Some(here);
        };
        let (l, h, r) = (left.max(1e-30).ln(), here.max(1e-30).ln(), right.max(1e-30).ln());
        let curvature = l - 2.0 * h + r;
        if curvature >= 0.0 {
            return Some(here.max(left).max(right));
        }
        let at = (0.5 * (l - r) / curvature).clamp(-1.5, 1.5);
        Some((h + 0.5 * at * (r - l) + 0.5 * at * at * curvature).exp())
    }
}

/// Mean of values with their variances, and its standard error: at least what the values' disagreement asks for.
fn weighted_mean(values: &[(f64, f64)]) -> Option<(f64, f64)> {
    let weights: f64 = values.iter().map(|(_, variance)| 1.0 / variance).sum();
    if weights <= 0.0 {
        return None;
    }
    let mean = values.iter().map(|(value, variance)| value / variance).sum::<f64>() / weights;
    let squares: f64 = values.iter().map(|(value, variance)| (value - mean).powi(2) / variance).sum();
    let disagreement = match values.len() {
        1 => 4.0,
        count => (squares / (count as f64 - 1.0)).max(1.0),
    };
    Some((mean, (disagreement / weights).sqrt()))
}

/// Likelihood of a line's power when a series of one strength adds to the background.
fn likelihood_at(look: Look, strength: f64) -> f64 {
    let s = 1.0 + strength * look.yield_at_unity;
    (-look.excess / s).exp() / s
}

/// Likelihood of a line with a second series: three points of a normal distribution in dB (Gauss-Hermite, weights
/// 1/6, 2/3, 1/6). The same stray share as without one: a line that neither explains says nothing.
fn with_second(weak: f64, middle: f64, strong: f64, stray: f64) -> f64 {
    (1.0 - STRAY_SHARE) * (weak + 4.0 * middle + strong) / 6.0 + stray
}

/// Likelihood of a line of a stray, and without a second series at all.
fn without_second(look: Look) -> (f64, f64) {
    let stray = STRAY_SHARE * stray_density(look.excess);
    (stray, (1.0 - STRAY_SHARE) * (-look.excess).exp() + stray)
}

/// Density of the power of a stray line over the background: flat in the logarithm over many decades.
fn stray_density(excess: f64) -> f64 {
    let x = 1.0 + excess;
    // 1 / (x (1 + ln x)²) integrates to 1 from 0 to infinity.
    1.0 / (x * (1.0 + x.ln()).powi(2))
}
