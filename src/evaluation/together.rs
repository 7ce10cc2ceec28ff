//! Takes in which two ranks sound together on purpose: their beats, against those of the single takes.

use super::plate::listen_to;
use crate::analysis::{Expectation, OppositeExpectation};
use crate::instrument::{PlatePlace, ReedPlace};
use crate::job::{Job, StoredTake};
use crate::judgement::{Missing, PassReadings};
use crate::tuning::{TakeTogether, Together};
use crate::units::{Cents, Hz};

/// What the takes of a pass tell in which ranks sound together, each against single takes of the same pass.
pub(super) fn heard_together(job: &Job, pass: &PassReadings) -> Vec<TakeTogether> {
    let takes = job.takes_together(&pass.name).into_iter();
    takes.flat_map(|take| of_take(job, pass, &take)).collect()
}

fn of_take(job: &Job, pass: &PassReadings, take: &StoredTake) -> Vec<TakeTogether> {
    let instrument = job.instrument();
    let expectation = Expectation {
        pitch: instrument.target(&take.place),
        clock: take.facts.clock(),
        ..Expectation::default()
    };
    let heard: Result<Vec<(Hz, Cents)>, Missing> = listen_to(take, &expectation).map(|mut heard| {
        let reading = heard.reading(OppositeExpectation::None);
        reading.reeds.iter().map(|reed| (reed.f0, reed.uncertainty)).collect()
    });
    let own_note = note_of(job, &take.place);
    let rows = take.with.iter().map(|row| {
        // The companion stands in the same row position only by chance: its note tells.
        let beside = instrument.reeds().find(|(place, reed)| {
            place.plate.block == take.place.plate.block
                && place.plate.row == *row
                && place.stroke == take.place.stroke
                && own_note.is_some_and(|own| (reed.note.number() - own).rem_euclid(12) == 0)
                && is_same_column(place, &take.place)
        });
        let by_note = || {
            instrument.reeds().find(|(place, reed)| {
                place.plate.block == take.place.plate.block
                    && place.plate.row == *row
                    && place.stroke == take.place.stroke
                    && own_note == Some(reed.note.number())
            })
        };
        let with = beside.or_else(by_note).map(|(place, _)| place);
        let place = take.place.clone();
        let file = take.facts.file.clone();
        match with {
            Some(with) => {
                let beats = beats(pass, &place, &with, &heard);
                TakeTogether { place, with, file, beats }
            }
            None => {
                let plate = PlatePlace { row: row.clone(), ..place.plate.clone() };
                let with = ReedPlace { plate, stroke: place.stroke };
                let why = format!("row {row} has no reed of that note");
                TakeTogether { place, with, file, beats: Err(why) }
            }
        }
    });
    rows.collect()
}

fn is_same_column(left: &ReedPlace, right: &ReedPlace) -> bool {
    left.plate.number == right.plate.number
}

fn note_of(job: &Job, place: &ReedPlace) -> Option<i16> {
    let (_, _, plate) = job.instrument().plate(&place.plate)?;
    Some((*plate.reeds.on(place.stroke))?.note.number())
}

fn beats(
    pass: &PassReadings,
    place: &ReedPlace,
    with: &ReedPlace,
    heard: &Result<Vec<(Hz, Cents)>, Missing>,
) -> Result<Together, String> {
    let heard = heard.as_ref().map_err(ToString::to_string)?;
    let alone = |place: &ReedPlace| {
        let reading = pass.readings.get(place).and_then(|reading| reading.as_ref().ok());
        let reading = reading.filter(|reading| reading.reeds.is_empty());
        reading
            .map(|reading| (reading.f0, reading.uncertainty))
            .ok_or_else(|| format!("{place} has no take alone in this pass to compare with"))
    };
    let alone = [alone(place)?, alone(with)?];
    if heard.len() < 2 {
        return Err(
            "the two reeds could not be told apart: hold the note longer, both reeds sounding".to_owned()
        );
    }
    Together::among(heard, alone)
        .ok_or_else(|| "the reeds that sound in it are not those of the two single takes".to_owned())
}
