//! One list of what is next, in the order it is best done, each step with its reason and with what closes it.
//!
//! Source of the order: common practice, no source. It is told with its reasons and never forced.

use std::collections::BTreeMap;

use super::standing::{ReedState, Standing, ValveVerdict};
use super::work_list::{TaskValve, ValveTrouble, WorkList};
use crate::instrument::{PlatePlace, ReedPlace, ValvePlace, place_ranges};

/// A step of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NextStep {
    /// What kind of step.
    pub kind: StepKind,
    /// Where, as `mark` and `record` take it.
    pub place: String,
    /// The plate, or the first of them.
    pub plate: PlatePlace,
    /// Whether the plate is to be lifted for it.
    pub lift_plate: bool,
    /// What to do, in a line.
    pub what: String,
    /// Why, in a sentence.
    pub reason: String,
    /// What closes it.
    pub tick: Tick,
}

/// What closes a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Tick {
    /// A mark with these words at the place.
    Mark(String),
    /// A new take of the reed, in a new pass where there is an older one.
    Record(ReedPlace),
    /// New takes of all of these, once plates were put right.
    RecordAll(Vec<ReedPlace>),
}

/// The kinds of steps, in the order they are best done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StepKind {
    /// Plates that may lie in each other's place.
    Swap,
    /// A reed without a usable take.
    MissingTake,
    /// A valve to be seen to.
    Valve,
    /// A valve to be listened to again.
    ListenAgain,
    /// A reed to be tuned.
    Tuning,
    /// A reed to be measured again after the work on it.
    MeasureAgain,
}

impl StepKind {
    /// Every kind in order.
    pub const ALL: [StepKind; 6] = [
        StepKind::Swap,
        StepKind::MissingTake,
        StepKind::Valve,
        StepKind::ListenAgain,
        StepKind::Tuning,
        StepKind::MeasureAgain,
    ];

    /// The word for it in JSON and CSV.
    pub fn name(self) -> &'static str {
        match self {
            StepKind::Swap => "swap",
            StepKind::MissingTake => "missing_take",
            StepKind::Valve => "valve",
            StepKind::ListenAgain => "listen_again",
            StepKind::Tuning => "tuning",
            StepKind::MeasureAgain => "measure_again",
        }
    }

    /// The heading of its steps.
    pub fn heading(self) -> &'static str {
        match self {
            StepKind::Swap => "Plates in a wrong place",
            StepKind::MissingTake => "Takes that are missing",
            StepKind::Valve => "Valves",
            StepKind::ListenAgain => "Valves to listen to again",
            StepKind::Tuning => "Reeds to tune",
            StepKind::MeasureAgain => "Reeds to measure again",
        }
    }

    /// Why these steps come where they come.
    pub fn why_now(self) -> &'static str {
        match self {
            StepKind::Swap => "first, or all other work is done on the wrong plate",
            StepKind::MissingTake => {
                "before anything is changed: how the instrument was found can be measured only now"
            }
            StepKind::Valve => "before tuning: a new valve moves the pitch of its reed",
            StepKind::ListenAgain => {
                "before fine tuning: two reeds of a plate that agree within a cent hide a leak from ear and microphone"
            }
            StepKind::Tuning => "after the valves, when they have been heard to be tight",
            StepKind::MeasureAgain => "when the reeds have settled, best on another day",
        }
    }
}

/// Everything that is open, in order. `work` is the work list of the same standing.
pub fn next_list(standing: &Standing, work: &WorkList) -> Vec<NextStep> {
    let mut steps = swaps(standing);
    steps.extend(missing(standing));
    steps.extend(valves(standing, work));
    steps.extend(pitch(standing));
    steps.sort_by_key(|step| step.kind);
    steps
}

