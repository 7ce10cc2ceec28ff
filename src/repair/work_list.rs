//! What the findings and the marks send the restorer to, plate by plate, each plate lifted once.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::bench::{Bench, FaceState, ValveState};
use super::fitting::{Choice, fit, lot_words};
use super::need::needs_where;
use super::rule::ValveRule;
use crate::instrument::{Face, Instrument, PlatePlace, ReedPlace, ValvePlace};
use crate::judgement::{Findings, ValveFinding, Verdict};
use crate::units::Millimetres;

/// The work of a pass, in the plan's order of blocks, rows and plates.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkList {
    /// The pass the findings are of; `None` when the list comes from the marks alone.
    pub pass: Option<String>,
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
    /// Its valves that want work, outer before inner.
    pub valves: Vec<TaskValve>,
}

/// A valve that wants work.
#[derive(Debug, Clone, PartialEq)]
pub struct TaskValve {
    /// The face it is glued on.
    pub face: Face,
    /// What is the matter.
    pub trouble: Trouble,
    /// How long it is or must be, where that is known.
    pub length: Option<Millimetres>,
    /// What could replace it; `None` where it is only listened to again.
    pub replacement: Option<Choice>,
    /// Why, in one sentence.
    pub reason: String,
}

/// What is the matter with a valve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// The signs are consistent with a leak.
    Leaks,
    /// One weaker sign: listen again first.
    Suspect,
    /// The old valve is off and none is fitted.
    Off,
    /// It leaked, and a valve was fitted since: listen again.
    FittedSince,
}

impl Trouble {
    /// The word for it, as `--json` writes it.
    pub fn name(self) -> &'static str {
        match self {
            Trouble::Leaks => "leaks",
            Trouble::Suspect => "suspect",
            Trouble::Off => "off",
            Trouble::FittedSince => "fitted_since",
        }
    }

    /// Whether hands are wanted, and not only ears.
    pub fn wants_hands(self) -> bool {
        matches!(self, Trouble::Leaks | Trouble::Off)
    }
}

/// The work that findings and marks ask for; `heard` is when the take of each reed was stored.
pub fn work_list(
    instrument: &Instrument,
    rule: &ValveRule,
    bench: &Bench,
    findings: Option<&Findings>,
    heard: &BTreeMap<ReedPlace, Timestamp>,
) -> WorkList {
    let by_place: BTreeMap<&ValvePlace, &ValveFinding> =
        findings.iter().flat_map(|found| &found.valves).map(|finding| (&finding.place, finding)).collect();
    let trouble_at =
        |place: &ValvePlace, state: &FaceState| trouble(by_place.get(place).copied(), state, heard);
    let needs = needs_where(instrument, rule, bench, |place, state| {
        trouble_at(place, state).is_some_and(|(trouble, _)| trouble.wants_hands())
    });
    let fitting = fit(&needs, &bench.tray, rule);
    let mut tasks = Vec::new();
    for (plate, ..) in instrument.plates() {
        let mut valves = Vec::new();
        for face in Face::BOTH {
            let place = ValvePlace { plate: plate.clone(), face };
            let Some(state) = bench.face(&place) else { continue };
            let Some((trouble, reason)) = trouble_at(&place, state) else { continue };
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
                reason,
            });
        }
        if !valves.is_empty() {
            let is_lifted = bench.plates.get(&plate).is_some_and(|plate| plate.is_lifted);
            let behind = valves.iter().any(|valve| valve.face == Face::Inner && valve.trouble.wants_hands());
            tasks.push(Task { plate, lift: behind && !is_lifted, valves });
        }
    }
    WorkList { pass: findings.map(|findings| findings.pass.clone()), tasks }
}

fn trouble(
    finding: Option<&ValveFinding>,
    state: &FaceState,
    heard: &BTreeMap<ReedPlace, Timestamp>,
) -> Option<(Trouble, String)> {
    if !state.is_due() {
        return None;
    }
    if state.valve == ValveState::Off {
        return Some((Trouble::Off, "the old valve was lifted off, none fitted yet".into()));
    }
    let finding = finding?;
    let trouble = match finding.verdict {
        Verdict::Leaks => Trouble::Leaks,
        Verdict::Suspect => Trouble::Suspect,
        Verdict::NoSign | Verdict::Tight | Verdict::NotJudged { .. } | Verdict::NoValve => return None,
    };
    let reed = ReedPlace { plate: finding.place.plate.clone(), stroke: finding.heard_on };
    if let (ValveState::Fitted { at, .. }, Some(heard)) = (&state.valve, heard.get(&reed))
        && at > heard
    {
        return Some((Trouble::FittedSince, format!("a valve was fitted since; record {reed} again")));
    }
    Some((trouble, finding.reason.clone()))
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
    /// Plates to lift, plates that stay, and plates to be listened to again first.
    pub fn sorted(tasks: &[Task]) -> [Vec<&Task>; 3] {
        let mut groups = [Vec::new(), Vec::new(), Vec::new()];
        for task in tasks {
            let wants_hands = task.valves.iter().any(|valve| valve.trouble.wants_hands());
            let group = if task.lift { 0 } else { 2 - usize::from(wants_hands) };
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
            Trouble::Leaks => "leaks",
            Trouble::Suspect => "suspect, listen again softer",
            Trouble::Off => "off",
            Trouble::FittedSince => "fitted since, listen again",
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
