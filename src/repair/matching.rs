//! The cheapest assignment of pieces to needs (Kuhn and Munkres, by shortest augmenting paths).

use std::ops::{Add, Sub};

/// What an assignment costs, compared from the first field on: ordered, added and taken off like one number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Cost {
    /// New valves to be cut.
    pub cuts: i64,
    /// Trimming, micrometres.
    pub trimming: i64,
    /// Condition, worse is more, weighed by the length of the valve it goes to.
    pub condition: i64,
}

impl Add for Cost {
    type Output = Cost;
    fn add(self, other: Cost) -> Cost {
        Cost {
            cuts: self.cuts + other.cuts,
            trimming: self.trimming + other.trimming,
            condition: self.condition + other.condition,
        }
    }
}

impl Sub for Cost {
    type Output = Cost;
    fn sub(self, other: Cost) -> Cost {
        Cost {
            cuts: self.cuts - other.cuts,
            trimming: self.trimming - other.trimming,
            condition: self.condition - other.condition,
        }
    }
}

/// For each row a column of its own, so that the costs add up to the least possible.
///
/// - `costs`: shape `[n_rows][n_columns]`, `n_columns >= n_rows`; every cost within a billionth of `i64`'s range.
/// - Returns the column of each row; empty when the shape is not as said.
///
/// Source: H. W. Kuhn, Naval Research Logistics Quarterly 2, 1955; J. Munkres, J. SIAM 5, 1957 (from memory); the
/// form with potentials and one augmenting path for each row is textbook. Costs need only an order and a sum that
/// keeps it, which triples compared from the front have.
pub fn assign(costs: &[Vec<Cost>]) -> Vec<usize> {
    let n_columns = costs.first().map_or(0, Vec::len);
    if n_columns < costs.len() || costs.iter().any(|row| row.len() != n_columns) {
        return Vec::new();
    }
    // Column 0 stands for "no column yet"; rows and columns count from 1 here.
    let mut row_price = vec![Cost::default(); costs.len() + 1];
    let mut column_price = vec![Cost::default(); n_columns + 1];
    let mut row_of = vec![0_usize; n_columns + 1];
    for row in 1..=costs.len() {
        row_of[0] = row;
        let mut column = 0;
        let mut nearest: Vec<Option<Cost>> = vec![None; n_columns + 1];
        let mut came_from = vec![0_usize; n_columns + 1];
        let mut reached = vec![false; n_columns + 1];
        while row_of[column] != 0 {
            reached[column] = true;
            let at = row_of[column];
            let mut step: Option<(Cost, usize)> = None;
            for next in (1..=n_columns).filter(|&next| !reached[next]) {
                let slack = costs[at - 1][next - 1] - row_price[at] - column_price[next];
                let best = match nearest[next] {
                    Some(known) if known <= slack => known,
                    _ => {
                        nearest[next] = Some(slack);
                        came_from[next] = column;
                        slack
                    }
                };
                if step.is_none_or(|(least, _)| best < least) {
                    step = Some((best, next));
                }
            }
            // There are at least as many columns as rows, so one is always left to be reached.
            let Some((least, next)) = step else { return Vec::new() };
            for other in 0..=n_columns {
                if reached[other] {
                    row_price[row_of[other]] = row_price[row_of[other]] + least;
                    column_price[other] = column_price[other] - least;
                } else if let Some(known) = nearest[other] {
                    nearest[other] = Some(known - least);
                }
            }
            column = next;
        }
        while column != 0 {
            let before = came_from[column];
            row_of[column] = row_of[before];
            column = before;
        }
    }
    let mut assigned = vec![0; costs.len()];
    for (column, &row) in row_of.iter().enumerate().skip(1) {
        if row != 0 {
            assigned[row - 1] = column - 1;
        }
    }
    assigned
}