fn swaps(standing: &Standing) -> Vec<NextStep> {
    let steps = standing.swaps.iter().filter_map(|swap| {
        let names: Vec<String> = swap.places.iter().map(ToString::to_string).collect();
        // Both plates are heard again, on a stroke that sounded.
        let reeds = swap.places.iter().map(|plate| {
            let known = standing.reeds.iter().find(|reed| reed.place.plate == *plate);
            let stroke = known.map_or(crate::instrument::Stroke::Press, |reed| reed.place.stroke);
            ReedPlace { plate: plate.clone(), stroke }
        });
        let (what, reason) = if swap.sure {
            ("put them right", "by their pitch they lie in each other's place")
        } else {
            ("look at them", "one of them was heard out of its place")
        };
        Some(NextStep {
            kind: StepKind::Swap,
            place: names.join(", "),
            plate: swap.places.first()?.clone(),
            lift_plate: true,
            what: what.to_owned(),
            reason: reason.to_owned(),
            tick: Tick::RecordAll(reeds.collect()),
        })
    });
    steps.collect()
}

/// Reeds without a take or with none that answers, and valves that no take has told of though the reed was measured.
fn missing(standing: &Standing) -> Vec<NextStep> {
    let mut open: BTreeMap<ReedPlace, (String, String)> = BTreeMap::new();
    let mut order = Vec::new();
    let mut add = |reed: &ReedPlace, what: &str, reason: String| {
        open.entry(reed.clone()).or_insert_with(|| {
            order.push(reed.clone());
            (what.to_owned(), reason)
        });
    };
    for reed in &standing.reeds {
        let why = || reed.unanswered.clone().unwrap_or_default();
        match reed.state {
            ReedState::NotRecorded => add(&reed.place, "record it", "no take yet".to_owned()),
            ReedState::NotMeasured => add(&reed.place, "record it again", why()),
            _ => {}
        }
    }
    for reed in &standing.gaps {
        let pass = standing.passes.last().map_or("", String::as_str);
        add(reed, "record it", format!("no take in pass `{pass}`"));
    }
    let steps = order.into_iter().filter_map(|reed| {
        let (what, reason) = open.get(&reed)?.clone();
        Some(NextStep {
            kind: StepKind::MissingTake,
            place: reed.to_string(),
            plate: reed.plate.clone(),
            lift_plate: false,
            what,
            reason,
            tick: Tick::Record(reed),
        })
    });
    steps.collect()
}

fn valves(standing: &Standing, work: &WorkList) -> Vec<NextStep> {
    let mut steps = Vec::new();
    for task in &work.tasks {
        for valve in &task.valves {
            let place = ValvePlace { plate: task.plate.clone(), face: valve.face };
            let Some(known) = standing.valve(&place) else { continue };
            let wants_hands = valve.trouble.wants_hands();
            let behind = valve.face == crate::instrument::Face::Inner;
            steps.push(NextStep {
                kind: if wants_hands { StepKind::Valve } else { StepKind::ListenAgain },
                place: place.to_string(),
                plate: task.plate.clone(),
                lift_plate: wants_hands && behind && task.lift,
                what: valve.do_words(),
                reason: valve.reason.clone(),
                tick: if wants_hands {
                    Tick::Mark(fitted_words(valve))
                } else {
                    Tick::Record(known.tested_by.clone())
                },
            });
        }
    }
    steps
}

fn fitted_words(valve: &TaskValve) -> String {
    match valve.length {
        Some(length) => format!("valve fitted {length}"),
        None => "valve fitted".to_owned(),
    }
}

