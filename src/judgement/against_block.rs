//! Breath, start, level and pitch of a stroke against the plate's other stroke and the block's own trend.
//!
//! Nothing here knows an absolute limit. Each quantity is taken off its robust line over the notes, stroke by stroke;
//! the difference of a plate's two strokes is then free of the plate, the microphone and the note. It stands out when
//! it lies beyond the robust scatter of all plates by [`limit_factor`], and is charged to the stroke that itself lies
//! off its neighbours.

use std::collections::BTreeMap;

use super::SignKind;
use super::robust::{line_residuals, median, robust_scatter};
use crate::analysis::{Reading, Warning};
use crate::instrument::{PlatePlace, ReedPlace, Stroke};

/// Plates with both strokes measured, below which a block has no trend.
pub(crate) const COMPARISON_NEEDS_PLATES: usize = 8;
/// Plates on each side of a plate that make its neighbourhood.
const NEIGHBOURS: usize = 4;
/// Share of a difference that a stroke must carry itself to be charged in the direction of a common leak. A departure
/// that the other stroke carries to more than two thirds, in the reverse direction, is charged to that one.
const SHARE_IN_LEAK_DIRECTION: f64 = 1.0 / 3.0;
/// Share of its limit that a second sign must reach beside one that stands out (chosen with [`limit_factor`]).
const SECOND_SIGN: f64 = 0.8;

/// A sign of one stroke against the block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Departure {
    /// Which sign.
    pub kind: SignKind,
    /// How far from the comparison, in the direction of the sign: dB, natural logarithm of times, cents.
    pub by: f64,
    /// From where it stands out, same unit, above 0.
    pub limit: f64,
    /// Whether it is this stroke that departs and not the other one.
    pub charged: bool,
    /// Whether it reaches the limit and is this stroke's.
    pub stands_out: bool,
}

/// What the comparison of a block gives: the departures of each reed, and plates that depart on both strokes.
#[derive(Debug, Default)]
pub(crate) struct AgainstBlock {
    /// By reed, in the order of the signs.
    pub departures: BTreeMap<ReedPlace, Vec<Departure>>,
    /// Plates weak or slow on both strokes, by what is strange about them.
    pub both_strokes: Vec<(PlatePlace, SignKind)>,
}

/// One plate of the group that is compared, both strokes measured.
pub(crate) struct Compared<'a> {
    /// Which plate.
    pub place: PlatePlace,
    /// Note number of the press and the draw reed.
    pub notes: [f64; 2],
    /// Their readings.
    pub readings: [&'a Reading; 2],
    /// Deviation from the target, cents; `None` where the plate may lie in a wrong place.
    pub deviations: [Option<f64>; 2],
}

/// How many robust standard deviations a difference must lie off to stand out, for `n` plates.
///
/// The scatter of few plates is itself uncertain, so fewer plates need more. Chosen by simulation (`docs/method.md`):
/// with it, of healthy valves, fewer than 1 in 200 get two signs together and fewer than 1 in 50 get any.
pub(crate) fn limit_factor(n: usize) -> f64 {
    3.7 + 20.0 / n.max(1) as f64
}

/// Compare the plates of one group, a row or a block.
pub(crate) fn compare(plates: &[Compared]) -> AgainstBlock {
    let mut found = AgainstBlock::default();
    for quantity in &QUANTITIES {
        compare_one(plates, quantity, &mut found);
    }
    found.departures.values_mut().for_each(|of_reed| support(of_reed));
    found
}

/// Where one sign stands out already, a second one need not stand out as far.
fn support(of_reed: &mut [Departure]) {
    if of_reed.iter().any(|departure| departure.stands_out) {
        for departure in of_reed.iter_mut().filter(|departure| !departure.stands_out) {
            departure.limit *= SECOND_SIGN;
            departure.stands_out = departure.charged && departure.by.abs() >= departure.limit;
        }
    }
}

struct Quantity {
    kind: SignKind,
    /// +1 where a leak makes the quantity larger, -1 where smaller (unison partner).
    leak_direction: f64,
    /// Whether a common leak alone may depart in the reverse direction, too (flatter partner).
    reversible: bool,
    /// Scatter below which a block's evenness is luck, in the quantity's unit.
    least_scatter: f64,
    /// Whether the same departure on both strokes tells of the plate.
    tells_of_plate: bool,
    measure: fn(&Compared, usize) -> Option<f64>,
}

/// The least scatters are what playing the same reed twice by hand does not undercut (common practice, no source).
const QUANTITIES: [Quantity; 4] = [
    Quantity {
        kind: SignKind::Breath,
        leak_direction: 1.0,
        reversible: false,
        least_scatter: 1.0,
        tells_of_plate: false,
        measure: |plate, stroke| Some(plate.readings.get(stroke)?.breath.ok()?.get()),
    },
    Quantity {
        kind: SignKind::SlowStart,
        leak_direction: 1.0,
        reversible: true,
        least_scatter: 0.06,
        tells_of_plate: true,
        measure: |plate, stroke| {
            let onset = plate.readings.get(stroke)?.onset.ok()?.get();
            (onset > 0.0).then(|| onset.ln())
        },
    },
    Quantity {
        kind: SignKind::WeakTone,
        leak_direction: -1.0,
        reversible: true,
        least_scatter: 0.4,
        tells_of_plate: true,
        measure: |plate, stroke| {
            let reading = plate.readings.get(stroke)?;
            let clipped = reading.warnings.iter().any(|warning| matches!(warning, Warning::Clipped { .. }));
            (!clipped).then(|| reading.level.get())
        },
    },
    Quantity {
        kind: SignKind::PitchPull,
        leak_direction: -1.0,
        reversible: true,
        least_scatter: 0.2,
        tells_of_plate: false,
        measure: |plate, stroke| *plate.deviations.get(stroke)?,
    },
];

