//! Plates put back in another plate's place, by their pitch.

use std::collections::{BTreeMap, BTreeSet};

use super::Swap;
use super::pitch::CommonOffset;
use crate::instrument::{Instrument, PlatePlace, ReedPlace, Stroke};
use crate::units::Measured;

/// A plate out of its place lies at least this far from its target on every stroke that was measured: more than
/// half a semitone, so that a badly tuned neighbour stays where it is.
const OUT_OF_PLACE_CENTS: f64 = 60.0;
/// A plate fits a place when every stroke lies this near to the target there. Together with the figure above:
/// plates that change places must each come nearer by at least 20 cents.
const FITS_CENTS: f64 = 40.0;
/// The same where only one plate speaks: its partner cannot confirm it.
const FITS_ALONE_CENTS: f64 = 30.0;

/// What was found of plates in the wrong place.
pub(crate) struct Placing {
    /// Swaps, sure ones first.
    pub swaps: Vec<Swap>,
    /// Other things about places, one sentence each.
    pub warnings: Vec<String>,
}

/// A plate that was measured: how far each stroke lies from the target of a place.
struct MeasuredPlate<'a> {
    place: PlatePlace,
    strokes: Vec<(Stroke, f64)>,
    instrument: &'a Instrument,
}

/// Look for plates of one block in each other's places.
///
/// `offsets` are taken off first, so that a reference pitch or a bench common to the block triggers nothing.
pub(crate) fn find(
    instrument: &Instrument,
    deviations: &BTreeMap<ReedPlace, Measured>,
    offsets: &BTreeMap<String, CommonOffset>,
) -> Placing {
    let mut placing = Placing { swaps: Vec::new(), warnings: Vec::new() };
    for block in &instrument.blocks {
        let offset = offsets.get(&block.name).map_or(0.0, |offset| offset.cents);
        let order: Vec<PlatePlace> = instrument
            .plates()
            .filter(|(_, of, _, _)| of.name == block.name)
            .map(|(place, ..)| place)
            .collect();
        let heard: Vec<MeasuredPlate> = order
            .iter()
            .filter_map(|place| MeasuredPlate::new(instrument, deviations, place, offset))
            .collect();
        find_in_block(&order, &heard, &mut placing);
    }
    placing.swaps.sort_by_key(|swap| !swap.sure);
    placing
}

/// Plates that seem to lie in another's place in one of the passes, with that pass's name. A swap that both passes show
/// changes nothing between them.
pub(super) fn astray(before: &super::Findings, after: &super::Findings) -> BTreeMap<PlatePlace, String> {
    let only_in = |here: &super::Findings, there: &super::Findings| -> Vec<(PlatePlace, String)> {
        let swaps = here.swaps.iter().filter(|swap| !there.swaps.contains(swap));
        swaps.flat_map(|swap| &swap.places).map(|place| (place.clone(), here.pass.clone())).collect()
    };
    only_in(before, after).into_iter().chain(only_in(after, before)).collect()
}

fn find_in_block(order: &[PlatePlace], heard: &[MeasuredPlate], placing: &mut Placing) {
    let mut astray: Vec<&MeasuredPlate> =
        heard.iter().filter(|plate| plate.misfit() >= OUT_OF_PLACE_CENTS).collect();
    astray.retain(|plate| {
        let crossed = plate.strokes_crossed();
        if crossed {
            placing.warnings.push(format!(
                "{}: each stroke sounds the other's note; the takes of press and draw may be interchanged, or the plate turned",
                plate.place
            ));
        }
        !crossed
    });
    let mut taken: BTreeSet<PlatePlace> = BTreeSet::new();
    for (_, a, b) in mutual_pairs(&astray) {
        if !taken.contains(&a) && !taken.contains(&b) {
            taken.extend([a.clone(), b.clone()]);
            placing.swaps.push(Swap { places: in_order(order, [a, b]), sure: true });
        }
    }
    while let Some(ring) = ring(&astray, &taken) {
        taken.extend(ring.iter().cloned());
        placing.swaps.push(Swap { places: in_order(order, ring), sure: true });
    }
    for plate in astray.iter().filter(|plate| !taken.contains(&plate.place)) {
        alone(order, heard, plate, placing);
    }
}

/// Pairs of astray plates that fit each other's place, best fit first.
fn mutual_pairs(astray: &[&MeasuredPlate]) -> Vec<(f64, PlatePlace, PlatePlace)> {
    let mut pairs: Vec<(f64, PlatePlace, PlatePlace)> = astray
        .iter()
        .enumerate()
        .flat_map(|(index, a)| astray.iter().skip(index + 1).map(move |b| (a, b)))
        .filter_map(|(a, b)| {
            let (there, back) = (a.distance_to(&b.place)?, b.distance_to(&a.place)?);
            (there.max(back) <= FITS_CENTS).then(|| (there + back, a.place.clone(), b.place.clone()))
        })
        .collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| (&a.1, &a.2).cmp(&(&b.1, &b.2))));
    pairs
}

