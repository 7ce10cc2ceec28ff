//! What a pass of the job tells, with the drawings of the report to show it on.

use super::Error;
use crate::evaluation::{Detail, Evaluation, PassChoice};
use crate::instrument::{PlatePlace, ReedPlace};
use crate::job::Job;
use crate::judgement::{Findings, ValveFinding};
use crate::report::PageDrawing;

/// A pass, evaluated and drawn; without any pass, what the plan has.
pub(super) struct ShownPass {
    /// What was asked for.
    pub choice: PassChoice,
    /// Everything that is told of it.
    pub told: Evaluation,
    /// Maps and tuning charts, each plate leading to its own address.
    pub drawings: Vec<PageDrawing>,
}

impl ShownPass {
    /// Evaluate and draw.
    pub fn of(job: &Job, choice: PassChoice) -> Result<Self, Error> {
        let told = Evaluation::of(job, &choice, Detail::Findings, &|| ())?;
        let valves = told.map_valves();
        let drawings = told.page_drawings(job, &|plate| (address(plate), in_a_word(valves, plate)))?;
        Ok(Self { choice, told, drawings })
    }

    /// The name of the pass; `None` where the job has none.
    pub fn pass(&self) -> Option<&str> {
        self.choice.later.as_deref()
    }

    /// What was found in it.
    pub fn findings(&self) -> &Findings {
        &self.told.later.findings
    }

    /// The valve that the take of this reed tests.
    pub fn valve_of(&self, job: &Job, reed: &ReedPlace) -> Option<&ValveFinding> {
        let (place, _) = job.instrument().valve_tested_by(reed)?;
        self.told.later.valve(&place)
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
fn in_a_word(valves: &[ValveFinding], plate: &PlatePlace) -> String {
    let mut words = plate.to_string();
    for valve in valves.iter().filter(|valve| valve.place.plate == *plate) {
        words += &format!(", {} valve {}", valve.place.face, valve.verdict.as_str());
    }
    words
}
