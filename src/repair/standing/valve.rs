//! What holds now for a valve.

use jiff::Timestamp;
use jiff::civil::Date;

use super::evidence::{Noted, PassEvidence, is_astray};
use crate::analysis::NotMeasured;
use crate::instrument::{Face, Instrument, ReedPlace, ValvePlace};
use crate::judgement::{Sign, ValveFinding, Verdict, unheard};
use crate::repair::bench::{Bench, ValveState, faces_of};
use crate::repair::mark::Mark;
use crate::repair::work::Work;

/// A valve, by the newest evidence that answers the question and by what was done since.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveStanding {
    /// Which valve.
    pub place: ValvePlace,
    /// The reed whose sounding tests it.
    pub tested_by: ReedPlace,
    /// What holds.
    pub state: ValveVerdict,
    /// The day from which it holds: of the evidence, or of the change.
    pub since: Option<Date>,
    /// The newest evidence that answers; in the state `changed` or `off` the one from before the change.
    pub evidence: Option<Evidence>,
    /// The newest take after that which does not answer, with its reason.
    pub unanswered: Option<Evidence>,
    /// The newest change.
    pub changed: Option<Noted>,
    /// The first change.
    pub first_changed: Option<Noted>,
    /// Evidence that no longer speaks, oldest first.
    pub historic: Vec<Evidence>,
}

/// What holds for a valve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ValveVerdict {
    /// The signs are consistent with a leak.
    Leaks,
    /// One weaker sign.
    Suspect,
    /// Nothing found, down to the limit that was reached.
    NoSign,
    /// A sealing test would have shown a larger opening.
    Tight,
    /// It was changed, and nothing heard since answers.
    Changed,
    /// The old valve is off and none is fitted.
    Off,
    /// It was recorded, and no take answers.
    NotJudged,
    /// No take yet.
    NotRecorded,
    /// No valve is due here.
    NoValve,
}

/// What a take answered about a valve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// The signs are consistent with a leak.
    Leaks,
    /// One weaker sign.
    Suspect,
    /// Nothing found.
    NoSign,
    /// Tight, by a sealing test.
    Tight,
}

/// What a take told of a valve.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The pass.
    pub pass: String,
    /// The reed that was sounded.
    pub reed: ReedPlace,
    /// Which take of it.
    pub take: u32,
    /// When it was sounded.
    pub at: Timestamp,
    /// The day.
    pub day: Date,
    /// What it answered; `None` where it did not.
    pub answer: Option<Answer>,
    /// Why it did not answer, where the analysis said so.
    pub cause: Option<NotMeasured>,
    /// Its signs, strongest first.
    pub signs: Vec<Sign>,
    /// Why, in one sentence.
    pub reason: String,
}

enum Step {
    Heard(Evidence),
    Changed(Noted),
}

pub(super) fn standings(
    instrument: &Instrument,
    bench: &Bench,
    marks: &[&Mark],
    passes: &[PassEvidence],
) -> Vec<ValveStanding> {
    let changes = changes(instrument, marks);
    let slots = instrument.plates().flat_map(|(plate, block, _, _)| {
        Face::BOTH.map(|face| {
            let place = ValvePlace { plate: plate.clone(), face };
            let tested_by = ReedPlace { plate: plate.clone(), stroke: block.stroke_that_tests(face) };
            (place, tested_by)
        })
    });
    let standing = |(place, tested_by): (ValvePlace, ReedPlace)| {
        let findings = || passes.iter().filter_map(|pass| Some((pass, finding(pass, &place)?)));
        let heard = findings().filter_map(|(pass, found)| evidence(pass, found, &tested_by)).map(Step::Heard);
        let noted = changes.iter().filter(|(there, _)| *there == place).map(|(_, noted)| noted.clone());
        let mut steps: Vec<Step> = heard.chain(noted.map(Step::Changed)).collect();
        // What was heard and noted in the same instant was heard first: a change needs longer than that.
        steps.sort_by_key(|step| match step {
            Step::Heard(evidence) => (evidence.at, 0),
            Step::Changed(noted) => (noted.at, 1),
        });
        let is_due = bench.face(&place).is_some_and(crate::repair::bench::FaceState::is_due);
        let has_sense = findings().next().is_none_or(|(_, found)| found.verdict != Verdict::NoValve);
        let is_off = bench.face(&place).is_some_and(|face| face.valve == ValveState::Off);
        let mut standing = ValveStanding::unknown(place, tested_by);
        if is_due {
            steps.into_iter().for_each(|step| standing.see(step));
        }
        match (is_due, is_off) {
            (false, _) => standing.state = ValveVerdict::NoValve,
            (true, true) => standing.state = ValveVerdict::Off,
            (true, false) if !has_sense => standing.state = ValveVerdict::NoValve,
            (true, false) => {}
        }
        standing
    };
    slots.map(standing).collect()
}

