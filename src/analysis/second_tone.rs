//! The opposite reed in the steady tone: a second series at one distance in cents, judged by all partials together.

use std::rc::Rc;

use rustfft::num_complex::Complex;

use super::likelihood::{PowerPosterior, SeriesLine, Spectrum, best_spectrum};
use super::sidebands::{Line, Look};

/// Mains frequencies and how far they and their harmonics may stray, Hz per harmonic; harmonics looked out for.
pub(super) const MAINS_HZ: [f64; 2] = [50.0, 60.0];
const MAINS_STRAY_HZ: f64 = 0.12;
const MAINS_HARMONICS: usize = 12;
/// Hum shows at two harmonics at least that are none of the series' own, where three or more of them can be seen.
const HUM_SHOWS: usize = 2;
const HUM_ASKED: usize = 3;
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
/// Rounds of moving to where the lines lie; a move that costs more of the evidence than this leads away from them.
const PLACING_ROUNDS: usize = 6;
const PLACING_COST: f64 = 3.0;
/// One line adds no more than this to the first look, and but the logarithm beyond: no single line makes a candidate, and
/// the top of a strong line still shows.
const FIRST_LOOK_CAP: f64 = 12.0;
const FIRST_LOOK_BEYOND: f64 = 3.0;
/// Strength for which the first look is weighted, power ratio (-40 dB).
const FIRST_LOOK_STRENGTH: f64 = 1e-4;
/// Lines asked where nothing is expected.
const GLANCE_PARTIALS: usize = 16;
/// Evidence from which a candidate's top is climbed.
const WORTH_A_CLIMB: f64 = 2.0;
/// The first look asks the lines up to these numbers, then all: a dark series has no more.
const FIRST_LOOK_ENDS: [usize; 4] = [2, 4, 8, 16];
/// Places looked at for the limit besides the best ones, evenly over the range.
const EVEN_PLACES: usize = 32;
/// The limit is exceeded with this probability: one stated limit in fifty may lie below the truth.
const ABOVE_LIMIT: f64 = 0.02;
/// What a power read off its lines errs by besides the noise, dB: levels are right to 1 dB in 68 %, to 3 dB in 95 %.
const LEVEL_ERROR_DB: f64 = 2.0;

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

/// First look at the places from one distance to another, cents.
pub(super) struct Scan {
    low: f64,
    high: f64,
    step: f64,
    /// The best places.
    peaks: Vec<f64>,
}

/// A line of a second series: the band in which it lies, and where.
struct Placed<'a> {
    /// Its number in the series.
    number: usize,
    /// Squared amplitude of the sounding reed's partial of that number.
    reference: f64,
    band: &'a Line,
    /// Distance from the band's middle, Hz.
    distance_hz: f64,
}

impl Placed<'_> {
    fn look(&self) -> Option<Look> {
        let look = self.band.look(self.distance_hz)?;
        Some(Look { yield_at_unity: look.yield_at_unity * self.reference / self.band.reference, ..look })
    }
}

/// Lines and the rule that ties a distance in cents to a distance in Hz on each.
pub(super) struct Search {
    /// The lines, ascending.
    lines: Rc<Vec<Line>>,
    /// Which of them belong to the series.
    belongs: fn(usize) -> bool,
    /// Pitch of the series at `origin_cents`, Hz.
    origin_hz: f64,
    /// Distance of that from the sounding reed, cents.
    origin_cents: f64,
    /// Length of the stretch, s.
    length_s: f64,
    /// Power of the sounding reed.
    pub sounding_power: f64,
    /// For each mains frequency the harmonics that can be seen, and whether each stands out.
    hum: [Vec<(f64, bool)>; 2],
}

impl Search {
    /// Beside the sounding reed's own partials; `lines` are ascending.
    pub fn beside(lines: Rc<Vec<Line>>, belongs: fn(usize) -> bool, sounding_hz: f64, length_s: f64) -> Self {
        let sounding_power =
            lines.iter().filter(|line| belongs(line.number)).map(|line| line.reference).sum();
        let mut search = Self {
            lines,
            belongs,
            origin_hz: sounding_hz,
            origin_cents: 0.0,
            length_s,
            sounding_power,
            hum: [Vec::new(), Vec::new()],
        };
        search.hum = MAINS_HZ.map(|mains| {
            let harmonics = (1..=MAINS_HARMONICS).map(|harmonic| mains * harmonic as f64);
            harmonics.filter_map(|hz| Some((hz, search.look_at(hz)?.excess > STANDS_OUT))).collect()
        });
        search
    }