fn compare_one(plates: &[Compared], quantity: &Quantity, found: &mut AgainstBlock) {
    let both: Vec<(&Compared, [f64; 2])> = plates
        .iter()
        .filter_map(|plate| Some((plate, [(quantity.measure)(plate, 0)?, (quantity.measure)(plate, 1)?])))
        .collect();
    if both.len() < COMPARISON_NEEDS_PLATES {
        return;
    }
    let residuals = |stroke: usize| {
        let points: Vec<(f64, f64)> =
            both.iter().map(|(plate, values)| (at(&plate.notes, stroke), at(values, stroke))).collect();
        line_residuals(&points)
    };
    let (press, draw) = (residuals(0), residuals(1));
    let mut difference: Vec<f64> = press.iter().zip(&draw).map(|(p, d)| p - d).collect();
    let centre = median(&difference).unwrap_or(0.0);
    difference.iter_mut().for_each(|value| *value -= centre);
    let factor = limit_factor(both.len());
    let limit = factor * robust_scatter(&difference).unwrap_or(0.0).max(quantity.least_scatter);
    let (press, draw) = (off_neighbours(&press), off_neighbours(&draw));
    let own_limits = [&press, &draw]
        .map(|own| factor * robust_scatter(own).unwrap_or(0.0).max(2.0 * quantity.least_scatter));

    for (index, (plate, _)) in both.iter().enumerate() {
        let (by, own) = (at(&difference, index), [at(&press, index), at(&draw, index)]);
        for (stroke, sense) in Stroke::BOTH.into_iter().zip([1.0, -1.0]) {
            let departure =
                charge(quantity, sense * by, limit, if sense > 0.0 { own } else { [own[1], own[0]] });
            let place = ReedPlace { plate: plate.place.clone(), stroke };
            found.departures.entry(place).or_default().push(departure);
        }
        let both_off = own.iter().zip(own_limits).all(|(own, limit)| own * quantity.leak_direction >= limit);
        if quantity.tells_of_plate && both_off {
            found.both_strokes.push((plate.place.clone(), quantity.kind));
        }
    }
}

/// The departure of one stroke: `by` is its quantity less the other stroke's, `own` and the other stroke's distance
/// from their neighbours follow.
fn charge(quantity: &Quantity, by: f64, limit: f64, [own, other]: [f64; 2]) -> Departure {
    let towards_leak = by * quantity.leak_direction > 0.0;
    let apart = own - other;
    let share = if apart == 0.0 { 0.5 } else { own / apart };
    let charged = match (towards_leak, quantity.reversible) {
        (true, true) => share >= SHARE_IN_LEAK_DIRECTION,
        (true, false) => true,
        (false, true) => share > 1.0 - SHARE_IN_LEAK_DIRECTION,
        (false, false) => false,
    };
    // Weak tone counts what is missing, the others what is too much.
    let sense = if quantity.kind == SignKind::WeakTone { -1.0 } else { 1.0 };
    Departure {
        kind: quantity.kind,
        by: sense * by,
        limit,
        charged,
        stands_out: charged && by.abs() >= limit,
    }
}

/// Each value less the median of its neighbours along the row.
fn off_neighbours(values: &[f64]) -> Vec<f64> {
    (0..values.len())
        .map(|index| {
            let around: Vec<f64> = (index.saturating_sub(NEIGHBOURS)
                ..values.len().min(index + NEIGHBOURS + 1))
                .filter(|other| *other != index)
                .map(|other| at(values, other))
                .collect();
            at(values, index) - median(&around).unwrap_or(0.0)
        })
        .collect()
}

/// The value at `index`, which the caller has from the same list.
fn at(values: &[f64], index: usize) -> f64 {
    values.get(index).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::off_neighbours;

    #[test]
    fn a_reed_is_told_from_four_neighbours_on_each_side_or_from_the_four_that_the_end_of_the_row_leaves() {
        // In the middle of the row the median of 1, 1, 1, 1 and 5, 5, 5, 5 is 3; the fifth ones on each side do not count.
        let row = [90.0, 1.0, 1.0, 1.0, 1.0, 7.0, 5.0, 5.0, 5.0, 5.0, -90.0];
        assert_eq!(off_neighbours(&row).get(5), Some(&4.0));
        // At both ends the median of 2, 2, 6, 6 is 4.
        let row = [7.0, 2.0, 2.0, 6.0, 6.0, 90.0, 90.0, 6.0, 6.0, 2.0, 2.0, 7.0];
        let off = off_neighbours(&row);
        assert_eq!((off.first(), off.last()), (Some(&3.0), Some(&3.0)));
        assert_eq!(off_neighbours(&[7.0]), [7.0], "a reed without neighbours lies off nothing");
    }
}
