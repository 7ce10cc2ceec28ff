//! What the reeds of a block share and how far each lies off it: the trend of each row, the plate, the reed and the take.
//!
//! A figure of a reed is trend + plate + own part + what the leak does. Trends, scatters and leaks are estimated together
//! in rounds: what a leak has probably taken is given back before trend and scatter are estimated anew, so a third of
//! leaking valves does not become the norm (expectation and maximisation; Dempster, Laird and Rubin 1977, from memory).

use super::leak_evidence::{self, SIZES_DB};
use super::robust::winsorised_square;
use super::small_matrix::Factor;
use super::trend::off_trend;

/// Signs that are compared within a block.
pub(crate) const SIGNS: usize = 5;
/// Their places: level dB, natural logarithm of the start, hiss dB, pitch cents, ring after the stop dB.
pub(crate) const LEVEL: usize = 0;
pub(crate) const START: usize = 1;
pub(crate) const HISS: usize = 2;
pub(crate) const PITCH: usize = 3;
pub(crate) const RING: usize = 4;

/// Rounds of estimating; after these nothing moves by more than a hundredth of the scatter in simulated blocks.
const ROUNDS: usize = 12;
/// How many plates what is known beforehand of the scatter weighs.
const PRIOR_PLATES: f64 = 2.0;
/// Share of the scatter that a second take of the same reed draws anew, beforehand (players by hand, `docs/method.md`).
const BY_TAKE: f64 = 0.65;
/// Leaking valves beforehand, and how many valves that weighs.
const LEAKING: f64 = 0.06;
const LEAKING_WEIGHS: f64 = 10.0;
/// Coefficients that a row's difference of strokes, and its mean, take from the scatter.
const HEIGHTS: f64 = 1.5;
const CURVES: f64 = 3.0;
/// How many reeds what is known beforehand of the correlation of two signs weighs; with pitch and ring it weighs more: nothing
/// in a hand joins them to the others, and estimated freely from one block they cost more than they tell.
const CORRELATION_PRIOR: [f64; 2] = [20.0, 80.0];
const LARGEST_CORRELATION: f64 = 0.8;
/// Beforehand: a soft hand makes a reed weak, late and quiet of hiss (common practice, no source).
const WEAK_AND_LATE: f64 = -0.3;
const WEAK_AND_QUIET: f64 = 0.3;
const LATE_AND_QUIET: f64 = -0.1;

/// What a sign is like before anything was measured; the unit is the sign's own.
pub(super) struct Nature {
    /// What it does for each dB that a leak takes from the level (two-reed model).
    pub(super) leak: f64,
    /// The same for a partner some 20 to 120 cents flatter, for each dB gained (two-reed model).
    flatter: f64,
    /// Scatter of one take, beforehand; of plates; and below which evenness is luck (common practice, no source). Start
    /// and pitch are held to more: what a leak does to them differs from note to note by as much.
    own: f64,
    plate: f64,
    floor: f64,
    /// How far a row's trend may climb.
    pub(super) slope: f64,
    /// A departure counts up to so many standard deviations: a reed out of tune or a late start is no large leak.
    counts_to: f64,
}

pub(super) const NATURES: [Nature; SIGNS] = [
    Nature { leak: -1.0, flatter: 1.0, own: 1.7, plate: 1.0, floor: 0.4, slope: 4.0, counts_to: 1e3 },
    Nature { leak: 0.08, flatter: -0.06, own: 0.2, plate: 0.1, floor: 0.15, slope: 0.6, counts_to: 2.5 },
    Nature { leak: 0.1, flatter: 0.1, own: 2.0, plate: 1.0, floor: 1.0, slope: 4.0, counts_to: 2.5 },
    Nature { leak: -0.5, flatter: 4.0, own: 2.0, plate: 2.0, floor: 1.5, slope: 3.0, counts_to: 2.5 },
    Nature { leak: 0.5, flatter: 0.5, own: 6.0, plate: 3.0, floor: 3.0, slope: 6.0, counts_to: 2.0 },
];

