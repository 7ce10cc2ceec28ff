//! Level, start, hiss, pitch and ring of each reed against its row, its plate's other reed and the block's scatter.
//!
//! Nothing here knows an absolute limit: [`scatter`](super::scatter) estimates what the block shares and how far it
//! scatters, for all its rows together.

use std::collections::BTreeMap;

use super::pass::PassReadings;
use super::scatter::{
    self, Estimate, HISS, LEVEL, Measure, PITCH, Pair, RING, Residual, SIGNS, START, Signs,
};
use super::{Sign, SignKind, Swap};
use crate::analysis::{Reading, Tail, Warning};
use crate::instrument::{Block, Instrument, PlatePlace, ReedPlace, Stroke};
use crate::units::Measured;

/// Plates with both strokes measured, below which a block has nothing to compare with.
pub(crate) const COMPARISON_NEEDS_PLATES: usize = 4;
/// Rows with fewer are put together, along their notes.
const ROW_NEEDS_PLATES: usize = 5;
/// Standard deviations from which one sign stands out: 1 of 160 on a tight plate, in one direction.
const STANDS_OUT_FROM: f64 = 2.5;
/// And from which both strokes of a plate are off together.
const BOTH_OFF_FROM: f64 = 2.5;
/// A partner flatter by this much, cents, may turn the signs of a leak about (two-reed model: 20 to 100 cents).
const FLATTER_PARTNER_CENTS: std::ops::Range<f64> = 15.0..130.0;
/// Figures beyond this are no measurement.
const ABSURD: f64 = 1e4;

/// What the comparison of a block gives.
#[derive(Debug, Default)]
pub(crate) struct AgainstBlock {
    /// By reed.
    pub reeds: BTreeMap<ReedPlace, Estimate>,
    /// Plates weak or slow on both strokes, by what is strange about them.
    pub both_strokes: Vec<(PlatePlace, SignKind)>,
}

/// Compare every block of `pass` with itself.
pub(crate) fn compare(
    instrument: &Instrument,
    pass: &PassReadings,
    deviations: &BTreeMap<ReedPlace, Measured>,
    swaps: &[Swap],
) -> AgainstBlock {
    let measure = |place: &ReedPlace| signs(pass, place, deviations, swaps);
    let mut found = AgainstBlock::default();
    for block in &instrument.blocks {
        let (places, pairs) = pairs(instrument, block, &measure, deviations);
        for (place, estimates) in places.iter().zip(scatter::estimate(&pairs, false)) {
            let off = |sign: usize, direction: f64| {
                estimates.iter().all(|estimate| {
                    let residual = estimate.and_then(|one| one.residuals.get(sign).copied().flatten());
                    residual.is_some_and(|one| direction * one.off_trend >= BOTH_OFF_FROM * one.off_trend_sd)
                })
            };
            for (sign, direction, kind) in
                [(START, 1.0, SignKind::SlowStart), (LEVEL, -1.0, SignKind::WeakTone)]
            {
                if off(sign, direction) {
                    found.both_strokes.push((place.clone(), kind));
                }
            }
            for (stroke, estimate) in Stroke::BOTH.into_iter().zip(estimates) {
                if let Some(estimate) = estimate {
                    found.reeds.insert(ReedPlace { plate: place.clone(), stroke }, estimate);
                }
            }
        }
    }
    found
}

/// A plate, the notes of its reeds, and what was measured of them.
type PlateSigns = (PlatePlace, [f64; 2], [Option<Signs>; 2]);

/// The plates of a block for [`scatter::estimate`]; none where there are too few to compare.
pub(crate) fn pairs(
    instrument: &Instrument,
    block: &Block,
    measure: &dyn Fn(&ReedPlace) -> Option<Signs>,
    deviations: &BTreeMap<ReedPlace, Measured>,
) -> (Vec<PlatePlace>, Vec<Pair>) {
    let rows: Vec<Vec<PlateSigns>> = block
        .rows
        .iter()
        .map(|row| {
            (1..)
                .zip(&row.plates)
                .filter_map(|(number, plate)| {
                    let place = PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
                    let reeds =
                        Stroke::BOTH.map(|stroke| measure(&ReedPlace { plate: place.clone(), stroke }));
                    let note = |stroke| Some(f64::from((*plate.reeds.on(stroke))?.note.number()));
                    let notes = [note(Stroke::Press), note(Stroke::Draw)];
                    let either = notes[0].or(notes[1])?;
                    let notes = notes.map(|note| note.unwrap_or(either));
                    reeds.iter().any(Option::is_some).then_some((place, notes, reeds))
                })
                .collect()
        })
        .collect();
    let (long, short): (Vec<_>, Vec<_>) = rows.into_iter().partition(|row| row.len() >= ROW_NEEDS_PLATES);
    let groups: Vec<Vec<_>> = long.into_iter().chain([short.into_iter().flatten().collect()]).collect();
    let (mut places, mut pairs) = (Vec::new(), Vec::new());
    for (row, group) in groups.into_iter().filter(|group: &Vec<_>| !group.is_empty()).enumerate() {
        let notes = || group.iter().flat_map(|(_, notes, _)| *notes);
        let (low, high) = (notes().fold(f64::MAX, f64::min), notes().fold(f64::MIN, f64::max));
        for (place, notes, reeds) in group {
            let flatter = |stroke: Stroke| flatter_partner(instrument, &place, stroke, deviations);
            pairs.push(Pair {
                row,
                along: notes.map(|note| 2.0 * (note - low) / (high - low).max(1.0) - 1.0),
                reeds,
                flatter_partner: Stroke::BOTH.map(flatter),
            });
            places.push(place);
        }
    }
    let whole = pairs.iter().filter(|pair| {
        pair.reeds.iter().all(|reed| reed.is_some_and(|signs| signs.get(LEVEL).is_some_and(Option::is_some)))
    });
    if whole.count() < COMPARISON_NEEDS_PLATES { (Vec::new(), Vec::new()) } else { (places, pairs) }
}

