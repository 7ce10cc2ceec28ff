//! Orders of work that cost work, or are dangerous: said, never refused.

use jiff::civil::Date;

use super::bench::{Bench, FaceState, PlateState, ValveState, plate_of};
use super::mark::{Happening, Mark};
use super::rule::ValveRule;
use super::work::Work;
use crate::instrument::{Face, Instrument, PlatePlace, Spot, ValvePlace, place_ranges};

/// Something that was done too early, or too near to something else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Warning {
    /// The mark it is about.
    pub n: u32,
    /// What is wrong with the order.
    pub text: String,
    /// What to do.
    pub next: String,
}

/// Everything noted in an order that costs work, by mark.
pub fn warnings(instrument: &Instrument, rule: &ValveRule, happenings: &[Happening]) -> Vec<Warning> {
    let mut bench = Bench::untouched(instrument, rule);
    let mut day = SolventAndHeat::default();
    let mut found = Vec::new();
    for happening in happenings {
        if let Happening::Mark(mark) = happening
            && !mark.undone
        {
            found.extend(day.see(mark));
            found.extend(against_bench(&bench, mark));
        }
        bench.see(instrument, happening);
    }
    found
}

fn against_bench(bench: &Bench, mark: &Mark) -> Vec<Warning> {
    let plates = |wanted: &dyn Fn(&PlatePlace, &PlateState) -> bool| {
        let mut places: Vec<String> = Vec::new();
        for place in mark.spots.iter().map(plate_of) {
            let name = place.to_string();
            if bench.plates.get(place).is_some_and(|plate| wanted(place, plate)) && !places.contains(&name) {
                places.push(name);
            }
        }
        places
    };
    let warning = |places: Vec<String>, text: String, next: &str| {
        (!places.is_empty()).then(|| Warning { n: mark.n, text, next: next.to_owned() })
    };
    let mut found = Vec::new();
    match mark.work {
        Work::Waxed | Work::PutBack => {
            let open = plates(&|_, plate| plate.faces.inner.is_open());
            let text =
                format!("{} {}, and its inner valve is not noted as fitted", place_ranges(&open), mark.work);
            found.extend(warning(
                open,
                text,
                "fit the inner valve first, or mark `valve kept` where the old one stays: waxed in, the plate must be lifted again to reach it",
            ));
        }
        Work::Tuned | Work::Filed(_) => {
            let open = plates(&|_, plate| Face::BOTH.iter().any(|face| plate.faces.on(*face).is_open()));
            let text = format!("{} {} before its valves are done", place_ranges(&open), mark.work);
            found.extend(warning(
                open,
                text,
                "fit the valves first, or mark `valve kept`: a new valve shifts the pitch",
            ));
        }
        Work::Cleaned { solvent: true } => {
            let fresh = |face: &FaceState| matches!(face.valve, ValveState::Fitted { .. });
            let fitted = plates(&|place, plate| {
                let is_named = |face: Face| {
                    mark.spots.iter().any(|spot| match spot {
                        Spot::Valve(valve) => valve.plate == *place && valve.face == face,
                        other => plate_of(other) == place,
                    })
                };
                Face::BOTH.iter().any(|face| is_named(*face) && fresh(plate.faces.on(*face)))
            });
            let text = format!("{} cleaned with solvent after a valve was fitted", place_ranges(&fitted));
            found.extend(warning(
                fitted,
                text,
                "look whether the valve's glue and film have suffered; clean before the valves go on",
            ));
        }
        Work::ValveOff { .. } => {
            let is_off = |plate: &PlatePlace, face: Face| {
                let place = ValvePlace { plate: plate.clone(), face };
                let is_off = bench.face(&place).is_some_and(|face| face.valve == ValveState::Off);
                is_off.then(|| place.to_string())
            };
            let of_spot = |spot: &Spot| match spot {
                Spot::Valve(valve) => vec![is_off(&valve.plate, valve.face)],
                other => Face::BOTH.map(|face| is_off(plate_of(other), face)).to_vec(),
            };
            let twice: Vec<String> = mark.spots.iter().flat_map(of_spot).flatten().collect();
            let text = format!("the valve of {} was noted as off before", place_ranges(&twice));
            found.extend(warning(
                twice,
                text,
                "it is counted once, as the later note says; undo one of the marks where two valves were meant",
            ));
        }
        Work::ValveFitted { .. } => {
            let none_due: Vec<String> = mark
                .spots
                .iter()
                .filter(|spot| match spot {
                    Spot::Valve(valve) => bench.face(valve).is_some_and(|face| !face.is_due()),
                    _ => false,
                })
                .map(|spot| match spot {
                    Spot::Valve(valve) => valve.to_string(),
                    other => plate_of(other).to_string(),
                })
                .collect();
            let text = format!("the plan has no valve at {}", place_ranges(&none_due));
            found.extend(warning(none_due, text, "undo the mark, or correct plan.toml"));
        }
        _ => {}
    }
    found
}

/// What was hot and what was wet since the last pause or the last morning.
#[derive(Default)]
struct SolventAndHeat {
    day: Option<Date>,
    hot: Option<(u32, String)>,
    wet: Option<(u32, String)>,
}

impl SolventAndHeat {
    fn see(&mut self, mark: &Mark) -> Option<Warning> {
        if self.day != Some(mark.day) || mark.work == Work::Pause {
            *self = Self { day: Some(mark.day), ..Self::default() };
        }
        let this = || Some((mark.n, mark.work.to_string()));
        let (text, next) = if mark.work.is_solvent() {
            self.wet = this();
            let (n, hot) = self.hot.as_ref()?;
            (
                format!("solvent work after heat on the same day (mark {n}, {hot}), and no pause is noted"),
                "let iron and wax pot go cold before a solvent is opened, then mark `pause`",
            )
        } else if mark.work.is_hot() {
            self.hot = this();
            let (n, wet) = self.wet.as_ref()?;
            (
                format!("heat after solvent work on the same day (mark {n}, {wet}), and no pause is noted"),
                "let the work dry and air the room before anything is hot, then mark `pause`",
            )
        } else {
            return None;
        };
        Some(Warning { n: mark.n, text, next: next.to_owned() })
    }
}