fn pitch(standing: &Standing) -> Vec<NextStep> {
    let is_open = |plate: &PlatePlace| {
        standing.valves.iter().any(|valve| {
            valve.place.plate == *plate
                && matches!(
                    valve.state,
                    ValveVerdict::Leaks | ValveVerdict::Suspect | ValveVerdict::Changed | ValveVerdict::Off
                )
        })
    };
    let steps = standing.reeds.iter().filter_map(|reed| {
        let told = reed.evidence.as_ref()?;
        let deviation = told.pitch.deviation;
        let figures = format!(
            "{:+.1} ± {:.1} cents in pass `{}`, take {}, {}",
            deviation.value.get(),
            deviation.uncertainty.get(),
            told.pass,
            told.take,
            told.day
        );
        let first = if is_open(&reed.place.plate) { "; a valve of this plate comes first" } else { "" };
        let (kind, what, reason, tick) = match reed.state {
            ReedState::Raise => (StepKind::Tuning, "raise", figures + first, Tick::Mark("tuned".to_owned())),
            ReedState::Lower => (StepKind::Tuning, "lower", figures + first, Tick::Mark("tuned".to_owned())),
            ReedState::WorkedOn => {
                let worked = reed.worked.as_ref()?;
                let reason = format!("{} on {}, and not measured since", worked.work, worked.day);
                (StepKind::MeasureAgain, "record it", reason, Tick::Record(reed.place.clone()))
            }
            _ => return None,
        };
        Some(NextStep {
            kind,
            place: reed.place.to_string(),
            plate: reed.place.plate.clone(),
            lift_plate: false,
            what: what.to_owned(),
            reason,
            tick,
        })
    });
    steps.collect()
}

/// The stage the job is in, by its record: the kind of the first step that is open.
pub fn stage(steps: &[NextStep]) -> Option<StepKind> {
    steps.iter().map(|step| step.kind).min()
}

impl Tick {
    /// What closes the step, in words: `mark it: valve fitted 38 mm`, `a new take of bass A7 press`.
    pub fn words(&self) -> String {
        match self {
            Tick::Mark(work) => format!("mark it `{work}`"),
            Tick::Record(reed) => format!("a new take of {reed}"),
            Tick::RecordAll(reeds) => {
                let names: Vec<String> = reeds.iter().map(ToString::to_string).collect();
                format!("new takes of {}", names.join(" and "))
            }
        }
    }
}

/// Steps of one kind that say the same of several places.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StepGroup<'a> {
    /// The first of them; the others differ in their place alone.
    pub first: &'a NextStep,
    /// All their places.
    pub places: Vec<String>,
}

impl StepGroup<'_> {
    /// The places, told as ranges.
    pub fn places_words(&self) -> String {
        place_ranges(&self.places)
    }

    /// What closes them, in words.
    pub fn tick_words(&self) -> String {
        match &self.first.tick {
            Tick::Record(_) if self.places.len() > 1 => "a new take of each".to_owned(),
            tick => tick.words(),
        }
    }
}

/// The steps with those joined that say the same of several places.
pub fn grouped<'a>(steps: &[&'a NextStep]) -> Vec<StepGroup<'a>> {
    let mut groups: Vec<StepGroup> = Vec::new();
    for step in steps {
        let is_alike = |group: &&mut StepGroup| {
            let first = group.first;
            let ticks_alike = match (&first.tick, &step.tick) {
                (Tick::Mark(left), Tick::Mark(right)) => left == right,
                (Tick::Record(_), Tick::Record(_)) => true,
                _ => false,
            };
            let alike = (first.kind, first.lift_plate) == (step.kind, step.lift_plate);
            alike && first.what == step.what && first.reason == step.reason && ticks_alike
        };
        match groups.iter_mut().rev().find(is_alike) {
            Some(group) => group.places.push(step.place.clone()),
            None => groups.push(StepGroup { first: step, places: vec![step.place.clone()] }),
        }
    }
    groups
}

impl TaskValve {
    fn do_words(&self) -> String {
        match self.trouble {
            ValveTrouble::Leaks => {
                "look whether it lies flat and shuts; replace it where it does not".to_owned()
            }
            ValveTrouble::Off => "fit a valve".to_owned(),
            ValveTrouble::Suspect => "listen again, softer".to_owned(),
            ValveTrouble::FittedSince => "listen again".to_owned(),
        }
    }
}