/// A figure of one reed over all its good takes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Measure {
    /// Mean.
    pub mean: f64,
    /// How many takes.
    pub takes: f64,
    /// Sum of squares about the mean.
    pub within: f64,
}

/// The signs of one reed that were measured.
pub(crate) type Signs = [Option<Measure>; SIGNS];

/// A plate of the block.
pub(crate) struct Pair {
    /// Which row, from 0.
    pub row: usize,
    /// Where the press and the draw reed lie along their row, −1 to 1.
    pub along: [f64; 2],
    /// What was measured of them.
    pub reeds: [Option<Signs>; 2],
    /// Whether the other reed of the plate lies some 20 to 120 cents below this one.
    pub flatter_partner: [bool; 2],
}

/// One sign of one reed against all that it is compared with.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Residual {
    /// How far off.
    pub by: f64,
    /// Standard deviation of that on a tight plate.
    pub sd: f64,
    /// How far off the row's trend alone, and the standard deviation of that.
    pub off_trend: f64,
    pub off_trend_sd: f64,
}

/// All signs of a reed together.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Estimate {
    /// What a leak seems to take from the level, dB, negative where the reed is better than expected.
    pub loss: f64,
    /// Standard deviation of that.
    pub sd: f64,
    /// The same read as the gain that a leak behind a flatter partner makes; where there is one.
    pub gain: Option<(f64, f64)>,
    /// How many plates the scatter is known by.
    pub freedom: f64,
    /// Share of the block's valves that seem to leak, over what is expected beforehand.
    pub commonness: f64,
    /// Sign by sign.
    pub residuals: [Option<Residual>; SIGNS],
}

impl Estimate {
    /// Whether the level was among the signs.
    pub(crate) fn has_level(&self) -> bool {
        self.residuals.get(LEVEL).is_some_and(Option::is_some)
    }
}

/// Variances of one sign.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spread {
    /// A reed's own, take after take.
    own: f64,
    /// Anew in each take.
    take: f64,
    /// What the two reeds of a plate share.
    pub(super) plate: f64,
}

pub(super) struct Scatter {
    spread: [Spread; SIGNS],
    correlation: [[f64; SIGNS]; SIGNS],
    freedom: f64,
}

/// What a leak has probably taken from a reed, dB.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Taken {
    pub(super) mean: f64,
    pub(super) variance: f64,
    /// Probability of a leak.
    share: f64,
}

/// One sign of each pair's reeds less the row's trend, and the variance of the trend there.
pub(super) type OffTrend = Vec<[Option<(f64, f64)>; 2]>;

/// Compare the reeds of a block; one estimate for each stroke of each pair, in the order given. `both_ways` where losses
/// may have gone as well as come: differences between two passes.
pub(crate) fn estimate(pairs: &[Pair], both_ways: bool) -> Vec<[Option<Estimate>; 2]> {
    let mut scatter = Scatter::beforehand();
    let mut taken: Vec<[Taken; 2]> = vec![[Taken::default(); 2]; pairs.len()];
    let mut estimates = Vec::new();
    let mut leaking = LEAKING;
    for _ in 0..ROUNDS {
        let trends: Vec<OffTrend> = (0..SIGNS).map(|sign| off_trend(pairs, sign, &scatter, &taken)).collect();
        scatter.update(pairs, &trends, &taken);
        let residuals = conditional(pairs, &trends, &scatter, &taken);
        scatter.correlate(&residuals, &taken);
        estimates = together(pairs, &residuals, &scatter);
        leaking = expect(&estimates, &mut taken, leaking, both_ways);
    }
    for estimate in estimates.iter_mut().flatten().flatten() {
        estimate.commonness = leaking / LEAKING;
    }
    estimates
}

fn expect(
    estimates: &[[Option<Estimate>; 2]],
    taken: &mut [[Taken; 2]],
    leaking: f64,
    both_ways: bool,
) -> f64 {
    let (mut sum, mut count) = (LEAKING * LEAKING_WEIGHS, LEAKING_WEIGHS);
    for (estimates, taken) in estimates.iter().zip(taken) {
        for (estimate, taken) in estimates.iter().zip(taken) {
            let Some(estimate) = estimate else { continue };
            let (share, mean, variance) = expected(estimate, leaking, both_ways);
            *taken = Taken { mean, variance, share };
            sum += share;
            count += 1.0;
        }
    }
    sum / count
}

