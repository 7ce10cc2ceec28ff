//! The standing and what is open as tables.

use super::Dossier;
use super::table::{Cell, Table};

/// One row for each slot of the plan.
pub(super) fn standing(dossier: &Dossier) -> Table {
    let rows = dossier.standing.valves.iter().map(|valve| {
        let told = valve.evidence.as_ref();
        vec![
            Cell::words(&valve.place.plate),
            Cell::words(valve.place.face),
            Cell::words(valve.state.name()),
            valve.since.map_or(Cell::Nothing, Cell::words),
            told.map_or(Cell::Nothing, |told| Cell::words(&told.pass)),
            Cell::maybe(told.map(|told| f64::from(told.take))),
            Cell::words(valve.reason()),
        ]
    });
    let columns = vec!["plate", "face", "state", "since", "pass", "take", "reason"];
    Table { name: "standing", columns, rows: rows.collect() }
}

/// One row for each step, in the order it is best done.
pub(super) fn next(dossier: &Dossier) -> Table {
    let rows = dossier.next.iter().map(|step| {
        vec![
            Cell::words(step.kind.name()),
            Cell::words(&step.place),
            Cell::Whether(step.lift_plate),
            Cell::words(&step.what),
            Cell::words(&step.reason),
            Cell::Text(step.tick.words()),
        ]
    });
    let columns = vec!["step", "place", "lift_plate", "what", "reason", "done_by"];
    Table { name: "next", columns, rows: rows.collect() }
}
