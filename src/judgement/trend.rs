//! The course of a sign along a row: one curve for both strokes, and height and slope of their difference.

use super::scatter::{NATURES, OffTrend, Pair, Scatter, Taken, dot, measure};
use super::small_matrix::Factor;

/// Coefficients of a trend: three of a curve and a height for both strokes, height and slope of their difference.
const TREND: usize = 6;

/// Each reed's figure less its row's trend, and the variance of the trend there.
pub(super) fn off_trend(pairs: &[Pair], sign: usize, scatter: &Scatter, taken: &[[Taken; 2]]) -> OffTrend {
    let rows = pairs.iter().map(|pair| pair.row + 1).max().unwrap_or(0);
    let Some(nature) = NATURES.get(sign) else { return Vec::new() };
    let spread = scatter.spread(sign);
    // Heights are free, the rest is as likely as the row's slope; the height moves with the recording level.
    let scale = nature.slope;
    let held = [1e3, scale, scale, 0.5 * scale, 1e3, 0.25 * scale].map(|sd: f64| sd.powi(-2));
    let centre = middle(pairs, sign);
    let mut fits: Vec<Option<(Factor, Vec<f64>)>> = Vec::with_capacity(rows);
    for row in 0..rows {
        let mut matrix: Vec<Vec<f64>> = vec![vec![0.0; TREND]; TREND];
        for (at, (line, held)) in matrix.iter_mut().zip(held).enumerate() {
            if let Some(value) = line.get_mut(at) {
                *value = held;
            }
        }
        let mut right = vec![0.0; TREND];
        for (pair, taken) in pairs.iter().zip(taken).filter(|(pair, _)| pair.row == row) {
            let seen: Vec<([f64; TREND], f64, f64)> = (0..2)
                .filter_map(|stroke| {
                    let measure = measure(pair, stroke, sign)?;
                    let &Taken { mean, variance: doubt, .. } = taken.get(stroke)?;
                    let value = measure.mean - centre - nature.leak * mean;
                    let own = scatter.own(sign, measure.takes) + nature.leak.powi(2) * doubt;
                    Some((course(pair, stroke), value, own))
                })
                .collect();
            // Sherman and Morrison: the plate's share couples the two reeds.
            let sum: f64 = seen.iter().map(|(_, _, own)| 1.0 / own).sum();
            let coupled = spread.plate / (1.0 + spread.plate * sum);
            for (i, (x, value, own)) in seen.iter().enumerate() {
                for (j, (other_x, _, other_own)) in seen.iter().enumerate() {
                    let weight = if i == j { 1.0 / own } else { 0.0 } - coupled / (own * other_own);
                    for (line, a) in matrix.iter_mut().zip(other_x) {
                        line.iter_mut().zip(x).for_each(|(sum, b)| *sum += weight * a * b);
                    }
                    right.iter_mut().zip(other_x).for_each(|(sum, a)| *sum += weight * a * value);
                }
            }
        }
        fits.push(Factor::of(&matrix).map(|factor| {
            let course = factor.solve(&right);
            (factor, course)
        }));
    }
    pairs
        .iter()
        .map(|pair| {
            [0, 1].map(|stroke| {
                let measure = measure(pair, stroke, sign)?;
                let (factor, trend) = fits.get(pair.row)?.as_ref()?;
                let x = course(pair, stroke);
                let doubt = dot(&factor.solve(&x), &x);
                Some((measure.mean - centre - dot(trend, &x), doubt))
            })
        })
        .collect()
}

/// A middle of all figures, so that the free heights are held near nothing.
fn middle(pairs: &[Pair], sign: usize) -> f64 {
    let all: Vec<f64> = pairs
        .iter()
        .flat_map(|pair| [0, 1].into_iter().filter_map(|stroke| measure(pair, stroke, sign)))
        .map(|measure| measure.mean)
        .collect();
    super::robust::median(&all).unwrap_or(0.0)
}

/// The shape of a trend at a reed: Legendre's polynomials up to the third, and half the difference of the strokes.
fn course(pair: &Pair, stroke: usize) -> [f64; TREND] {
    let (x, sense) = match stroke {
        0 => (pair.along[0], 0.5),
        _ => (pair.along[1], -0.5),
    };
    [1.0, x, 1.5 * x * x - 0.5, 2.5 * x * x * x - 1.5 * x, sense, sense * x]
}
