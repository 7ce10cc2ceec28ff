//! What the findings and the marks send the restorer to, plate by plate, each plate lifted once.

use std::collections::BTreeMap;

use super::bench::{Bench, ValveState};
use super::fitting::{Choice, fit, lot_words};
use super::need::needs_where;
use super::rule::ValveRule;
use super::standing::{Standing, ValveStanding, ValveVerdict};
use crate::instrument::{Face, Instrument, PlatePlace, ValvePlace};
use crate::units::Millimetres;

/// The work of a pass, in the plan's order of blocks, rows and plates.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkList {
    /// The passes it was made from, in order of time; none when it comes from the marks alone.
    pub passes: Vec<String>,
    /// A task for each plate with work.
    pub tasks: Vec<Task>,
}

/// The work on one plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// The plate.
    pub plate: PlatePlace,
    /// Whether it must be lifted for this.
    pub lift: bool,
    /// Whether it lies beside the block.
    pub is_lifted: bool,
    /// Its valves that want work, outer before inner.
    pub valves: Vec<TaskValve>,
}

/// A valve that wants work.
#[derive(Debug, Clone, PartialEq)]
pub struct TaskValve {
    /// The face it is glued on.
    pub face: Face,
    /// What is the matter.
    pub trouble: ValveTrouble,
    /// How long it is or must be, where that is known.
    pub length: Option<Millimetres>,
    /// What could replace it; `None` where it is only listened to again.
    pub replacement: Option<Choice>,
    /// The pass whose take tells so.
    pub pass: Option<String>,
    /// Why, in one sentence that names the evidence.
    pub reason: String,
}

/// What is the matter with a valve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ValveTrouble {
    /// The signs are consistent with a leak.
    Leaks,
    /// One weaker sign: listen again first.
    Suspect,
    /// The old valve is off and none is fitted.
    Off,
    /// It was changed, and not heard since: listen again.
    FittedSince,
}

impl ValveTrouble {
    /// The word for it, as `--json` writes it.
    pub fn name(self) -> &'static str {
        match self {
            ValveTrouble::Leaks => "leaks",
            ValveTrouble::Suspect => "suspect",
            ValveTrouble::Off => "off",
            ValveTrouble::FittedSince => "fitted_since",
        }
    }

    /// Whether hands are wanted, and not only ears.
    pub fn wants_hands(self) -> bool {
        matches!(self, ValveTrouble::Leaks | ValveTrouble::Off)
    }
}

/// The work that the standing asks for; without any pass, what the marks ask for alone.
pub fn work_list(instrument: &Instrument, rule: &ValveRule, bench: &Bench, standing: &Standing) -> WorkList {
    let by_place: BTreeMap<&ValvePlace, &ValveStanding> =
        standing.valves.iter().map(|valve| (&valve.place, valve)).collect();
    let was_heard = !standing.passes.is_empty();
    let trouble_at = |place: &ValvePlace| by_place.get(place).and_then(|valve| trouble(valve, was_heard));
    let needs = needs_where(instrument, rule, bench, |place, _| {
        trouble_at(place).is_some_and(|trouble| trouble.wants_hands())
    });
    let fitting = fit(&needs, &bench.tray, rule);
    let mut tasks = Vec::new();
    for (plate, ..) in instrument.plates() {
        let mut valves = Vec::new();
        for face in Face::BOTH {
            let place = ValvePlace { plate: plate.clone(), face };
            let Some(state) = bench.face(&place) else { continue };
            let Some(standing) = by_place.get(&place) else { continue };
            let Some(trouble) = trouble(standing, was_heard) else { continue };
            let row = fitting.rows.iter().find(|row| row.need.place == place);
            let known = match state.valve {
                ValveState::Fitted { length, .. } => length,
                _ => None,
            };
            valves.push(TaskValve {
                face,
                trouble,
                length: known
                    .or(row.and_then(|row| row.need.length))
                    .or(state.old_length)
                    .or(state.plan_length()),
                replacement: row.map(|row| row.choice.clone()),
                pass: standing.evidence.as_ref().map(|evidence| evidence.pass.clone()),
                reason: standing.reason(),
            });
        }
        if !valves.is_empty() {
            let is_lifted = bench.plates.get(&plate).is_some_and(|plate| plate.is_lifted);
            let behind = valves.iter().any(|valve| valve.face == Face::Inner && valve.trouble.wants_hands());
            tasks.push(Task { plate, lift: behind && !is_lifted, is_lifted, valves });
        }
    }
    WorkList { passes: standing.passes.clone(), tasks }
}

/// A changed valve is to be heard again; where no pass was recorded at all there is nothing to hear it against yet.
fn trouble(standing: &ValveStanding, was_heard: bool) -> Option<ValveTrouble> {
    match standing.state {
        ValveVerdict::Off => Some(ValveTrouble::Off),
        ValveVerdict::Leaks => Some(ValveTrouble::Leaks),
        ValveVerdict::Suspect => Some(ValveTrouble::Suspect),
        ValveVerdict::Changed if was_heard => Some(ValveTrouble::FittedSince),
        _ => None,
    }
}

impl WorkList {
    /// The tasks of each row, row by row.
    pub fn rows(&self) -> impl Iterator<Item = &[Task]> {
        self.tasks.chunk_by(|left, right| {
            (&left.plate.block, &left.plate.row) == (&right.plate.block, &right.plate.row)
        })
    }
}

impl Task {
    /// Plates to lift, plates that lie beside the block, plates that stay, and plates to be listened to again first.
    pub fn sorted(tasks: &[Task]) -> [Vec<&Task>; 4] {
        let mut groups = [const { Vec::new() }; 4];
        for task in tasks {
            let wants_hands = task.valves.iter().any(|valve| valve.trouble.wants_hands());
            let group = match (task.lift, wants_hands, task.is_lifted) {
                (true, ..) => 0,
                (_, true, true) => 1,
                (_, true, false) => 2,
                (_, false, _) => 3,
            };
            if let Some(group) = groups.get_mut(group) {
                group.push(task);
            }
        }
        groups
    }
}

impl TaskValve {
    /// What is to be done, in a line: `leaks; 38 mm: 38 mm flat, bin 1`.
    pub fn words(&self) -> String {
        let trouble = match self.trouble {
            ValveTrouble::Leaks => "leaks",
            ValveTrouble::Suspect => "suspect, listen again softer",
            ValveTrouble::Off => "off",
            ValveTrouble::FittedSince => "fitted since, listen again",
        };
        let length = self.length.map_or("length not known".to_owned(), |length| length.to_string());
        let replacement = match &self.replacement {
            Some(Choice::FromTray { lot, trim }) if trim.get() > 0.0 => {
                format!(": {}, trim {trim}", lot_words(lot))
            }
            Some(Choice::FromTray { lot, .. }) => format!(": {}", lot_words(lot)),
            Some(Choice::Cut) => ": cut new".to_owned(),
            Some(Choice::NotMeasured) => ": measure the slot or the old valve".to_owned(),
            None => String::new(),
        };
        format!("{trouble}; {length}{replacement}; {}", self.reason)
    }
}
