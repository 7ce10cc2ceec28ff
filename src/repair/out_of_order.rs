//! Work that was done before what it rests on: what can no longer be found out because of it. Said, never forced.
//!
//! Source of the order: common practice, no source.

use super::bench::faces_of;
use super::standing::{ReedStanding, Standing, ValveStanding, ValveVerdict};
use super::work::Work;
use crate::instrument::{Bellows, Instrument, PlatePlace, ReedPlace, Spot, Stroke};

/// Two reeds of a plate this near each other hide a leak from ear and microphone, cents (docs/method.md).
const HIDES_WITHIN_CENTS: f64 = 1.0;

/// What cannot be found out any more at these places, and what helps instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutOfOrder {
    /// Where: plates, reeds or valves.
    pub places: Vec<String>,
    /// What was done too early, and what it hides.
    pub what: String,
    /// What tells it all the same, as far as anything does.
    pub instead: String,
}

/// Everything that was done out of order, by the standing.
pub fn out_of_order(instrument: &Instrument, standing: &Standing) -> Vec<OutOfOrder> {
    let tuned_unmeasured = reeds(standing, is_worked_before_measured);
    let changed_unheard = valves(standing, is_changed_before_heard);
    let hidden: Vec<String> = if instrument.bellows == Bellows::Unisonoric {
        let plates = instrument.plates().map(|(place, ..)| place);
        plates.filter(|plate| is_hidden(standing, plate)).map(|plate| plate.to_string()).collect()
    } else {
        Vec::new()
    };
    let told = [
        (
            hidden,
            "its reeds agree within a cent, and a valve was not heard before: a leak can no longer be heard from a take",
            "a sealing test (`seal`) tells; or set one reed a few cents off, listen, and tune it back",
        ),
        (
            changed_unheard,
            "changed before it was ever heard: whether the old valve leaked can no longer be found out",
            "the new one is listened to as any other",
        ),
        (
            tuned_unmeasured,
            "worked on before it was measured: how it was found can no longer be told",
            "what is measured from now on is how it was left",
        ),
    ];
    let told = told.into_iter().filter(|(places, ..)| !places.is_empty());
    told.map(|(places, what, instead)| OutOfOrder {
        places,
        what: what.to_owned(),
        instead: instead.to_owned(),
    })
    .collect()
}

fn reeds(standing: &Standing, wanted: impl Fn(&ReedStanding) -> bool) -> Vec<String> {
    standing.reeds.iter().filter(|reed| wanted(reed)).map(|reed| reed.place.to_string()).collect()
}

fn valves(standing: &Standing, wanted: impl Fn(&ValveStanding) -> bool) -> Vec<String> {
    standing.valves.iter().filter(|valve| wanted(valve)).map(|valve| valve.place.to_string()).collect()
}

fn is_worked_before_measured(reed: &ReedStanding) -> bool {
    let Some(worked) = &reed.first_worked else { return false };
    reed.heard.first().is_none_or(|heard| heard.at > worked.at)
}

fn is_changed_before_heard(valve: &ValveStanding) -> bool {
    let Some(changed) = &valve.first_changed else { return false };
    valve.heard().next().is_none_or(|heard| heard.at > changed.at)
}

/// Whether the plate's reeds agree so well that a leak hides, while a valve of it is not known.
fn is_hidden(standing: &Standing, plate: &PlatePlace) -> bool {
    let deviation = |stroke: Stroke| {
        let reed =
            standing.reeds.iter().find(|reed| reed.place.plate == *plate && reed.place.stroke == stroke)?;
        Some(reed.evidence.as_ref()?.pitch.deviation.value.get())
    };
    let (Some(press), Some(draw)) = (deviation(Stroke::Press), deviation(Stroke::Draw)) else { return false };
    let is_unknown = |valve: &ValveStanding| {
        matches!(valve.state, ValveVerdict::NotJudged | ValveVerdict::Changed) && valve.place.plate == *plate
    };
    (press - draw).abs() <= HIDES_WITHIN_CENTS && standing.valves.iter().any(is_unknown)
}

/// The reeds that work at these places concerns: those whose tongue it is, or that test the valve.
pub fn reeds_of_work(instrument: &Instrument, spots: &[Spot], work: &Work) -> Vec<ReedPlace> {
    let faces = faces_of(instrument, spots, work);
    let reeds = faces.into_iter().filter_map(|(plate, face)| {
        let (block, _, there) = instrument.plate(&plate)?;
        // The tongue on a face sounds on the stroke that tests the valve on that face.
        let stroke = block.stroke_that_tests(face);
        there.reeds.on(stroke).as_ref()?;
        Some(ReedPlace { plate, stroke })
    });
    reeds.collect()
}