    /// Between them: `lines` lie around the partials of a pitch `origin_cents` from the sounding reed's.
    pub fn between(
        lines: Vec<Line>,
        (origin_hz, origin_cents): (f64, f64),
        length_s: f64,
        sounding_power: f64,
    ) -> Self {
        Self {
            lines: Rc::new(lines),
            belongs: |_| true,
            origin_hz,
            origin_cents,
            length_s,
            sounding_power,
            hum: [Vec::new(), Vec::new()],
        }
    }

    /// What is seen at a frequency, beside whichever partial is nearest.
    fn look_at(&self, hz: f64) -> Option<Look> {
        let number = (hz / self.origin_hz).round() as usize;
        let line = self.line(number)?;
        line.look(hz - number as f64 * self.origin_hz)
    }

    fn line(&self, number: usize) -> Option<&Line> {
        let at = self.lines.binary_search_by_key(&number, |line| line.number).ok()?;
        self.lines.get(at)
    }

    /// How far the fundamental of a series at `cents` lies from the origin, Hz; its `k`-th line lies `k` times as far.
    fn distance_hz(&self, cents: f64) -> f64 {
        self.origin_hz * (((cents - self.origin_cents) / 1200.0).exp2() - 1.0)
    }

    /// The lines of a series whose fundamental lies so far from the origin, Hz, where a band holds them; with all lines the
    /// band may be missing. A line more than half way to the next partial is seen beside that one.
    fn placed(&self, apart_hz: f64) -> impl Iterator<Item = (&Line, Option<Placed<'_>>)> {
        let is_beside = self.origin_cents == 0.0;
        self.lines.iter().filter(|line| (self.belongs)(line.number)).map(move |line| {
            let distance = line.number as f64 * apart_hz;
            let shift = if is_beside { (distance / self.origin_hz).round() } else { 0.0 };
            let band = if shift == 0.0 {
                Some(line)
            } else {
                usize::try_from(line.number as i64 + shift as i64).ok().and_then(|number| self.line(number))
            };
            let distance_hz = distance - shift * self.origin_hz;
            let (number, reference) = (line.number, line.reference);
            (line, band.map(|band| Placed { number, reference, band, distance_hz }))
        })
    }

    /// The same as the likelihood takes them; hidden behind hum or too near to a partial is a line without a look.
    fn series_lines(&self, cents: f64) -> Vec<SeriesLine> {
        let apart = self.distance_hz(cents);
        let hum = self.hum_beside(apart);
        self.placed(apart)
            .map(|(line, placed)| {
                let clear = !self.is_hum(line.number as f64 * (self.origin_hz + apart), hum);
                let look = placed.filter(|_| clear).and_then(|placed| placed.look());
                SeriesLine { number: line.number, reference: line.reference, look }
            })
            .collect()
    }

    /// The lines that can be seen.
    fn looks(&self, cents: f64) -> Vec<(Placed<'_>, Look)> {
        let apart = self.distance_hz(cents);
        let hum = self.hum_beside(apart);
        let placed = self.placed(apart).filter_map(|(_, placed)| placed);
        placed
            .filter(|placed| !self.is_hum(placed.number as f64 * (self.origin_hz + apart), hum))
            .filter_map(|placed| {
                let look = placed.look()?;
                Some((placed, look))
            })
            .collect()
    }

    /// How far a harmonic of the mains may lie from its place, Hz.
    fn hum_width(&self, harmonic: f64) -> f64 {
        MAINS_STRAY_HZ * harmonic + 1.5 / self.length_s
    }

