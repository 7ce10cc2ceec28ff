//! Bench against instrument: what a reed sounds higher in the instrument than on the bench, learnt from reeds that were
//! measured in both.
//!
//! The offset of reed i at note x is
//!
//! > oᵢ = f(xᵢ) + dᵢ, measured with the error eᵢ ~ N(0, σᵢ²),
//!
//! with a smooth curve f (a normal process: level, slope, and bends over an octave) and the reed's own departure
//! dᵢ ~ N(0, τ²). Given τ the estimate is f̂ + B·(o − f̂) with B = τ²/(τ² + σ²): a reed that was measured well keeps its
//! own, a doubtful one is drawn to the curve (partial pooling). τ and the size of the bends are not known: all of a grid
//! are weighed by their likelihood. Source of the method: Efron and Morris 1975 and the usual normal process regression
//! (from memory).

use super::solve::Root;
use crate::units::{Cents, Measured};

/// Level and slope may be anything a bench does, cents and cents an octave.
const LEVEL_SPREAD: f64 = 30.0;
const SLOPE_SPREAD: f64 = 15.0;
/// The curve bends over this many notes: a chamber serves an octave or so. Our own choice.
const BEND_NOTES: f64 = 9.0;
/// Sizes that are weighed, cents: own departures, and bends.
const OWN: [f64; 9] = [0.05, 0.15, 0.3, 0.5, 0.8, 1.2, 1.8, 3.0, 5.0];
const BENDS: [f64; 6] = [0.1, 0.5, 1.0, 2.0, 4.0, 8.0];
/// How fast large own departures lose their likelihood before anything is seen, cents.
const OWN_SCALE: f64 = 1.0;

/// A reed measured in both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Its note number.
    pub note: f64,
    /// Instrument less bench.
    pub offset: Measured,
}

/// The curve of one rank on one stroke, as far as it is known.
pub struct Offsets {
    pairs: Vec<Pair>,
    /// For each size of bends and own departures: weight, own variance, the root, and the weighted data.
    ways: Vec<Way>,
}

struct Way {
    weight: f64,
    own: f64,
    bend: f64,
    root: Root,
    solved: Vec<f64>,
}

impl Offsets {
    /// Learn from reeds of one rank on one stroke; `None` with fewer than 4, as for every shift.
    pub fn learn(pairs: &[Pair]) -> Option<Self> {
        if pairs.len() < super::LEAST_REEDS {
            return None;
        }
        let mut ways = Vec::new();
        for bend in BENDS {
            for own in OWN {
                let n = pairs.len();
                let mut matrix = vec![vec![0.0; n]; n];
                for (i, a) in pairs.iter().enumerate() {
                    for (j, b) in pairs.iter().enumerate() {
                        matrix[i][j] = curve(a.note, b.note, bend)
                            + if i == j { own * own + variance(a.offset) } else { 0.0 };
                    }
                }
                let Some(root) = Root::of(&matrix) else { continue };
                let values: Vec<f64> = pairs.iter().map(|pair| pair.offset.value.get()).collect();
                let solved = root.solve(&values);
                let fit: f64 = values.iter().zip(&solved).map(|(a, b)| a * b).sum();
                // Half a Cauchy distribution over a logarithmic grid.
                let before = -(1.0 + (own / OWN_SCALE).powi(2)).ln() + own.ln();
                let weight = -0.5 * fit - root.half_log_determinant() + before;
                ways.push(Way { weight, own, bend, root, solved });
            }
        }
        let top = ways.iter().map(|way| way.weight).fold(f64::NEG_INFINITY, f64::max);
        ways.iter_mut().for_each(|way| way.weight = (way.weight - top).exp());
        let sum: f64 = ways.iter().map(|way| way.weight).sum();
        ways.iter_mut().for_each(|way| way.weight /= sum);
        (sum.is_finite() && sum > 0.0).then_some(Self { pairs: pairs.to_vec(), ways })
    }

    /// The curve at a note, without any reed's own departure.
    pub fn curve(&self, note: f64) -> Measured {
        self.estimate(note, |_| 0.0, |_| 0.0)
    }

    /// The offset of a reed that was not measured in both: the curve, widened by what reeds depart from it.
    pub fn of_note(&self, note: f64) -> Measured {
        self.estimate(note, |_| 0.0, |own| own * own)
    }

    /// The offset of the reed that was given as pair `at`: its own, drawn to the curve by its doubt.
    pub fn of_pair(&self, at: usize) -> Option<Measured> {
        let note = self.pairs.get(at)?.note;
        Some(self.estimate(note, |index| if index == at { 1.0 } else { 0.0 }, |own| own * own))
    }

    /// Mixture over all ways; `shares` says how much of its own departure a measured reed shares with the one asked for.
    fn estimate(&self, note: f64, shares: impl Fn(usize) -> f64, own_of: impl Fn(f64) -> f64) -> Measured {
        let (mut middle, mut square) = (0.0, 0.0);
        for way in &self.ways {
            let across: Vec<f64> = (self.pairs.iter().enumerate())
                .map(|(index, pair)| curve(note, pair.note, way.bend) + shares(index) * way.own * way.own)
                .collect();
            let value: f64 = across.iter().zip(&way.solved).map(|(a, b)| a * b).sum();
            let told: f64 = way.root.forward(&across).iter().map(|x| x * x).sum();
            let variance = (curve(note, note, way.bend) + own_of(way.own) - told).max(0.0);
            middle += way.weight * value;
            square += way.weight * (variance + value * value);
        }
        let cents = |value| Cents::new(value).unwrap_or(Cents::ZERO);
        let spread = (square - middle * middle).max(0.0).sqrt();
        Measured { value: cents(middle), uncertainty: cents(1.96 * spread) }
    }
}

/// The deviation to aim at on the bench: target less offset, wider by the offset's doubt.
pub fn bench_target(offset: Measured) -> Measured {
    Measured { value: Cents::ZERO - offset.value, uncertainty: offset.uncertainty }
}

fn variance(measured: Measured) -> f64 {
    // A reading is never surer than a hundredth of a cent.
    (measured.uncertainty.get() / 1.96).max(0.01).powi(2)
}

/// Covariance of the curve at two notes, octaves from A4 for the slope.
fn curve(a: f64, b: f64, bend: f64) -> f64 {
    let octaves = |note: f64| (note - 69.0) / 12.0;
    LEVEL_SPREAD * LEVEL_SPREAD
        + SLOPE_SPREAD * SLOPE_SPREAD * octaves(a) * octaves(b)
        + bend * bend * (-0.5 * ((a - b) / BEND_NOTES).powi(2)).exp()
}
