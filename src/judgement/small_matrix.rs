//! Small symmetric systems of equations, solved by Cholesky's method.

/// The factor of a positive definite matrix.
pub(crate) struct Factor {
    rows: Vec<Vec<f64>>,
}

impl Factor {
    /// Of the symmetric matrix `rows`; `None` where it is not positive definite.
    pub(crate) fn of(rows: &[Vec<f64>]) -> Option<Self> {
        let mut factor: Vec<Vec<f64>> = Vec::with_capacity(rows.len());
        for (i, row) in rows.iter().enumerate() {
            let mut line: Vec<f64> = Vec::with_capacity(i + 1);
            for (j, value) in row.iter().enumerate().take(i + 1) {
                let done: f64 = match factor.get(j) {
                    Some(other) => line.iter().zip(other).map(|(a, b)| a * b).sum(),
                    None => line.iter().map(|a| a * a).sum(),
                };
                let left = value - done;
                match factor.get(j).and_then(|other| other.last()) {
                    Some(diagonal) => line.push(left / diagonal),
                    None if left > 0.0 && left.is_finite() => line.push(left.sqrt()),
                    None => return None,
                }
            }
            factor.push(line);
        }
        Some(Self { rows: factor })
    }

    /// What the matrix turns into `right`.
    pub(crate) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let mut solved: Vec<f64> = Vec::with_capacity(right.len());
        for (row, value) in self.rows.iter().zip(right) {
            let done: f64 = row.iter().zip(&solved).map(|(a, b)| a * b).sum();
            solved.push((value - done) / row.last().copied().unwrap_or(1.0));
        }
        for i in (0..solved.len()).rev() {
            let below: f64 = (i + 1..solved.len()).map(|j| self.at(j, i) * at(&solved, j)).sum();
            if let Some(value) = solved.get_mut(i) {
                *value = (*value - below) / self.at(i, i);
            }
        }
        solved
    }

    fn at(&self, row: usize, column: usize) -> f64 {
        self.rows.get(row).map_or(0.0, |line| at(line, column))
    }
}

fn at(values: &[f64], index: usize) -> f64 {
    values.get(index).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::Factor;

    #[test]
    fn a_system_of_three_is_solved() {
        let rows = [vec![4.0, 2.0, 0.6], vec![2.0, 5.0, 1.0], vec![0.6, 1.0, 3.0]];
        let wanted = [1.0, -2.0, 0.5];
        let right: Vec<f64> =
            rows.iter().map(|row| row.iter().zip(&wanted).map(|(a, b)| a * b).sum()).collect();
        let solved = Factor::of(&rows).map(|factor| factor.solve(&right)).unwrap_or_default();
        assert!(solved.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-12), "{solved:?}");
        assert!(Factor::of(&[vec![1.0, 2.0], vec![2.0, 1.0]]).is_none());
    }
}
