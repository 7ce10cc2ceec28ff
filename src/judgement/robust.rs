//! Robust statistics: what most of a block does, whatever a few reeds do.

/// The middle value; `None` of nothing. Values must not be NaN.
pub(crate) fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let upper = *sorted.get(sorted.len() / 2)?;
    if sorted.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = *sorted.get((sorted.len() / 2).checked_sub(1)?)?;
    Some(0.5 * (lower + upper))
}

/// Standard deviation as the median absolute deviation gives it for normal scatter; `None` of nothing.
pub(crate) fn robust_scatter(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    Some(NORMAL_PER_MAD * median(&distances)?)
}

/// The robust line through all points: slope and height at 0.
///
/// The slope is the median of the slopes of all pairs, the height the median of what that slope leaves. Points on one
/// abscissa only have no slope: it is 0.
///
/// Source: Theil 1950, Sen, J. Am. Stat. Assoc. 63, 1379 (1968) (from memory).
pub(crate) fn theil_sen(points: &[(f64, f64)]) -> (f64, f64) {
    let slopes: Vec<f64> = points
        .iter()
        .enumerate()
        .flat_map(|(index, (x0, y0))| {
            points
                .iter()
                .skip(index + 1)
                .filter(move |(x1, _)| x1 != x0)
                .map(move |(x1, y1)| (y1 - y0) / (x1 - x0))
        })
        .collect();
    let slope = median(&slopes).unwrap_or(0.0);
    let level: Vec<f64> = points.iter().map(|(x, y)| y - slope * x).collect();
    (slope, median(&level).unwrap_or(0.0))
}

/// What is left of each point when the robust line through all of them is taken off.
pub(crate) fn line_residuals(points: &[(f64, f64)]) -> Vec<f64> {
    let (slope, height) = theil_sen(points);
    points.iter().map(|(x, y)| (y - slope * x) - height).collect()
}

/// Mean square about 0 of values whose tails are drawn in to 2.5 times their scatter, as it is for normal scatter: nearly as
/// sharp as the plain mean square, and a few wild values hardly move it.
///
/// Source: Huber 1964 ("proposal 2", from memory), the mean of min(z², 6.25) of a normal z by integration.
pub(crate) fn winsorised_square(values: &[f64]) -> f64 {
    const OF_NORMAL: f64 = 0.977_560;
    let distances: Vec<f64> = values.iter().map(|value| value.abs()).collect();
    let mut scatter = NORMAL_PER_MAD * median(&distances).unwrap_or(0.0);
    for _ in 0..8 {
        let sum: f64 = distances.iter().map(|distance| distance.min(2.5 * scatter).powi(2)).sum();
        scatter = (sum / OF_NORMAL / distances.len().max(1) as f64).sqrt();
    }
    scatter * scatter
}

/// Standard deviation over median absolute deviation of the normal distribution, 1 / 0.674 490.
const NORMAL_PER_MAD: f64 = 1.482_602;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_is_the_middle_or_the_mean_of_the_two_in_the_middle() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]), Some(2.5));
    }

    #[test]
    fn a_line_is_found_whatever_lies_between_its_points() {
        for residual in line_residuals(&[(0.0, 1.0), (3.0, 7.0), (4.5, 10.0), (10.0, 21.0)]) {
            assert!(residual.abs() < 1e-12, "{residual}");
        }
    }

    /// The three slopes are 0, 1.5 and 3; their median is that from the first point to the last.
    #[test]
    fn every_pair_of_points_has_its_say_once() {
        assert_eq!(line_residuals(&[(0.0, 0.0), (1.0, 0.0), (2.0, 3.0)]), [0.0, -1.5, 0.0]);
    }

    #[test]
    fn a_third_of_wild_values_does_not_move_the_line() {
        let points: Vec<(f64, f64)> = (0..12)
            .map(|x| (f64::from(x), 2.0 * f64::from(x) + if x % 4 == 0 { 50.0 } else { 0.0 }))
            .collect();
        let left = line_residuals(&points);
        for ((x, _), residual) in points.iter().zip(left) {
            let wild = x % 4.0 == 0.0;
            assert_eq!(residual.abs() > 25.0, wild, "plate {x}: {residual}");
        }
    }

    /// Quantiles of the normal distribution at 13/24, 15/24 … 23/24 (any table of it); a wild one among them moves the figure little. Two of
    /// fourteen move it tenfold.
    #[test]
    fn the_mean_square_of_normal_quantiles_is_one_and_wild_values_hardly_move_it() {
        let normal = [0.104_63, 0.318_64, 0.548_52, 0.812_22, 1.150_35, 1.731_66];
        let values: Vec<f64> = normal.iter().flat_map(|value| [*value, -*value]).collect();
        let square = winsorised_square(&values);
        assert!((0.85..1.1).contains(&square), "{square}");
        let mut wild = values.clone();
        wild.push(1e6);
        assert!(winsorised_square(&wild) < 3.0 * square);
        assert_eq!(winsorised_square(&[]), 0.0);
    }

    /// The tabulated upper quartile of the normal distribution is 0.674 49 (any table of the normal distribution).
    #[test]
    fn scatter_of_normal_quantiles_is_one() {
        // Quantiles of the normal distribution at 1/8, 3/8, 5/8, 7/8 and, for the middle of the distances, ±0.674 49.
        let values =
            [-1.150_35, -0.674_49, -0.318_64, 0.318_64, 0.674_49, 1.150_35, 0.0, -0.674_49, 0.674_49];
        let scatter = robust_scatter(&values).unwrap_or(0.0);
        assert!((scatter - 1.0).abs() < 1e-4, "{scatter}");
    }
}
