//! Reeds that speak badly, against the trend of their own rank and stroke; and reeds whose pitch bends more than their
//! neighbours'. Nothing here is a verdict on a valve.

use crate::analysis::{Reading, Warning};
use crate::instrument::{Instrument, ReedPlace, Stroke};
use crate::judgement::PassReadings;
use crate::judgement::robust::{line_residuals, robust_scatter};

/// A trend needs so many reeds, as the signs of a leak do.
const TREND_REEDS: usize = 8;
/// A reed stands out from so many robust spreads of the others; see docs/method.md for the same figure at the signs.
const SPREADS: f64 = 4.0;
/// And from these least differences, below which a departure is no trouble at the bench (common practice, no source):
/// half as long again to start, dB, dB, cents per dB, cents.
const LEAST_START: f64 = 0.405;
const LEAST_LEVEL_DB: f64 = 4.0;
const LEAST_BUZZ_DB: f64 = 6.0;
const LEAST_BEND: f64 = 0.3;
/// A bend so much steeper than the neighbours' goes with a tone that breaks, cents per dB. Our own choice.
const CHOKES_FROM: f64 = 1.0;

/// What is the matter with a reed's speech.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ResponseFault {
    /// It starts late.
    SlowStart,
    /// It is weaker than its neighbours on one stroke.
    Weak,
    /// It is weaker than its neighbours on both strokes.
    WeakOnBoth,
    /// The pitch falls steeply as it is blown harder.
    Choking,
    /// Sound between its partials, more than its neighbours have.
    Buzz,
    /// The pitch does not rest.
    Unsteady,
    /// The pitch bends more with level than its neighbours' do, without choking.
    Bends,
}

/// A reed that speaks badly in one way.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// The reed.
    pub place: ReedPlace,
    /// What is the matter.
    pub trouble: ResponseFault,
    /// The figure against the trend, in the trouble's unit.
    pub value: f64,
    /// From where it stands out, same unit.
    pub limit: f64,
    /// The level it was played at, dBFS.
    pub level_dbfs: f64,
}

impl ResponseFault {
    /// The word for it in JSON.
    pub fn name(self) -> &'static str {
        match self {
            ResponseFault::SlowStart => "slow_start",
            ResponseFault::Weak => "weak",
            ResponseFault::WeakOnBoth => "weak_on_both",
            ResponseFault::Choking => "choking",
            ResponseFault::Buzz => "buzz",
            ResponseFault::Unsteady => "unsteady",
            ResponseFault::Bends => "bends",
        }
    }

    /// The unit of its figures.
    pub fn unit(self) -> &'static str {
        match self {
            ResponseFault::SlowStart => "times",
            ResponseFault::Weak | ResponseFault::WeakOnBoth | ResponseFault::Buzz => "dB",
            ResponseFault::Choking | ResponseFault::Bends => "cents per dB",
            ResponseFault::Unsteady => "cents",
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            ResponseFault::SlowStart => "starts late",
            ResponseFault::Weak => "weak on this stroke",
            ResponseFault::WeakOnBoth => "weak on both strokes",
            ResponseFault::Choking => "chokes: the pitch falls as it is blown harder",
            ResponseFault::Buzz => "buzz or air between its partials",
            ResponseFault::Unsteady => "the pitch does not rest",
            ResponseFault::Bends => "the pitch bends more with level than its neighbours'",
        }
    }

    /// Likely reasons, the likeliest first. Common practice, no source.
    pub fn reasons(self) -> &'static [&'static str] {
        match self {
            ResponseFault::SlowStart => &[
                "tongue gap too wide or too small",
                "dirt in the slot",
                "air lost at wax or seat",
                "pallet opens little",
            ],
            ResponseFault::Weak => {
                &["tongue gap", "dirt or rust on the tongue", "the tongue rubs", "valve or wax"]
            }
            ResponseFault::WeakOnBoth => &[
                "pallet opens little",
                "air lost at wax or seat",
                "chamber or hole not clear",
                "both tongue gaps",
            ],
            ResponseFault::Choking => {
                &["tongue gap too small", "the tongue is bent into its slot", "dirt under the tongue"]
            }
            ResponseFault::Buzz => &[
                "the tongue rubs at the edge of its slot",
                "dirt or a hair in the slot",
                "loose rivet",
                "valve flutters",
            ],
            ResponseFault::Unsteady => {
                &["loose rivet", "the tongue rubs", "cracked wax", "uneven bellows: play it again first"]
            }
            ResponseFault::Bends => &["tongue gap", "a thin or worn tongue root", "loose rivet"],
        }
    }

    /// What to look at first. Common practice, no source.
    pub fn look_first(self) -> &'static str {
        match self {
            ResponseFault::SlowStart
            | ResponseFault::Weak
            | ResponseFault::Choking
            | ResponseFault::Bends => "look at the gap of the tongue",
            ResponseFault::WeakOnBoth => "look at the pallet and the wax",
            ResponseFault::Buzz => "hold the plate to the light and see whether the tongue is free all round",
            ResponseFault::Unsteady => "play it once more, evenly; then press on the rivet",
        }
    }
}