    /// Whether each mains frequency hums, as its harmonics tell that are no lines of the series; where too few of them can be
    /// seen it may.
    fn hum_beside(&self, apart_hz: f64) -> [bool; 2] {
        let pitch = self.origin_hz + apart_hz;
        [0, 1].map(|which| {
            // A pitch at the mains frequency or twice it has hum for all its lines, and no others to tell by.
            let order = (pitch / MAINS_HZ[which]).round();
            if order <= 2.0 && (pitch - order * MAINS_HZ[which]).abs() < self.hum_width(order) {
                return true;
            }
            let shown = self.hum[which].iter().filter(|(_, shows)| *shows).count();
            if shown < HUM_SHOWS && self.hum[which].len() > 2 * HUM_ASKED {
                return false;
            }
            let harmonic = |hz: f64| hz / MAINS_HZ[which];
            let others = self.hum[which].iter().filter(|(hz, _)| {
                (hz - (hz / pitch).round().max(1.0) * pitch).abs() > self.hum_width(harmonic(*hz))
            });
            let (asked, shown) =
                others.fold((0, 0), |(asked, shown), (_, shows)| (asked + 1, shown + usize::from(*shows)));
            asked < HUM_ASKED || shown >= HUM_SHOWS
        })
    }

    /// Whether a frequency may be mains hum, which no reed can be told from.
    fn is_hum(&self, hz: f64, hums: [bool; 2]) -> bool {
        // Beyond the harmonics looked out for there is nothing to ask.
        hz < (MAINS_HARMONICS as f64 + 0.5) * MAINS_HZ[1]
            && MAINS_HZ.iter().zip(hums).any(|(mains, hums)| {
                let harmonic = (hz / mains).round();
                hums && harmonic <= MAINS_HARMONICS as f64
                    && (hz - harmonic * mains).abs() < self.hum_width(harmonic)
            })
    }

    /// Step in cents that moves the highest line by a third of a cycle over the stretch.
    pub fn step_cents(&self) -> f64 {
        self.step_with(usize::MAX)
    }

    fn step_with(&self, most: usize) -> f64 {
        let highest = self.highest().min(most) as f64;
        (0.33 / self.length_s / highest / self.origin_hz * 1200.0 / std::f64::consts::LN_2).max(1e-4)
    }

    fn highest(&self) -> usize {
        self.lines.iter().map(|line| line.number).max().unwrap_or(1)
    }

    /// Independent places between two distances, in cents: cycles of the highest line.
    pub fn places(&self, low: f64, high: f64) -> f64 {
        let hz = (self.distance_hz(high) - self.distance_hz(low)).abs();
        (hz * self.length_s * self.highest() as f64).max(1.0)
    }

    /// Look at every place between two distances, in cents, with all lines.
    pub fn scan_closely(&self, low: f64, high: f64) -> Scan {
        self.scan(low, high, usize::MAX)
    }

    /// The same where nothing is expected: the lower lines alone cost a tenth.
    pub fn scan_at_a_glance(&self, low: f64, high: f64) -> Scan {
        self.scan(low, high, GLANCE_PARTIALS)
    }

    fn scan(&self, low: f64, high: f64, most: usize) -> Scan {
        let step = self.step_with(most);
        let steps = (((high - low) / step).ceil() as usize).clamp(1, 60_000);
        let step = (high - low) / steps as f64;
        let score: Vec<f64> = (0..=steps)
            .map(|i| {
                let apart = self.distance_hz(low + i as f64 * step);
                let hum = self.hum_beside(apart);
                let mut sum = 0.0;
                let mut count = 0.0;
                let mut score = f64::NEG_INFINITY;
                let mut ends = FIRST_LOOK_ENDS.iter();
                let mut end = ends.next();
                for (line, placed) in self.placed(apart).take_while(|(line, _)| line.number <= most) {
                    while let Some(at) = end
                        && line.number > *at
                    {
                        score = score.max(sum / f64::max(count, 1.0).sqrt());
                        end = ends.next();
                    }
                    let Some(look) = placed.and_then(|placed| placed.look()) else { continue };
                    if !self.is_hum(line.number as f64 * (self.origin_hz + apart), hum) {
                        let strength = FIRST_LOOK_STRENGTH * look.yield_at_unity;
                        let beyond = (look.excess / FIRST_LOOK_CAP).max(1.0).ln();
                        let excess = look.excess.min(FIRST_LOOK_CAP) + FIRST_LOOK_BEYOND * beyond;
                        sum += (excess - 1.0) * strength / (1.0 + strength);
                        count += 1.0;
                    }
                }
                score.max(sum / f64::max(count, 1.0).sqrt())
            })
            .collect();
        let peaks = peaks(&score).into_iter().map(|peak| low + peak as f64 * step).collect();
        Scan { low, high, step, peaks }
    }