/// Probability of a leak, and mean and variance of what it takes.
fn expected(estimate: &Estimate, leaking: f64, both_ways: bool) -> (f64, f64, f64) {
    let each = leaking / (SIZES_DB.len() as f64 * if both_ways { 2.0 } else { 1.0 });
    let senses: &[f64] = if both_ways { &[1.0, -1.0] } else { &[1.0] };
    let (mut whole, mut first, mut second) = (1.0 - leaking, 0.0, 0.0);
    for size in senses.iter().flat_map(|sense| SIZES_DB.map(|size| sense * size)) {
        let weight = each * leak_evidence::ratio(estimate.loss, estimate.sd, size).min(600.0).exp();
        whole += weight;
        first += weight * size;
        second += weight * size * size;
    }
    let mean = first / whole;
    (1.0 - (1.0 - leaking) / whole, mean, (second / whole - mean * mean).max(0.0))
}

impl Scatter {
    fn beforehand() -> Self {
        let spread = |nature: &Nature| {
            let single = nature.own.powi(2);
            Spread { own: (1.0 - BY_TAKE) * single, take: BY_TAKE * single, plate: nature.plate.powi(2) }
        };
        let correlation = std::array::from_fn(|a| std::array::from_fn(|b| correlation_beforehand(a, b)));
        Self { spread: NATURES.each_ref().map(spread), correlation, freedom: PRIOR_PLATES }
    }

    /// Variance of a reed's own part over so many takes.
    pub(super) fn own(&self, sign: usize, takes: f64) -> f64 {
        let Spread { own, take, .. } = self.spread(sign);
        own + take / takes.max(1.0)
    }

    pub(super) fn spread(&self, sign: usize) -> Spread {
        self.spread.get(sign).copied().unwrap_or(Spread { own: 1.0, take: 1.0, plate: 1.0 })
    }

    fn update(&mut self, pairs: &[Pair], trends: &[OffTrend], taken: &[[Taken; 2]]) {
        let rows = pairs.iter().map(|pair| pair.row + 1).max().unwrap_or(0) as f64;
        for ((sign, nature), (off, spread)) in
            NATURES.iter().enumerate().zip(trends.iter().zip(self.spread.iter_mut()))
        {
            let (mut apart, mut middle, mut doubt, mut thinned) = (Vec::new(), Vec::new(), 0.0, 0.0);
            for ((pair, off), taken) in pairs.iter().zip(off).zip(taken) {
                let ([Some(press), Some(draw)], Some(takes)) = (off, takes(pair, sign)) else { continue };
                let [press, draw] = [(press, taken[0]), (draw, taken[1])]
                    .map(|((off, _), taken)| off - nature.leak * taken.mean);
                apart.push(press - draw);
                middle.push(0.5 * (press + draw));
                doubt += nature.leak.powi(2) * (taken[0].variance + taken[1].variance);
                thinned += takes.map(|takes| 0.5 / takes.max(1.0)).iter().sum::<f64>();
            }
            let n = apart.len() as f64;
            let thinned = if n > 0.0 { thinned / n } else { 1.0 };
            let known = |fitted: f64| (n - fitted).max(0.5 * n);
            // What one reed over its takes scatters by, and what the two share.
            let single = nature.own.powi(2);
            let beforehand = single * (1.0 - BY_TAKE + BY_TAKE * thinned);
            let seen = 0.5 * (n * winsorised_square(&apart) + doubt) * n / known(HEIGHTS * rows).max(1.0);
            let whole = ((PRIOR_PLATES * beforehand + seen) / (PRIOR_PLATES + n)).max(nature.floor.powi(2));
            let (mut within, mut repeats) = (0.0, 0.0);
            let signs = pairs.iter().flat_map(|pair| &pair.reeds).flatten();
            for measure in signs.filter_map(|signs| signs.get(sign)).flatten() {
                within += measure.within;
                repeats += measure.takes - 1.0;
            }
            let unseen = BY_TAKE * whole / (1.0 - BY_TAKE + BY_TAKE * thinned);
            spread.take = (PRIOR_PLATES * unseen + within) / (PRIOR_PLATES + repeats);
            spread.own = (whole - spread.take * thinned).max(0.1 * whole);
            let shared = (n * winsorised_square(&middle) + 0.25 * doubt) * n / known(CURVES * rows).max(1.0);
            spread.plate = ((PRIOR_PLATES * nature.plate.powi(2) + shared - 0.5 * n * whole)
                / (PRIOR_PLATES + n))
                .max(0.01 * whole);
            if sign == LEVEL {
                self.freedom = PRIOR_PLATES + known(HEIGHTS * rows);
            }
        }
    }

