//! Work on the bench: lengths as typed, the tray dealt out, marks in order, counts against each other.

mod bench;
mod expressions;
mod matching;
mod standing;
mod work_list;

use std::path::Path;

use platenote::instrument::Instrument;
use platenote::job::Plan;
use platenote::repair::{Happening, Mark, ValveRule, Work};

/// A plan of one block `bass` with these rows, as `plan.toml` has them.
fn plan(rows: &str) -> (Instrument, ValveRule) {
    let text = format!("format = 1\nbellows = \"unisonoric\"\n[[block]]\nname = \"bass\"\n{rows}");
    let plan = Plan::parse(&text, Path::new("plan.toml")).unwrap();
    (plan.instrument, plan.valve_rule)
}

/// Marks numbered from 1, ten minutes apart on one morning: place (empty for the job) and work as typed.
fn marks(instrument: &Instrument, typed: &[(&str, &str)]) -> Vec<Happening> {
    let day: jiff::civil::Date = "2026-03-02".parse().unwrap();
    let morning: jiff::Timestamp = "2026-03-02T08:00:00Z".parse().unwrap();
    let mark = |(n, (place, work)): (u32, &(&str, &str))| {
        let spots = if place.is_empty() { Vec::new() } else { instrument.spots(place).unwrap() };
        let at = morning + jiff::SignedDuration::from_mins(10 * i64::from(n));
        Happening::Mark(Mark { n, at, day, spots, work: Work::parse(&[work]).unwrap(), undone: false })
    };
    (1..).zip(typed).map(mark).collect()
}