    /// The power ratio that a series at least `nearest` cents away stays below, whatever its spectrum: an upper quantile of its
    /// power once all places and spectra have been weighed by what is seen there. `prior` is the density of its place.
    pub fn limit(&self, scans: &[Scan], nearest: f64, prior: impl Fn(f64) -> f64) -> f64 {
        let mut posterior = PowerPosterior::new();
        let mut look = |cents: f64, width: f64| {
            if cents.abs() >= nearest {
                posterior.add(&self.series_lines(cents), width * prior(cents), self.sounding_power);
            }
        };
        for scan in scans {
            let width = (scan.high - scan.low) / EVEN_PLACES as f64;
            (0..EVEN_PLACES).for_each(|i| look(scan.low + (i as f64 + 0.5) * width, width));
            scan.peaks.iter().for_each(|cents| look(*cents, scan.step));
        }
        posterior.exceeded_with(ABOVE_LIMIT) * 10f64.powf(0.1 * LEVEL_ERROR_DB)
    }

    /// The best second series among the places looked at.
    pub fn best(&self, scan: &Scan) -> Option<Found> {
        let with_evidence = |cents: f64| {
            let (evidence, spectrum) = self.evidence(cents, 1);
            Some((cents, evidence, spectrum?))
        };
        let mut starts: Vec<(f64, f64, Spectrum)> =
            scan.peaks.iter().filter_map(|cents| with_evidence(*cents)).collect();
        starts.sort_by(|a, b| b.1.total_cmp(&a.1));
        starts.truncate(CLIMBS);
        // A climb adds to what is there already; from next to nothing it leads nowhere.
        starts.retain(|start| start.1 > WORTH_A_CLIMB);
        let (cents, evidence, spectrum) =
            starts.into_iter().map(|start| self.climb(start, scan)).max_by(|a, b| a.1.total_cmp(&b.1))?;
        let (placed, cents_uncertainty) = self.place(cents, spectrum);
        let placed = placed.clamp(scan.low, scan.high);
        let leads_away = self.evidence(placed, 1).0 < evidence - PLACING_COST;
        let cents = if leads_away { cents } else { placed };
        let power_ratio = self.level(cents, spectrum);
        Some(Found { cents, cents_uncertainty, evidence, power_ratio, spectrum })
    }

    /// The best evidence for a series between two distances, in cents, where none is expected.
    pub fn decoy(&self, low: f64, high: f64) -> f64 {
        let scan = self.scan_at_a_glance(low, high);
        scan.peaks.iter().map(|cents| self.evidence(*cents, 1).0).fold(0.0, f64::max)
    }