    /// How two signs go together on tight plates: a soft hand makes a reed weak and late at once.
    fn correlate(&mut self, residuals: &[[[Option<Residual>; SIGNS]; 2]], taken: &[[Taken; 2]]) {
        let mut sums: [[(f64, f64); SIGNS]; SIGNS] = std::array::from_fn(|a| {
            std::array::from_fn(|b| {
                let weight = if a.max(b) >= PITCH { CORRELATION_PRIOR[1] } else { CORRELATION_PRIOR[0] };
                (weight * correlation_beforehand(a, b), weight)
            })
        });
        for (signs, taken) in residuals.iter().flatten().zip(taken.iter().flatten()) {
            let scaled: Vec<Option<f64>> = signs
                .iter()
                .zip(&NATURES)
                .map(|(residual, nature)| {
                    residual.map(|one| ((one.by - nature.leak * taken.mean) / one.sd).clamp(-2.5, 2.5))
                })
                .collect();
            // What leaks is no witness of how signs go together on tight plates.
            let weight = 1.0 - taken.share;
            for (row, a) in sums.iter_mut().zip(&scaled) {
                for (sum, b) in row.iter_mut().zip(&scaled) {
                    if let (Some(a), Some(b)) = (a, b) {
                        *sum = (sum.0 + weight * a * b, sum.1 + weight);
                    }
                }
            }
        }
        for (i, (row, sums)) in self.correlation.iter_mut().zip(&sums).enumerate() {
            for (j, (value, (sum, count))) in row.iter_mut().zip(sums).enumerate() {
                if i != j {
                    *value = (sum / count).clamp(-LARGEST_CORRELATION, LARGEST_CORRELATION);
                }
            }
        }
    }
}

/// How two signs go together before anything was measured.
fn correlation_beforehand(a: usize, b: usize) -> f64 {
    match (a.min(b), a.max(b)) {
        (one, other) if one == other => 1.0,
        (LEVEL, START) => WEAK_AND_LATE,
        (LEVEL, HISS) => WEAK_AND_QUIET,
        (START, HISS) => LATE_AND_QUIET,
        _ => 0.0,
    }
}

fn takes(pair: &Pair, sign: usize) -> Option<[f64; 2]> {
    Some([measure(pair, 0, sign)?.takes, measure(pair, 1, sign)?.takes])
}