/// Three or more astray plates, each of which fits best where the next one belongs.
fn ring(astray: &[&MeasuredPlate], taken: &BTreeSet<PlatePlace>) -> Option<Vec<PlatePlace>> {
    let free: Vec<&&MeasuredPlate> = astray.iter().filter(|plate| !taken.contains(&plate.place)).collect();
    let next = |plate: &MeasuredPlate| {
        free.iter()
            .filter(|other| other.place != plate.place)
            .filter_map(|other| Some((plate.distance_to(&other.place)?, **other)))
            .filter(|(distance, _)| *distance <= FITS_CENTS)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, other)| other)
    };
    free.iter().find_map(|start| {
        let mut way = vec![start.place.clone()];
        let mut at = next(start)?;
        while at.place != start.place {
            if way.contains(&at.place) {
                return None;
            }
            way.push(at.place.clone());
            at = next(at)?;
        }
        (way.len() >= 3).then_some(way)
    })
}

/// A plate that no other confirms: name the place it fits, unless that place's own plate is in it.
fn alone(order: &[PlatePlace], heard: &[MeasuredPlate], plate: &MeasuredPlate, placing: &mut Placing) {
    let fit = |place: &PlatePlace| plate.distance_to(place).filter(|distance| *distance <= FITS_ALONE_CENTS);
    let in_place = |place: &PlatePlace| {
        heard.iter().any(|other| other.place == *place && other.misfit() < OUT_OF_PLACE_CENTS)
    };
    let best = order
        .iter()
        .filter(|place| **place != plate.place)
        .filter_map(|place| Some((in_place(place), fit(place)?, place)))
        .min_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    match best {
        Some((false, _, place)) => {
            let swap = Swap { places: in_order(order, [plate.place.clone(), place.clone()]), sure: false };
            if !placing.swaps.contains(&swap) {
                placing.swaps.push(swap);
            }
        }
        Some((true, _, place)) => placing.warnings.push(format!(
            "{} sounds the note of {place}, which is in its place; the take may be filed under the wrong plate",
            plate.place
        )),
        None => {}
    }
}

impl<'a> MeasuredPlate<'a> {
    fn new(
        instrument: &'a Instrument,
        deviations: &BTreeMap<ReedPlace, Measured>,
        place: &PlatePlace,
        offset: f64,
    ) -> Option<Self> {
        let strokes: Vec<(Stroke, f64)> = Stroke::BOTH
            .into_iter()
            .filter_map(|stroke| {
                let deviation = deviations.get(&ReedPlace { plate: place.clone(), stroke })?;
                Some((stroke, deviation.value.get() - offset))
            })
            .collect();
        (!strokes.is_empty()).then(|| MeasuredPlate { place: place.clone(), strokes, instrument })
    }

    /// The smaller of the two strokes' distances from their own target, cents.
    fn misfit(&self) -> f64 {
        self.strokes.iter().map(|(_, deviation)| deviation.abs()).fold(f64::INFINITY, f64::min)
    }

    /// The larger of the strokes' distances from the targets at `place`, cents; `None` where a stroke has no reed there.
    fn distance_to(&self, place: &PlatePlace) -> Option<f64> {
        self.strokes.iter().try_fold(0.0, |worst: f64, (stroke, deviation)| {
            Some(worst.max((deviation - self.step(place, *stroke, *stroke)?).abs()))
        })
    }

    /// Whether each stroke sounds the note of the other one.
    fn strokes_crossed(&self) -> bool {
        self.strokes.len() == 2
            && self.strokes.iter().all(|(stroke, deviation)| {
                self.step(&self.place, *stroke, stroke.other())
                    .is_some_and(|step| (deviation - step).abs() <= FITS_CENTS)
            })
    }

    /// How far the target at `there` and `to` lies above this plate's own target on `from`, cents.
    fn step(&self, there: &PlatePlace, from: Stroke, to: Stroke) -> Option<f64> {
        let own = self.instrument.target(&ReedPlace { plate: self.place.clone(), stroke: from })?;
        let other = self.instrument.target(&ReedPlace { plate: there.clone(), stroke: to })?;
        Some(other.cents_above(own).get())
    }
}

fn in_order(order: &[PlatePlace], places: impl IntoIterator<Item = PlatePlace>) -> Vec<PlatePlace> {
    let mut places: Vec<PlatePlace> = places.into_iter().collect();
    places.sort_by_key(|place| order.iter().position(|other| other == place));
    places
}