    /// Climb to the top with ever smaller steps: distance, evidence, spectrum.
    fn climb(&self, start: (f64, f64, Spectrum), scan: &Scan) -> (f64, f64, Spectrum) {
        let mut top = start;
        let step = 0.5 * scan.step;
        let mut nudge = step;
        while nudge > 0.005 * step {
            let tried = [top.0 - nudge, top.0 + nudge].map(|cents| cents.clamp(scan.low, scan.high));
            let better = tried.into_iter().filter_map(|cents| {
                let (evidence, spectrum) = self.evidence(cents, 1);
                Some((cents, evidence, spectrum?))
            });
            match better.filter(|tried| tried.1 > top.1).max_by(|a, b| a.1.total_cmp(&b.1)) {
                Some(better) => top = better,
                None => nudge *= 0.4,
            }
        }
        top
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
        for (placed, look) in self.looks(cents) {
            if spectrum.at(placed.number) * look.yield_at_unity < STANDS_OUT || look.excess < STANDS_OUT {
                continue;
            }
            let (number, band) = (placed.number as f64, placed.band);
            let turn = std::f64::consts::TAU * placed.distance_hz * band.step_s;
            let third = band.rest.len() / 3;
            if third < 4 {
                continue;
            }
            let parts = [0, third, 2 * third].map(|from| {
                let part = band.rest[from..from + third].iter().enumerate();
                part.fold(Complex::new(0.0, 0.0), |sum, (i, value)| {
                    let weight = (std::f64::consts::PI * (i as f64 + 0.5) / third as f64).sin();
                    sum + value * Complex::from_polar(weight, -turn * (from + i) as f64)
                })
            });
            let bend = (parts[2] * parts[1].conj() * (parts[1] * parts[0].conj()).conj()).arg();
            let hz = bend / (std::f64::consts::TAU * third as f64 * band.step_s) / number;
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
        let top = |(placed, look): (Placed, Look)| {
            if spectrum.at(placed.number) * look.yield_at_unity < 4.0 || look.excess < STANDS_OUT {
                return None;
            }
            let per_hz = 1200.0 / std::f64::consts::LN_2 / (placed.number as f64 * self.origin_hz);
            // A parabola through the levels half a cycle to either side places this line.
            let half_cycle = 0.5 / self.length_s;
            let level = |hz: f64| Some(placed.band.look(placed.distance_hz + hz)?.excess.max(1e-9).ln());
            let (left, right) = (level(-half_cycle)?, level(half_cycle)?);
            let curvature = left - 2.0 * look.excess.ln() + right;
            if curvature >= 0.0 {
                return None;
            }
            let place = (0.5 * (left - right) / curvature).clamp(-2.0, 2.0) * half_cycle * per_hz;
            // Standard error of one line's frequency under a Hann window: about 0.9 / (pi T sqrt(2 snr)) Hz.
            let noise = 0.4 / self.length_s / (2.0 * look.excess).sqrt() * per_hz;
            Some((place, noise.powi(2) + (OWN_CYCLES / self.length_s * per_hz).powi(2)))
        };
        self.looks(cents).into_iter().filter_map(top).collect()
    }

    /// Log-likelihood ratio of a series at `cents`, on every `stride`-th partial only, and the spectrum that gives it.
    pub fn evidence(&self, cents: f64, stride: usize) -> (f64, Option<Spectrum>) {
        let mut lines = self.series_lines(cents);
        lines.retain(|line| line.number % stride == 0);
        best_spectrum(&lines)
    }

    /// Complex amplitude of each line of the series at `cents`, re the partial beside which it lies, with that partial's
    /// number and the distance from it in Hz.
    pub fn amplitudes(&self, cents: f64) -> Vec<(usize, f64, Complex<f64>)> {
        self.placed(self.distance_hz(cents))
            .filter_map(|(_, placed)| {
                let Placed { band, distance_hz, .. } = placed?;
                Some((band.number, distance_hz, band.amplitude(distance_hz)?))
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
        let hum = self.hum_beside(apart);
        self.placed(apart)
            .filter(|(line, _)| spectrum.reaches(line.number))
            .map(|(line, placed)| {
                let fitted = spectrum.at(line.number) * line.reference;
                let clear = !self.is_hum(line.number as f64 * (self.origin_hz + apart), hum);
                let seen = placed.filter(|_| clear).and_then(|placed| {
                    let look = placed.look()?;
                    let noise = placed.reference / look.yield_at_unity;
                    let top = self.peak_power(&placed)? * placed.band.reference;
                    let power = (top - noise).max(0.0);
                    Some(if look.excess > STANDS_OUT { power } else { power.min(fitted) })
                });
                (line.number, seen.unwrap_or(fitted))
            })
            .collect()
    }

    /// Power of a line re its band's partial, at its top: a tongue that wanders by itself moves its high lines.
    fn peak_power(&self, placed: &Placed) -> Option<f64> {
        let power =
            |distance: f64| Some(placed.band.amplitude(distance)?.norm_sqr() / placed.band.passed(distance));
        let step = TOP_CYCLES / self.length_s;
        let here = power(placed.distance_hz)?;
        let (Some(left), Some(right)) = (power(placed.distance_hz - step), power(placed.distance_hz + step))
        else {
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

/// The highest local maxima of a track.
fn peaks(score: &[f64]) -> Vec<usize> {
    let last = score.len() - 1;
    let mut peaks: Vec<usize> = (0..=last)
        .filter(|&i| (i == 0 || score[i] >= score[i - 1]) && (i == last || score[i] > score[i + 1]))
        .collect();
    peaks.sort_by(|a, b| score[*b].total_cmp(&score[*a]));
    peaks.truncate(CANDIDATES);
    peaks
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