pub(super) fn measure(pair: &Pair, stroke: usize, sign: usize) -> Option<Measure> {
    *pair.reeds.get(stroke)?.as_ref()?.get(sign)?
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Each sign of each reed against the trend and, as far as plates share it, against the plate's other reed.
fn conditional(
    pairs: &[Pair],
    trends: &[OffTrend],
    scatter: &Scatter,
    taken: &[[Taken; 2]],
) -> Vec<[[Option<Residual>; SIGNS]; 2]> {
    let mut found = vec![[[None; SIGNS]; 2]; pairs.len()];
    for ((sign, nature), off) in NATURES.iter().enumerate().zip(trends) {
        let spread = scatter.spread(sign);
        for (((pair, off), taken), found) in pairs.iter().zip(off).zip(taken).zip(&mut found) {
            for (stroke, found) in found.iter_mut().enumerate() {
                let other = 1 - stroke;
                let (Some(Some((by, doubt))), Some(own)) = (off.get(stroke), measure(pair, stroke, sign))
                else {
                    continue;
                };
                let own = scatter.own(sign, own.takes);
                let alone = spread.plate + own;
                let (mut expected, mut variance) = (0.0, alone);
                if let (Some(Some((by, _))), Some(measure), Some(&Taken { mean, variance: var, .. })) =
                    (off.get(other), measure(pair, other, sign), taken.get(other))
                {
                    let theirs = scatter.own(sign, measure.takes) + nature.leak.powi(2) * var;
                    let shared = spread.plate / (spread.plate + theirs);
                    expected = shared * (by - nature.leak * mean);
                    variance -= shared * spread.plate;
                }
                // The reed has bent its own trend by what was not given back: off a trend drawn without it.
                let stretched = 1.0 / (1.0 - (doubt / alone).min(0.5));
                let given = nature.leak * taken.get(stroke).map_or(0.0, |taken| taken.mean);
                let off_trend = given + stretched * (by - given);
                let residual = Residual {
                    by: off_trend - expected,
                    sd: (stretched * variance).sqrt(),
                    off_trend,
                    off_trend_sd: (stretched * alone).sqrt(),
                };
                if let Some(place) = found.get_mut(sign) {
                    *place = Some(residual);
                }
            }
        }
    }
    found
}

/// The signs of each reed joined, each with its weight.
fn together(
    pairs: &[Pair],
    residuals: &[[[Option<Residual>; SIGNS]; 2]],
    scatter: &Scatter,
) -> Vec<[Option<Estimate>; 2]> {
    let of_reed = |residuals: &[Option<Residual>; SIGNS], flatter: bool| -> Option<Estimate> {
        let here: Vec<(usize, &Nature, Residual)> = NATURES
            .iter()
            .enumerate()
            .zip(residuals)
            .filter_map(|((sign, nature), residual)| Some((sign, nature, (*residual)?)))
            .collect();
        // Correlations of signs that were not all measured together need not make a matrix: then they count less.
        let factor = [1.0, 0.7, 0.4, 0.0].into_iter().find_map(|share| {
            let row = |a: usize| {
                let cell = |b: usize| {
                    let value = scatter.correlation.get(a).and_then(|row| row.get(b)).copied()?;
                    Some(if a == b { 1.0 } else { share * value })
                };
                here.iter().map(|(b, ..)| cell(*b)).collect::<Option<Vec<f64>>>()
            };
            Factor::of(&here.iter().map(|(a, ..)| row(*a)).collect::<Option<Vec<_>>>()?)
        })?;
        // A sign that is off further than the level's loss explains counts up to its bound beyond that.
        let level =
            here.iter().find(|(sign, ..)| *sign == LEVEL).map_or(0.0, |(_, _, one)| (-one.by).max(0.0));
        let seen: Vec<f64> = here
            .iter()
            .map(|(_, nature, one)| {
                let explained = nature.leak * level / one.sd;
                let (low, high) = (explained.min(0.0), explained.max(0.0));
                (one.by / one.sd).clamp(low - nature.counts_to, high + nature.counts_to)
            })
            .collect();
        let along = |does: fn(&Nature) -> f64| -> Option<(f64, f64)> {
            let wanted: Vec<f64> = here.iter().map(|(_, nature, one)| does(nature) / one.sd).collect();
            let weights = factor.solve(&wanted);
            let information = dot(&weights, &wanted);
            (information > 0.0).then(|| (dot(&weights, &seen) / information, information.sqrt().recip()))
        };
        let (loss, sd) = along(|nature| nature.leak)?;
        let gain = if flatter { along(|nature| nature.flatter) } else { None };
        Some(Estimate { loss, sd, gain, freedom: scatter.freedom, commonness: 1.0, residuals: *residuals })
    };
    pairs
        .iter()
        .zip(residuals)
        .map(|(pair, [press, draw])| {
            let [press_flatter, draw_flatter] = pair.flatter_partner;
            [of_reed(press, press_flatter), of_reed(draw, draw_flatter)]
        })
        .collect()
}
