//! Small symmetric systems: the triangular root and what is solved with it.

/// Lower triangular root of a symmetric positive matrix.
pub(super) struct Root(Vec<Vec<f64>>);

impl Root {
    /// `None` where the matrix is not positive.
    pub fn of(matrix: &[Vec<f64>]) -> Option<Self> {
        let n = matrix.len();
        let mut root = vec![vec![0.0; n]; n];
        for i in 0..n {
            for j in 0..=i {
                let sum: f64 = (0..j).map(|k| root[i][k] * root[j][k]).sum();
                let left = matrix[i][j] - sum;
                if i == j {
                    if left.is_nan() || left <= 0.0 {
                        return None;
                    }
                    root[i][i] = left.sqrt();
                } else {
                    root[i][j] = left / root[j][j];
                }
            }
        }
        Some(Self(root))
    }

    /// Solve root · x = right.
    pub fn forward(&self, right: &[f64]) -> Vec<f64> {
        let mut x: Vec<f64> = Vec::with_capacity(right.len());
        for (row, value) in self.0.iter().zip(right) {
            let sum: f64 = row.iter().zip(&x).map(|(a, b)| a * b).sum();
            x.push((value - sum) / row[x.len()]);
        }
        x
    }

    /// Solve matrix · x = right.
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let y = self.forward(right);
        let n = y.len();
        let mut x = vec![0.0; n];
        for i in (0..n).rev() {
            let sum: f64 = (i + 1..n).map(|k| self.0[k][i] * x[k]).sum();
            x[i] = (y[i] - sum) / self.0[i][i];
        }
        x
    }

    /// Half the logarithm of the determinant.
    pub fn half_log_determinant(&self) -> f64 {
        (0..self.0.len()).map(|i| self.0[i][i].ln()).sum()
    }
}