/// Whether the mark is a change of the valve that is tested by sounding `reed`.
pub fn tested_by_changed(instrument: &Instrument, mark: &Mark, reed: &ReedPlace) -> bool {
    let face = instrument.plate(&reed.plate).map(|(block, ..)| block.face_tested_by(reed.stroke));
    let changed = changes(instrument, &[mark]);
    changed.iter().any(|(valve, _)| valve.plate == reed.plate && Some(valve.face) == face)
}

/// Every change of a valve: what was heard through the old one says nothing of the new one.
fn changes(instrument: &Instrument, marks: &[&Mark]) -> Vec<(ValvePlace, Noted)> {
    let is_change =
        |work: &Work| matches!(work, Work::ValveOff { .. } | Work::ValveFitted { .. } | Work::SpringFitted);
    let changes = marks.iter().filter(|mark| is_change(&mark.work)).flat_map(|mark| {
        let faces = faces_of(instrument, &mark.spots, &mark.work);
        faces.into_iter().map(|(plate, face)| (ValvePlace { plate, face }, mark.noted()))
    });
    changes.collect()
}

fn finding<'a>(pass: &PassEvidence<'a>, place: &ValvePlace) -> Option<&'a ValveFinding> {
    pass.findings.valves.iter().find(|valve| valve.place == *place)
}

/// What the pass's take of the reed tells; `None` where there is no take.
fn evidence(pass: &PassEvidence, found: &ValveFinding, reed: &ReedPlace) -> Option<Evidence> {
    let moment = pass.takes.get(reed).into_iter().chain(pass.plays.get(reed)).max_by_key(|take| take.at)?;
    let answer = match found.verdict {
        Verdict::Leaks => Some(Answer::Leaks),
        Verdict::Suspect => Some(Answer::Suspect),
        Verdict::NoSign => Some(Answer::NoSign),
        Verdict::Tight => Some(Answer::Tight),
        Verdict::NotJudged { .. } | Verdict::NoValve => None,
    };
    let (answer, reason) = if is_astray(pass, &reed.plate) {
        // It was another plate's valve that was heard.
        (None, format!("by its pitch another plate lies here in `{}`", found_in(pass)))
    } else {
        (answer, found.reason.clone())
    };
    Some(Evidence {
        pass: found_in(pass).to_owned(),
        reed: reed.clone(),
        take: moment.n,
        at: moment.at,
        day: moment.day,
        answer,
        cause: match found.verdict {
            Verdict::NotJudged { cause, .. } => cause,
            _ => None,
        },
        signs: found.signs.clone(),
        reason,
    })
}

fn found_in<'a>(pass: &PassEvidence<'a>) -> &'a str {
    &pass.findings.pass
}

impl ValveStanding {
    fn unknown(place: ValvePlace, tested_by: ReedPlace) -> Self {
        Self {
            place,
            tested_by,
            state: ValveVerdict::NotRecorded,
            since: None,
            evidence: None,
            unanswered: None,
            changed: None,
            first_changed: None,
            historic: Vec::new(),
        }
    }

    fn see(&mut self, step: Step) {
        match step {
            Step::Changed(noted) => {
                self.since = Some(noted.day);
                self.state = ValveVerdict::Changed;
                self.first_changed.get_or_insert_with(|| noted.clone());
                self.changed = Some(noted);
                self.unanswered = None;
            }
            Step::Heard(heard) => match heard.answer.map(|answer| (answer, self.doubt(&heard, answer))) {
                Some((answer, None)) => {
                    self.state = answer.state();
                    self.since = Some(heard.day);
                    self.historic.extend(self.evidence.replace(heard));
                    self.unanswered = None;
                }
                Some((_, Some(reason))) => self.unanswered = Some(Evidence { answer: None, reason, ..heard }),
                None => {
                    if self.state == ValveVerdict::NotRecorded {
                        self.state = ValveVerdict::NotJudged;
                        self.since = Some(heard.day);
                    }
                    self.unanswered = Some(heard);
                }
            },
        }
    }

