//! The curves of a set of swells at equal level, fitted together: what all plays share, and what sealed plays have besides.

use super::linear::{Matrix, inverse, zeros};
use super::{Seal, SealSet};
use crate::analysis::{COMPARED_PARTIALS, Play, PlayFrame};

/// Level is counted in steps of this much, dB, from the middle of the common span.
const STEP_DB: f64 = 6.0;
/// Rates of change in steps of this much, dB/s.
const RATE_STEP_DB_S: f64 = 10.0;
/// From this span on the shared curve has one order more, dB.
const WIDE_SPAN_DB: f64 = 12.0;
const ORDERS: (usize, usize) = (3, 4);
/// Frames this far outside the common span still help the shared curve, dB.
const BESIDE_DB: f64 = 0.5;
/// A partial is compared where this share of the frames has it.
const PRESENT_SHARE: f64 = 0.8;
/// How much open plays differ among themselves in pitch, cents at 110 Hz and above, and in a partial's level, dB.
pub(super) const PLAY_CENTS: f64 = 0.1;
pub(super) const PLAY_DB: f64 = 0.35;
/// The memory of the residuals from frame to frame is never taken for more, and never for less: frames overlap by half.
const MEMORY: (f64, f64) = (0.4, 0.95);
/// What the fit with the rate of change leaves of its effect, a share.
const RATE_LEFT: f64 = 0.2;

/// Which of a play's figures a curve is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Figure {
    /// Pitch, cents.
    Pitch,
    /// Level of a partial re the whole, dB; the number.
    Partial(usize),
}

/// One fitted curve: sealed less open as `d0 + d1 x`, x in steps of 6 dB from the middle of the span.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    pub figure: Figure,
    /// d0 and d1.
    pub difference: [f64; 2],
    /// Their covariance from the fit.
    pub covariance: [[f64; 2]; 2],
    /// Slope of the shared curve in the middle, per dB, and how much that changes in a step.
    pub slope: [f64; 2],
}

/// The span of level all plays share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    pub low_db: f64,
    pub high_db: f64,
}

impl Span {
    /// From the plays' quantiles of level at 5 and 95 %.
    pub fn common<'a>(plays: impl Iterator<Item = &'a Play>) -> Self {
        plays.fold(Self { low_db: f64::MIN, high_db: f64::MAX }, |span, play| Self {
            low_db: span.low_db.max(play.level_at(0.05)),
            high_db: span.high_db.min(play.level_at(0.95)),
        })
    }

    pub fn width_db(self) -> f64 {
        self.high_db - self.low_db
    }
}

/// A frame with what is to be told apart: +½ for one side, −½ for the other, and a place among the open plays.
struct Row<'a> {
    frame: &'a PlayFrame,
    side: f64,
    among_open: f64,
    play: usize,
}

/// Fit all figures of the set's plays.
///
/// - `side`: +½ for sealed, −½ for open plays; or the sides of two open plays to be held against each other.
/// - `with_open_drift`: whether open plays may differ among themselves, from the first to the last.
pub(super) fn fit(plays: &[(&Play, f64)], pitch_hz: f64, span: Span, with_open_drift: bool) -> Vec<Curve> {
    let middle = 0.5 * (span.low_db + span.high_db);
    let n_open = plays.iter().filter(|(_, side)| *side < 0.0).count();
    let mut open = 0;
    let mut rows = Vec::new();
    for (idx, (play, side)) in plays.iter().enumerate() {
        let among_open = if *side < 0.0 && n_open > 1 && with_open_drift {
            open += 1;
            (open - 1) as f64 / (n_open - 1) as f64 - 0.5
        } else {
            0.0
        };
        let inside = play
            .frames
            .iter()
            .filter(|frame| (span.low_db - BESIDE_DB..=span.high_db + BESIDE_DB).contains(&frame.level_db));
        rows.extend(inside.map(|frame| Row { frame, side: *side, among_open, play: idx }));
    }
    let order = if span.width_db() >= WIDE_SPAN_DB { ORDERS.1 } else { ORDERS.0 };
    let figures = std::iter::once(Figure::Pitch).chain((1..=COMPARED_PARTIALS).map(Figure::Partial));
    figures.filter_map(|figure| curve(figure, &rows, plays.len(), pitch_hz, middle, order)).collect()
}