/// Every reed that speaks badly, in the plan's order, the plainest trouble first.
pub fn responses(instrument: &Instrument, pass: &PassReadings) -> Vec<Response> {
    let mut found: Vec<Response> = Vec::new();
    for block in &instrument.blocks {
        for row in &block.rows {
            for stroke in Stroke::BOTH {
                let reeds: Vec<(ReedPlace, f64, &Reading)> = instrument
                    .reeds()
                    .filter(|(place, _)| {
                        place.stroke == stroke
                            && (&place.plate.block, &place.plate.row) == (&block.name, &row.name)
                    })
                    .filter_map(|(place, reed)| {
                        let reading = pass.readings.get(&place)?.as_ref().ok()?;
                        Some((place, f64::from(reed.note.number()), reading))
                    })
                    .collect();
                found.extend(of_rank(&reeds));
            }
        }
    }
    weak_on_both(&mut found);
    let order: Vec<ReedPlace> = instrument.reeds().map(|(place, _)| place).collect();
    found.sort_by_key(|one| (order.iter().position(|place| *place == one.place), one.trouble));
    found
}

fn of_rank(reeds: &[(ReedPlace, f64, &Reading)]) -> Vec<Response> {
    let mut found = Vec::new();
    let mut against =
        |trouble: ResponseFault, sign: f64, least: f64, of: &dyn Fn(&Reading) -> Option<f64>| {
            let seen: Vec<(&ReedPlace, f64, f64, &Reading)> = reeds
                .iter()
                .filter_map(|(place, note, reading)| Some((place, *note, of(reading)?, *reading)))
                .collect();
            if seen.len() < TREND_REEDS {
                return;
            }
            let points: Vec<(f64, f64)> = seen.iter().map(|(_, note, value, _)| (*note, *value)).collect();
            let left = line_residuals(&points);
            let Some(scatter) = robust_scatter(&left) else { return };
            let limit = (SPREADS * scatter).max(least);
            for ((place, _, _, reading), left) in seen.iter().zip(&left) {
                if sign * left > limit {
                    let told =
                        |value: f64| if trouble == ResponseFault::SlowStart { value.exp() } else { value };
                    found.push(Response {
                        place: (*place).clone(),
                        trouble,
                        value: told(*left),
                        limit: told(sign * limit),
                        level_dbfs: reading.level.get(),
                    });
                }
            }
        };
    let ok = |value: Result<f64, crate::analysis::NotMeasured>| value.ok();
    against(ResponseFault::SlowStart, 1.0, LEAST_START, &|reading| {
        ok(reading.onset.map(|onset| onset.get().max(1e-3).ln()))
    });
    against(ResponseFault::Weak, -1.0, LEAST_LEVEL_DB, &|reading| Some(reading.level.get()));
    against(ResponseFault::Buzz, 1.0, LEAST_BUZZ_DB, &|reading| {
        ok(reading.breath.map(|breath| breath.get()))
    });
    against(ResponseFault::Bends, -1.0, LEAST_BEND, &|reading| {
        reading
            .pitch_per_db
            .ok()
            .filter(|(slope, doubt)| doubt < &slope.abs().max(LEAST_BEND))
            .map(|(slope, _)| slope)
    });
    for one in
        found.iter_mut().filter(|one| one.trouble == ResponseFault::Bends && one.value.abs() >= CHOKES_FROM)
    {
        one.trouble = ResponseFault::Choking;
    }
    for (place, _, reading) in reeds {
        let wandering = reading.warnings.iter().find_map(|warning| match warning {
            Warning::Wandering { range } => Some(*range),
            _ => None,
        });
        if let Some(range) = wandering {
            found.push(Response {
                place: place.clone(),
                trouble: ResponseFault::Unsteady,
                value: range,
                limit: 4.0,
                level_dbfs: reading.level.get(),
            });
        }
    }
    found
}

/// A plate whose two reeds are weak is another trouble than a reed.
fn weak_on_both(found: &mut [Response]) {
    let weak: Vec<ReedPlace> =
        found.iter().filter(|one| one.trouble == ResponseFault::Weak).map(|one| one.place.clone()).collect();
    for one in found.iter_mut().filter(|one| one.trouble == ResponseFault::Weak) {
        let other = ReedPlace { plate: one.place.plate.clone(), stroke: one.place.stroke.other() };
        if weak.contains(&other) {
            one.trouble = ResponseFault::WeakOnBoth;
        }
    }
}
