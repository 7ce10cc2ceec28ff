//! What holds now for a reed's pitch.

use jiff::Timestamp;
use jiff::civil::Date;

use super::evidence::{Noted, PassEvidence, is_astray};
use crate::instrument::{Instrument, ReedPlace};
use crate::judgement::{ReedPitch, Tune};
use crate::repair::bench::faces_of;
use crate::repair::mark::Mark;
use crate::repair::work::Work;

/// A reed, by its newest pitch and by what was done since.
#[derive(Debug, Clone, PartialEq)]
pub struct ReedStanding {
    /// Which reed.
    pub place: ReedPlace,
    /// What holds.
    pub state: ReedState,
    /// The day from which it holds.
    pub since: Option<Date>,
    /// The newest pitch; in the state `worked_on` the one from before the work.
    pub evidence: Option<PitchEvidence>,
    /// Why the newest take gives no pitch to tune by, where it is newer than that.
    pub unanswered: Option<String>,
    /// The newest work that moves the pitch.
    pub worked: Option<Noted>,
    /// The first such work.
    pub first_worked: Option<Noted>,
    /// Every pitch, oldest first, the newest one included.
    pub heard: Vec<PitchEvidence>,
}

/// What holds for a reed's pitch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReedState {
    /// Too flat.
    Raise,
    /// Too sharp.
    Lower,
    /// Within tolerance, or not surely outside.
    InTune,
    /// Work since the newest take moves the pitch.
    WorkedOn,
    /// Recorded, and no take gives a pitch to tune by.
    NotMeasured,
    /// No take yet.
    NotRecorded,
}

/// A pitch with where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct PitchEvidence {
    /// The pass.
    pub pass: String,
    /// Which take.
    pub take: u32,
    /// When it was sounded.
    pub at: Timestamp,
    /// The day.
    pub day: Date,
    /// The pitch.
    pub pitch: ReedPitch,
}

enum Step {
    Heard(PitchEvidence, Tune),
    Untold(Timestamp, Date, String),
    Worked(Noted),
}

pub(super) fn standings(
    instrument: &Instrument,
    marks: &[&Mark],
    passes: &[PassEvidence],
) -> Vec<ReedStanding> {
    let works = works(instrument, marks);
    let standing = |place: ReedPlace| {
        let heard = passes.iter().filter_map(|pass| step(pass, &place));
        let worked = works.iter().filter(|(there, _)| *there == place).map(|(_, noted)| noted.clone());
        let mut steps: Vec<Step> = heard.chain(worked.map(Step::Worked)).collect();
        steps.sort_by_key(|step| match step {
            Step::Heard(evidence, _) => (evidence.at, 0),
            Step::Untold(at, ..) => (*at, 0),
            Step::Worked(noted) => (noted.at, 1),
        });
        let mut standing = ReedStanding::unknown(place);
        steps.into_iter().for_each(|step| standing.see(step));
        standing
    };
    instrument.reeds().map(|(place, _)| standing(place)).collect()
}

/// Work that moves the pitch: on the tongue itself, or a new valve over its slot.
fn works(instrument: &Instrument, marks: &[&Mark]) -> Vec<(ReedPlace, Noted)> {
    let moves = |work: &Work| {
        matches!(work, Work::Tuned | Work::Filed(_) | Work::Soldered | Work::ValveFitted { .. })
    };
    let works = marks.iter().filter(|mark| moves(&mark.work)).flat_map(|mark| {
        faces_of(instrument, &mark.spots, &mark.work).into_iter().filter_map(|(plate, face)| {
            let (block, ..) = instrument.plate(&plate)?;
            // The tongue on a face sounds on the stroke that tests the valve on that face.
            Some((ReedPlace { stroke: block.stroke_that_tests(face), plate }, mark.noted()))
        })
    });
    works.collect()
}

fn step(pass: &PassEvidence, place: &ReedPlace) -> Option<Step> {
    let moment = pass.takes.get(place)?;
    let found = pass.findings.reeds.iter().find(|reed| reed.place == *place)?;
    let untold = |why: String| Some(Step::Untold(moment.at, moment.day, why));
    match &found.pitch {
        Err(why) => untold(why.clone()),
        Ok(_) if is_astray(pass, &place.plate) => {
            untold(format!("by its pitch another plate lies here in `{}`", pass.findings.pass))
        }
        Ok(pitch) => match pitch.tune {
            None => untold("no tuning work is told from this take".to_owned()),
            Some(tune) => Some(Step::Heard(
                PitchEvidence {
                    pass: pass.findings.pass.clone(),
                    take: moment.n,
                    at: moment.at,
                    day: moment.day,
                    pitch: *pitch,
                },
                tune,
            )),
        },
    }
}

impl ReedStanding {
    fn unknown(place: ReedPlace) -> Self {
        Self {
            place,
            state: ReedState::NotRecorded,
            since: None,
            evidence: None,
            unanswered: None,
            worked: None,
            first_worked: None,
            heard: Vec::new(),
        }
    }

    fn see(&mut self, step: Step) {
        match step {
            Step::Heard(evidence, tune) => {
                self.state = match tune {
                    Tune::Raise => ReedState::Raise,
                    Tune::Lower => ReedState::Lower,
                    Tune::Leave => ReedState::InTune,
                };
                self.since = Some(evidence.day);
                self.heard.push(evidence.clone());
                self.evidence = Some(evidence);
                self.unanswered = None;
            }
            Step::Untold(_, day, why) => {
                if self.state == ReedState::NotRecorded {
                    (self.state, self.since) = (ReedState::NotMeasured, Some(day));
                }
                self.unanswered = Some(why);
            }
            Step::Worked(noted) => {
                // Before anything was measured there is nothing the work could have moved.
                if self.evidence.is_some() {
                    (self.state, self.since) = (ReedState::WorkedOn, Some(noted.day));
                }
                self.first_worked.get_or_insert_with(|| noted.clone());
                self.worked = Some(noted);
            }
        }
    }

    /// Whether it is to be tuned, by its newest pitch.
    pub fn is_off(&self) -> bool {
        matches!(self.state, ReedState::Raise | ReedState::Lower)
    }
}

impl ReedState {
    /// The word for it in JSON and CSV.
    pub fn name(self) -> &'static str {
        match self {
            ReedState::Raise => "raise",
            ReedState::Lower => "lower",
            ReedState::InTune => "in_tune",
            ReedState::WorkedOn => "worked_on",
            ReedState::NotMeasured => "not_measured",
            ReedState::NotRecorded => "not_recorded",
        }
    }
}
