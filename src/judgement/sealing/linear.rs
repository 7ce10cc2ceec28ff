//! Small dense systems: symmetric positive definite matrices of a dozen rows.

/// A square matrix by rows.
pub(super) type Matrix = Vec<Vec<f64>>;

/// The matrix of `n` rows of nothing.
pub(super) fn zeros(n: usize) -> Matrix {
    vec![vec![0.0; n]; n]
}

/// The inverse of a symmetric positive definite matrix by Cholesky's method; `None` where it is not definite.
pub(super) fn inverse(a: &Matrix) -> Option<Matrix> {
    inverse_and_log_determinant(a).map(|(inverse, _)| inverse)
}

/// The same with the logarithm of the determinant.
pub(super) fn inverse_and_log_determinant(a: &Matrix) -> Option<(Matrix, f64)> {
    let n = a.len();
    let mut low = zeros(n);
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| low[i][k] * low[j][k]).sum();
            let rest = a[i][j] - sum;
            if i == j {
                // Relative to the entry itself: columns may have any unit.
                if !(rest > 1e-13 * a[i][i].abs() && rest.is_finite()) {
                    return None;
                }
                low[i][i] = rest.sqrt();
            } else {
                low[i][j] = rest / low[j][j];
            }
        }
    }
    // Symmetric: its columns are its rows.
    let mut inverse = zeros(n);
    for (column, found) in inverse.iter_mut().enumerate() {
        let mut y = vec![0.0; n];
        for i in 0..n {
            let unit = if i == column { 1.0 } else { 0.0 };
            let sum: f64 = (0..i).map(|k| low[i][k] * y[k]).sum();
            y[i] = (unit - sum) / low[i][i];
        }
        for i in (0..n).rev() {
            let sum: f64 = (i + 1..n).map(|k| low[k][i] * found[k]).sum();
            found[i] = (y[i] - sum) / low[i][i];
        }
    }
    let log_determinant = (0..n).map(|i| 2.0 * low[i][i].ln()).sum();
    Some((inverse, log_determinant))
}

/// `x' A y`.
pub(super) fn form(a: &Matrix, x: &[f64], y: &[f64]) -> f64 {
    a.iter().zip(x).map(|(row, x)| x * row.iter().zip(y).map(|(a, y)| a * y).sum::<f64>()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The Hilbert matrix of three rows has an inverse of whole numbers (any textbook of numerical analysis).
    #[test]
    fn hilberts_matrix_is_inverted() {
        let hilbert: Matrix = (0..3).map(|i| (0..3).map(|j| 1.0 / f64::from(i + j + 1)).collect()).collect();
        let wanted = [[9.0, -36.0, 30.0], [-36.0, 192.0, -180.0], [30.0, -180.0, 180.0]];
        let found = inverse(&hilbert).expect("definite");
        for (row, wanted) in found.iter().zip(wanted) {
            for (a, b) in row.iter().zip(wanted) {
                assert!((a - b).abs() < 1e-9, "{found:?}");
            }
        }
        // 1/2160.
        let (_, log) = inverse_and_log_determinant(&hilbert).expect("definite");
        assert!((log + 2160f64.ln()).abs() < 1e-9, "{log}");
        assert_eq!(inverse(&vec![vec![1.0, 1.0], vec![1.0, 1.0]]), None);
        assert_eq!(form(&hilbert, &[1.0, 0.0, 0.0], &[0.0, 0.0, 1.0]), 1.0 / 3.0);
    }
}
