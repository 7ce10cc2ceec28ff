//! What is known of a pass while it is recorded: the pitches and levels of its reeds, and whose a pitch may be.

use std::collections::BTreeMap;

use super::OtherReed;
use crate::alignment::{NEAREST, place_by_pitch};
use crate::analysis::{self, Clock, Expectation, OppositeExpectation, Reading};
use crate::audio;
use crate::instrument::ReedPlace;
use crate::job::Job;
use crate::units::{Cents, Dbfs, Decibels, Hz};

/// A pitch this far from the due reed's target belongs to another reed, or asks for a word, cents: reeds out of tune
/// lie nearer, and the next note farther off.
const ANOTHER_CENTS: f64 = 60.0;
/// The opposite reed's pitch is never taken for surer than this, cents: it sounds in another take than its own.
const OPPOSITE_WITHIN_CENTS: f64 = 1.0;
/// Takes of a plate that differ by more than this are not played evenly, dB. Our own choice.
const EVEN_DB: f64 = 3.0;

/// Pitches and levels, from this sitting or an earlier one.
#[derive(Debug, Default)]
pub(super) struct PitchCache {
    pitches: BTreeMap<ReedPlace, Option<(Hz, Cents)>>,
    levels: BTreeMap<ReedPlace, Dbfs>,
}

impl PitchCache {
    /// Remember what the newest take of a reed told.
    pub fn learn(&mut self, place: &ReedPlace, own: (Hz, Cents), reading: &Reading) {
        self.pitches.insert(place.clone(), Some(own));
        self.levels.insert(place.clone(), reading.level);
    }

    /// The pitch of a reed that has a take in this pass; an earlier take is listened to.
    pub fn pitch_of(&mut self, job: &Job, pass: &str, place: &ReedPlace) -> Option<(Hz, Cents)> {
        if let Some(known) = self.pitches.get(place) {
            return *known;
        }
        let takes = job.takes(pass);
        let newest = takes.iter().find(|(there, _)| there == place).and_then(|(_, takes)| takes.last());
        let heard = newest.and_then(|take| {
            let sound = audio::read_file(&take.path).ok()?;
            let expectation = expectation(job, place, take.facts.clock());
            analysis::listen(&sound, &expectation).ok().map(|heard| heard.pitch())
        });
        self.pitches.insert(place.clone(), heard);
        heard
    }

    /// What is to be expected of the plate's other reed while this one sounds at `own`.
    pub fn opposite(
        &mut self,
        job: &Job,
        pass: &str,
        place: &ReedPlace,
        own: (Hz, Cents),
    ) -> OppositeExpectation {
        let plate = job.instrument().plate(&place.plate);
        if plate.is_some_and(|(_, _, plate)| plate.reeds.on(place.stroke.other()).is_none()) {
            return OppositeExpectation::None;
        }
        let Some((pitch, doubt)) = self.pitch_of(job, pass, &other_stroke(place)) else {
            return OppositeExpectation::Unknown;
        };
        Cents::new(doubt.get().hypot(own.1.get()).max(OPPOSITE_WITHIN_CENTS))
            .map_or(OppositeExpectation::Unknown, |within| OppositeExpectation::Known { pitch, within })
    }

    /// How much louder a reed is than the take of the plate's other stroke, where that is worth a word.
    pub fn louder(&self, place: &ReedPlace, level: Dbfs) -> Option<Decibels> {
        let other = self.levels.get(&other_stroke(place))?;
        Decibels::new(level.get() - other.get()).filter(|louder| louder.get().abs() > EVEN_DB)
    }
}

/// What is expected of the reed itself.
pub(super) fn expectation(job: &Job, place: &ReedPlace, clock: Clock) -> Expectation {
    Expectation { pitch: job.instrument().target(place), opposite: OppositeExpectation::Unknown, clock }
}

/// Whether a pitch is too far off to be that of the due reed, and whose it is.
pub(super) fn other_reed(job: &Job, pitch: Hz, due: &ReedPlace) -> Option<OtherReed> {
    let instrument = job.instrument();
    let deviation = pitch.cents_above(instrument.target(due)?);
    if deviation.abs().get() <= ANOTHER_CENTS {
        return None;
    }
    // The bellows turned the wrong way are likelier than another plate.
    let turned = other_stroke(due);
    let fits_turned =
        instrument.target(&turned).is_some_and(|target| pitch.cents_above(target).abs().get() <= NEAREST);
    let block = instrument.plate(&due.plate).map(|(block, ..)| block);
    let belongs_to = if fits_turned {
        Some(turned)
    } else {
        place_by_pitch(pitch, block, Some(due.stroke), instrument)
            .or_else(|_| place_by_pitch(pitch, block, None, instrument))
            .ok()
            .map(|candidate| candidate.place)
    };
    let fits_both = |place: &ReedPlace| {
        let target = instrument.target(&other_stroke(place));
        target.is_some_and(|target| pitch.cents_above(target).abs().get() <= NEAREST)
    };
    let is_stroke_open = !fits_turned && belongs_to.as_ref().is_some_and(fits_both);
    Some(OtherReed { due: due.clone(), pitch, deviation, belongs_to, is_stroke_open })
}

/// The same plate, bellows the other way.
pub(super) fn other_stroke(place: &ReedPlace) -> ReedPlace {
    ReedPlace { plate: place.plate.clone(), stroke: place.stroke.other() }
}
