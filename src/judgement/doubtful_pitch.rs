//! Pitches from which no tuning work may be told: of two reeds together, and of a reed that lies a note off its plan.

use std::collections::BTreeMap;

use super::pass::PassReadings;
use crate::analysis::{Reading, Warning};
use crate::instrument::{Instrument, PlatePlace, ReedPlace, Row};
use crate::units::{Cents, Hz, Measured};

/// From here on the plan or the place is wrong: a semitone. No reed is filed so far.
const SEMITONE_CENTS: f64 = 100.0;
/// A reed of several is the one that was read within this, cents: two readings of one pitch.
const SAME_PITCH_CENTS: f64 = 2.0;
/// The opposite reed of the plate is known within this, cents: blown softly it sounds a few cents off its own take.
const OWN_OPPOSITE_CENTS: f64 = 5.0;
/// So near its target a reed of another rank is looked for, cents: badly tuned ranks, and half way to the next note.
const OF_RANK_CENTS: f64 = 50.0;
/// A row fits the plan where its reeds lie within this of it, cents.
const FITS_CENTS: f64 = 35.0;
/// So many reeds of other notes must fit before the letter is doubted; fewer fit by chance.
const LEAST_FITTING: usize = 3;
/// The pitch class of the English B.
const B: usize = 11;

/// Why no tuning work is told of this reading, and what to do; `None` where it may be.
pub(crate) fn why_not_tuned(
    instrument: &Instrument,
    pass: &PassReadings,
    place: &ReedPlace,
    reading: &Reading,
    deviation: Cents,
) -> Option<String> {
    if let Some(other) = sounding_along(instrument, pass, place, reading) {
        return Some(other);
    }
    // A thousandth of grace, since a figure of 100 may be stored as a hair less.
    if deviation.abs().get() < SEMITONE_CENTS - 0.001 {
        return None;
    }
    let PlatePlace { block, row, number } = &place.plate;
    let found = instrument.plate(&place.plate);
    let line = found.and_then(|(_, row, _)| row.lines.of(*number, place.stroke));
    let line = line.map_or("plan.toml".to_owned(), |line| format!("plan.toml, line {line}"));
    let note = found.and_then(|(_, _, plate)| *plate.reeds.on(place.stroke));
    let note = note.map_or(String::new(), |reed| format!(" `{}`", reed.note.stored()));
    Some(format!(
        "it lies {:+.0} cents from the plan: plan or place is wrong, not the tuning. Look at note {number}{note} of row `{row}` \
         of block `{block}` in {line}, and whether the take is of this reed",
        deviation.get()
    ))
}

/// Whether another reed than the plate's own sounds fully along, and whose it may be.
fn sounding_along(
    instrument: &Instrument,
    pass: &PassReadings,
    place: &ReedPlace,
    reading: &Reading,
) -> Option<String> {
    let apart = |left: Hz, right: Hz| left.cents_above(right).abs().get();
    let own_opposite = pass
        .readings
        .get(&ReedPlace { plate: place.plate.clone(), stroke: place.stroke.other() })
        .and_then(|other| other.as_ref().ok())
        .map(|other| other.f0);
    let is_strange = |hz: &Hz| {
        apart(*hz, reading.f0) > SAME_PITCH_CENTS
            && own_opposite.is_none_or(|own| apart(*hz, own) > OWN_OPPOSITE_CENTS)
    };
    // Nothing is told of reeds of one rank that are one plate's: there the second tone is the sign of a leak.
    let fully = reading.reeds.iter().map(|reed| reed.f0).find(is_strange);
    if let Some(hz) = fully {
        let whose = match reed_of_rank(instrument, place, hz) {
            Some(other) => format!("probably {other}, of another rank"),
            None => "no reed of the plan lies there".to_owned(),
        };
        return Some(format!(
            "a second reed sounds along fully at {hz} ({whose}): no tuning work is told from this take; record the reed alone, \
             with the other ranks shut off, and where two ranks were meant, say so (`platenote take JOB {place} --with ROW`)"
        ));
    }
    let along = reading.warnings.iter().find_map(|warning| match warning {
        Warning::OtherTone { hz } => Hz::new(*hz),
        _ => None,
    })?;
    let other = reed_of_rank(instrument, place, along)?;
    Some(format!(
        "another tone sounds along at about {along}, probably {other}, of another rank: no tuning work is told from this take; \
         record the reed alone, with the other ranks shut off"
    ))
}

/// The reed of another row or block, on the same stroke, whose target is nearest to `hz`.
fn reed_of_rank(instrument: &Instrument, place: &ReedPlace, hz: Hz) -> Option<ReedPlace> {
    let is_other_rank =
        |other: &PlatePlace| (&other.block, &other.row) != (&place.plate.block, &place.plate.row);
    let candidates = instrument.reeds().filter_map(|(other, _)| {
        let off = hz.cents_above(instrument.target(&other)?).abs().get();
        (other.stroke == place.stroke && is_other_rank(&other.plate) && off <= OF_RANK_CENTS)
            .then_some((other, off))
    });
    candidates.min_by(|left, right| left.1.total_cmp(&right.1)).map(|(other, _)| other)
}

/// Rows that fit the plan but for each `B`, which lies a semitone lower: German names were typed.
pub(crate) fn german_b(instrument: &Instrument, deviations: &BTreeMap<ReedPlace, Measured>) -> Vec<String> {
    let mut warnings = Vec::new();
    for block in &instrument.blocks {
        for row in &block.rows {
            if is_german(&block.name, row, deviations) {
                warnings.push(format!(
                    "row `{}` of block `{}` fits the plan but for each `B`, which sounds a semitone lower: the notes were \
                     probably typed with their German names, where B is `Bb` here and H is `B`; correct them in plan.toml",
                    row.name, block.name
                ));
            }
        }
    }
    warnings
}

fn is_german(block: &str, row: &Row, deviations: &BTreeMap<ReedPlace, Measured>) -> bool {
    let of_row =
        deviations.iter().filter(|(place, _)| place.plate.block == block && place.plate.row == row.name);
    let (mut lower, mut fitting) = (0, 0);
    for (place, deviation) in of_row {
        let plate = row.plates.get((place.plate.number as usize).saturating_sub(1));
        let Some(reed) = plate.and_then(|plate| *plate.reeds.on(place.stroke)) else { continue };
        let off = deviation.value.get();
        if reed.note.pitch_class() == B {
            if (off + SEMITONE_CENTS).abs() > FITS_CENTS {
                return false;
            }
            lower += 1;
        } else if off.abs() <= FITS_CENTS {
            fitting += 1;
        } else {
            return false;
        }
    }
    lower > 0 && fitting >= LEAST_FITTING
}