fn curve(
    figure: Figure,
    rows: &[Row],
    n_plays: usize,
    pitch_hz: f64,
    middle_db: f64,
    order: usize,
) -> Option<Curve> {
    let value = |frame: &PlayFrame| match figure {
        Figure::Pitch => Some(1200.0 * (frame.pitch_hz / pitch_hz).log2()),
        Figure::Partial(number) => frame.partials_db[number - 1],
    };
    let mut present = vec![(0, 0); n_plays];
    for row in rows {
        present[row.play].1 += 1;
        present[row.play].0 += usize::from(value(row.frame).is_some());
    }
    if present.iter().any(|(there, all)| (*there as f64) < PRESENT_SHARE * f64::from(*all) || *there < 6) {
        return None;
    }
    let drifts = rows.iter().any(|row| row.among_open != 0.0);
    let n_shared = order + 1 + 3;
    let n = n_shared + 2 + if drifts { 2 } else { 0 };
    let columns = |row: &Row| -> Vec<f64> {
        let x = (row.frame.level_db - middle_db) / STEP_DB;
        let r = row.frame.rate_db_s / RATE_STEP_DB_S;
        let mut columns: Vec<f64> = (0..=order).map(|power| x.powi(power as i32)).collect();
        columns.extend([r, r * x, r * r, row.side, row.side * x]);
        if drifts {
            columns.extend([row.among_open, row.among_open * x]);
        }
        columns
    };
    let points: Vec<(usize, Vec<f64>, f64)> =
        rows.iter().filter_map(|row| Some((row.play, columns(row), value(row.frame)?))).collect();
    let prior = if figure == Figure::Pitch { pitch_spread_cents(pitch_hz) } else { PLAY_DB };
    // First without knowing the residuals, then with what they say of the drift's prior.
    let mut noise = prior * prior;
    let mut fitted = None;
    for _ in 0..2 {
        let mut normal: Matrix = zeros(n);
        let mut right = vec![0.0; n];
        for (_, columns, y) in &points {
            for i in 0..n {
                right[i] += columns[i] * y;
                for j in 0..n {
                    normal[i][j] += columns[i] * columns[j];
                }
            }
        }
        for (i, row) in normal.iter_mut().enumerate() {
            // The prior of the open plays' drift; and enough that rounding leaves the matrix definite.
            row[i] += if i >= n_shared + 2 { noise / (prior * prior) } else { 0.0 };
            row[i] *= 1.0 + 1e-10;
        }
        let inverse = inverse(&normal)?;
        let fit: Vec<f64> =
            inverse.iter().map(|row| row.iter().zip(&right).map(|(a, b)| a * b).sum()).collect();
        let left: Vec<(usize, f64)> = points
            .iter()
            .map(|(play, columns, y)| (*play, y - columns.iter().zip(&fit).map(|(a, b)| a * b).sum::<f64>()))
            .collect();
        noise = inflated_noise(&left, n);
        fitted = Some((fit, inverse));
    }
    let (fit, inverse) = fitted?;
    let (a, b) = (n_shared, n_shared + 1);
    let mut covariance =
        [[noise * inverse[a][a], noise * inverse[a][b]], [noise * inverse[b][a], noise * inverse[b][b]]];
    // Rise and fall differ by more than a straight term of the rate says, and plays rise and fall unequally.
    let r2 = points.iter().map(|(_, c, _)| c[order + 1].powi(2)).sum::<f64>() / points.len() as f64;
    let memory = RATE_LEFT * fit[order + 1] * r2.sqrt();
    covariance[0][0] += memory * memory;
    Some(Curve {
        figure,
        difference: [fit[a], fit[b]],
        covariance,
        slope: [fit[1] / STEP_DB, 2.0 * fit[2] / STEP_DB],
    })
}

/// How far the pitch of one play lies from another's at equal level, cents: a low tongue remembers more.
pub(super) fn pitch_spread_cents(pitch_hz: f64) -> f64 {
    PLAY_CENTS * (110.0 / pitch_hz).max(1.0)
}

/// Variance of the residuals, so large that frames may be counted as if they were independent.
fn inflated_noise(left: &[(usize, f64)], n_columns: usize) -> f64 {
    let squares: f64 = left.iter().map(|(_, value)| value * value).sum();
    let pairs = left.windows(2).filter(|pair| pair[0].0 == pair[1].0);
    let memory = pairs.map(|pair| pair[0].1 * pair[1].1).sum::<f64>() / squares.max(1e-30);
    let memory = memory.clamp(MEMORY.0, MEMORY.1);
    let freedom = left.len().saturating_sub(n_columns).max(1) as f64;
    squares / freedom * (1.0 + memory) / (1.0 - memory)
}

/// The plays of a set with their sides.
pub(super) fn sides(set: &SealSet) -> Vec<(&Play, f64)> {
    set.plays
        .iter()
        .filter_map(|play| {
            let side = if play.seal == Seal::Sealed { 0.5 } else { -0.5 };
            Some((play.sound.as_ref().ok()?, side))
        })
        .collect()
}
