//! What was found in a pass, with the drawings of the report to show it on.

use std::collections::BTreeMap;

use super::Error;
use crate::evaluation;
use crate::instrument::{PlatePlace, ReedPlace};
use crate::job::Job;
use crate::judgement::{self, Comparison, Findings, PassReadings, ValveFinding};
use crate::report::{Earlier, PageDrawing, Subject, page_drawings};

/// A pass, judged and drawn; without any pass, what the plan has.
pub(super) struct Found {
    /// The pass; `None` where the job has none.
    pub pass: Option<String>,
    /// What was found.
    pub findings: Findings,
    /// Against the pass before, where there is one.
    pub comparison: Option<Comparison>,
    /// Maps and tuning charts, each plate leading to its own address.
    pub drawings: Vec<PageDrawing>,
    /// Words on the takes.
    pub words: Vec<String>,
}

impl Found {
    /// The name of the pass that is meant.
    pub fn pass_of(job: &Job, wanted: Option<&str>) -> Result<Option<String>, Error> {
        match wanted.filter(|wanted| !wanted.is_empty()) {
            Some(wanted) => Ok(Some(job.pass(wanted)?.pass)),
            None => Ok(job.passes().pop().map(|facts| facts.pass)),
        }
    }

    /// Listen, judge and draw.
    pub fn of(job: &Job, pass: Option<String>) -> Result<Self, Error> {
        let instrument = job.instrument();
        let mut words = Vec::new();
        let mut listen = |name: &str| -> Result<PassReadings, Error> {
            let heard = evaluation::listen(job, name, &|| ())?;
            words.extend(heard.words);
            Ok(heard.readings)
        };
        let (now, before) = match &pass {
            None => {
                let (name, readings) = ("none yet".to_owned(), BTreeMap::new());
                (
                    PassReadings {
                        name,
                        temperature_c: None,
                        measured_at: None,
                        readings,
                        sealings: Vec::new(),
                    },
                    None,
                )
            }
            Some(pass) => {
                let passes = job.passes();
                let at = passes.iter().position(|facts| facts.pass == *pass).unwrap_or(0);
                let before = at.checked_sub(1).and_then(|at| passes.get(at));
                let before = before.map(|facts| listen(&facts.pass)).transpose()?;
                (listen(pass)?, before)
            }
        };
        let findings = judgement::judge(instrument, &now);
        let earlier = before.as_ref().map(|before| judgement::judge(instrument, before));
        let comparison = before.as_ref().map(|before| judgement::compare(instrument, before, &now));
        let subject = Subject {
            title: job.title(),
            instrument,
            findings: &findings,
            earlier: earlier.as_ref().map(|findings| Earlier { findings, comparison: comparison.as_ref() }),
            close_ups: &[],
        };
        let drawings = page_drawings(&subject, &|plate| (address(plate), in_a_word(&findings, plate)))?;
        Ok(Self { pass, findings, comparison, drawings, words })
    }

    /// The valve that the take of this reed tests.
    pub fn valve_of(&self, job: &Job, reed: &ReedPlace) -> Option<&ValveFinding> {
        let (place, _) = job.instrument().valve_tested_by(reed)?;
        self.findings.valves.iter().find(|valve| valve.place == place)
    }
}

/// The address of a plate within the page: `#plate-bass-A7`.
pub(super) fn address(plate: &PlatePlace) -> String {
    format!("#{}", anchor(plate))
}

/// The same as the name of an element.
pub(super) fn anchor(plate: &PlatePlace) -> String {
    format!("plate-{}-{}{}", plate.block, plate.row, plate.number)
}

/// For those who do not see the map.
fn in_a_word(findings: &Findings, plate: &PlatePlace) -> String {
    let mut words = plate.to_string();
    for valve in findings.valves.iter().filter(|valve| valve.place.plate == *plate) {
        words += &format!(", {} valve {}", valve.place.face, super::parts::verdict_word(&valve.verdict));
    }
    words
}