fn flatter_partner(
    instrument: &Instrument,
    plate: &PlatePlace,
    stroke: Stroke,
    deviations: &BTreeMap<ReedPlace, Measured>,
) -> bool {
    let cents = |stroke| {
        let place = ReedPlace { plate: plate.clone(), stroke };
        let above = instrument.target(&place)?.get().log2() * 1200.0;
        Some(above + deviations.get(&place)?.value.get())
    };
    cents(stroke)
        .zip(cents(stroke.other()))
        .is_some_and(|(own, other)| FLATTER_PARTNER_CENTS.contains(&(own - other)))
}

/// The figures of a reed over all its good takes.
pub(crate) fn signs(
    pass: &PassReadings,
    place: &ReedPlace,
    deviations: &BTreeMap<ReedPlace, Measured>,
    swaps: &[Swap],
) -> Option<Signs> {
    let speaks = pass.readings.get(place)?.as_ref().ok()?;
    let astray = swaps.iter().any(|swap| swap.places.contains(&place.plate));
    let deviation = deviations.get(place).filter(|_| !astray);
    let target = deviation.map(|deviation| speaks.f0.get().log2() * 1200.0 - deviation.value.get());
    let all = || pass.takes(place);
    let figure = |sign: usize, reading: &Reading| -> Option<f64> {
        let loudness = || {
            let clipped = reading.warnings.iter().any(|warning| matches!(warning, Warning::Clipped { .. }));
            (!clipped).then(|| reading.level.get())
        };
        match sign {
            LEVEL => loudness(),
            START => reading.onset.ok().map(|onset| onset.get()).filter(|time| *time > 0.0).map(f64::ln),
            // What hisses, not what hisses against the tone: a weaker tone must not count twice.
            HISS => Some(reading.breath.ok()?.get() + loudness()?),
            PITCH => Some(reading.f0.get().log2() * 1200.0 - target?),
            RING => match reading.tail {
                Tail::Heard { level, .. } => Some(level.get()),
                Tail::Quiet { limit, .. } => Some(limit.get()),
                Tail::NotMeasured(_) => None,
            },
            _ => None,
        }
        .filter(|value| value.abs() < ABSURD)
    };
    let mut signs: Signs = [None; SIGNS];
    for (sign, measured) in signs.iter_mut().enumerate() {
        let values: Vec<f64> = all().filter_map(|reading| figure(sign, reading)).collect();
        if values.is_empty() {
            continue;
        }
        let takes = values.len() as f64;
        let mean = values.iter().sum::<f64>() / takes;
        let within = values.iter().map(|value| (value - mean).powi(2)).sum();
        *measured = Some(Measure { mean, takes, within });
    }
    Some(signs)
}

/// The signs of a reed as the restorer reads them: times instead of a logarithm, the limit on the figure's own side.
pub(crate) fn as_signs(estimate: &Estimate) -> Vec<Sign> {
    let residual = |sign: usize| estimate.residuals.get(sign).copied().flatten();
    let both_ways = estimate.gain.is_some();
    // The direction of a leak, and of the figure that is shown.
    [
        (HISS, SignKind::Breath, 1.0, 1.0),
        (START, SignKind::SlowStart, 1.0, 1.0),
        (LEVEL, SignKind::WeakTone, -1.0, -1.0),
        (PITCH, SignKind::PitchPull, -1.0, 1.0),
    ]
    .into_iter()
    .filter_map(|(sign, kind, leak, shown)| {
        let Residual { by, sd, .. } = residual(sign)?;
        let limit = STANDS_OUT_FROM * sd;
        let stands_out = by.abs() >= limit && (by * leak > 0.0 || both_ways);
        let value = shown * by;
        let limit = limit.copysign(value);
        let (value, limit) =
            if kind == SignKind::SlowStart { (value.exp(), limit.exp()) } else { (value, limit) };
        Some(Sign { kind, value: Some(value), limit, stands_out })
    })
    .collect()
}