    /// Why this take does not answer after what was heard before; `None` where it does.
    fn doubt(&self, heard: &Evidence, answer: Answer) -> Option<String> {
        let before = self.evidence.as_ref()?;
        let is_changed = self.state == ValveVerdict::Changed;
        match (before.answer?, answer) {
            // A weaker sign of the same leak is no other answer.
            (Answer::Leaks, Answer::Suspect) if !is_changed => {
                Some(format!("suspect now, and it leaked in `{}`: {}", before.pass, heard.reason))
            }
            (Answer::Leaks | Answer::Suspect, Answer::NoSign) => unheard(&before.signs, &heard.signs),
            _ => None,
        }
    }

    /// Whether it leaked by some evidence, old or new.
    pub fn has_leaked(&self) -> bool {
        self.heard().any(|evidence| evidence.answer == Some(Answer::Leaks))
    }

    /// Everything that answered, oldest first.
    pub fn heard(&self) -> impl Iterator<Item = &Evidence> {
        self.historic.iter().chain(&self.evidence)
    }

    /// Whether the evidence is from before the newest change.
    pub fn is_evidence_historic(&self) -> bool {
        matches!(self.state, ValveVerdict::Changed | ValveVerdict::Off)
    }

    /// Why this holds, in one sentence that names the evidence.
    pub fn reason(&self) -> String {
        let told = self.evidence.as_ref().map(Evidence::words);
        let changed = self.changed.as_ref().map(|noted| format!("{} on {}", noted.work, noted.day));
        let mut words = match self.state {
            ValveVerdict::NoValve => "no valve is due here".to_owned(),
            ValveVerdict::Off => "the old valve was lifted off, none fitted yet".to_owned(),
            ValveVerdict::NotRecorded => "no take yet".to_owned(),
            ValveVerdict::NotJudged => self.unanswered.as_ref().map(Evidence::words).unwrap_or_default(),
            ValveVerdict::Changed => format!("{}, and not heard since", changed.unwrap_or_default()),
            _ => told.clone().unwrap_or_default(),
        };
        if let Some(told) = told.filter(|_| self.is_evidence_historic()) {
            words += &format!("; before that: {told}");
        }
        if let Some(later) = self.unanswered.as_ref().filter(|_| self.state != ValveVerdict::NotJudged) {
            words += &format!("; {} does not tell: {}", later.take_words(), later.reason);
        }
        words
    }
}

impl Evidence {
    /// `pass before, take 1, 2026-04-30: consistent with a leak: …`
    pub fn words(&self) -> String {
        format!("{}: {}", self.take_words(), self.reason)
    }

    fn take_words(&self) -> String {
        format!("pass `{}`, take {}, {}", self.pass, self.take, self.day)
    }
}

impl Answer {
    /// The word for it in JSON.
    pub fn name(self) -> &'static str {
        self.state().name()
    }

    /// The words for it.
    pub fn words(self) -> &'static str {
        self.state().words()
    }

    fn state(self) -> ValveVerdict {
        match self {
            Answer::Leaks => ValveVerdict::Leaks,
            Answer::Suspect => ValveVerdict::Suspect,
            Answer::NoSign => ValveVerdict::NoSign,
            Answer::Tight => ValveVerdict::Tight,
        }
    }
}

impl ValveVerdict {
    /// The word for it in JSON and CSV.
    pub fn name(self) -> &'static str {
        match self {
            ValveVerdict::Leaks => "leaks",
            ValveVerdict::Suspect => "suspect",
            ValveVerdict::NoSign => "no_sign",
            ValveVerdict::Tight => "tight",
            ValveVerdict::Changed => "changed",
            ValveVerdict::Off => "off",
            ValveVerdict::NotJudged => "not_judged",
            ValveVerdict::NotRecorded => "not_recorded",
            ValveVerdict::NoValve => "no_valve",
        }
    }

    /// The words for it.
    pub fn words(self) -> &'static str {
        match self {
            ValveVerdict::Leaks => "leaks",
            ValveVerdict::Suspect => "suspect",
            ValveVerdict::NoSign => "no sign",
            ValveVerdict::Tight => "tight",
            ValveVerdict::Changed => "changed, not heard since",
            ValveVerdict::Off => "off",
            ValveVerdict::NotJudged => "not judged",
            ValveVerdict::NotRecorded => "not recorded",
            ValveVerdict::NoValve => "no valve",
        }
    }
}
