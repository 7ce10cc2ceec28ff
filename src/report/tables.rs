//! Every table of a report as plain data, for spreadsheets and other programs.

use super::table::{Cell, Table};
use super::{Dossier, standing_tables};
use crate::instrument::PlatePlace;
use crate::judgement::{Findings, Tune};
use crate::repair::Choice;

/// The tables of a report: passes, reeds and valves of each pass, signs, swaps, work, and what changed.
pub fn tables(dossier: &Dossier) -> Vec<Table> {
    let all = dossier.subject.passes();
    let mut tables = vec![
        passes(dossier),
        reeds(&all),
        valves(&all),
        signs(&all),
        swaps(&all),
        standing_tables::standing(dossier),
        standing_tables::next(dossier),
        work(dossier),
        notes(dossier),
    ];
    tables.extend(changes(dossier));
    tables
}

fn passes(dossier: &Dossier) -> Table {
    let rows = dossier.passes.iter().map(|pass| {
        vec![
            Cell::words(&pass.pass),
            Cell::words(&pass.date),
            Cell::words(pass.place.name()),
            Cell::maybe(pass.temperature_c),
        ]
    });
    Table {
        name: "passes",
        columns: vec!["pass", "date", "measured_in", "temperature_c"],
        rows: rows.collect(),
    }
}

fn reeds(passes: &[&Findings]) -> Table {
    let mut rows = Vec::new();
    for findings in passes {
        for reed in &findings.reeds {
            let pitch = reed.pitch.as_ref().ok();
            let tune = pitch.and_then(|pitch| pitch.tune).map(Tune::as_str);
            rows.push(vec![
                Cell::words(&findings.pass),
                Cell::words(&reed.place),
                Cell::words(reed.note),
                Cell::Number(reed.target.get()),
                Cell::maybe(pitch.map(|pitch| pitch.f0.get())),
                Cell::maybe(pitch.map(|pitch| pitch.deviation.value.get())),
                Cell::maybe(pitch.map(|pitch| pitch.deviation.uncertainty.get())),
                Cell::maybe(pitch.map(|pitch| pitch.f0.beat_rate(reed.target))),
                tune.map_or(Cell::Nothing, Cell::words),
                reed.pitch.as_ref().err().map_or(Cell::Nothing, Cell::words),
            ]);
        }
    }
    let columns = vec![
        "pass",
        "place",
        "note",
        "target_hz",
        "f0_hz",
        "cents",
        "uncertainty_cents",
        "beats_hz",
        "tune",
        "not_measured",
    ];
    Table { name: "reeds", columns, rows }
}

fn valves(passes: &[&Findings]) -> Table {
    let mut rows = Vec::new();
    for findings in passes {
        for valve in &findings.valves {
            let leak = valve.leak.as_ref();
            rows.push(vec![
                Cell::words(&findings.pass),
                Cell::words(&valve.place.plate),
                Cell::words(valve.place.face),
                Cell::words(valve.heard_on),
                Cell::words(valve.verdict.name()),
                Cell::Whether(valve.lift_plate()),
                Cell::maybe(leak.and_then(|leak| leak.rank).map(f64::from)),
                Cell::maybe(leak.and_then(|leak| leak.size)),
                Cell::maybe(leak.and_then(|leak| leak.low)),
                Cell::maybe(leak.and_then(|leak| leak.high)),
                Cell::words(&valve.reason),
                Cell::words(&valve.next),
            ]);
        }
    }
    // Sizes are shares of the opposite tongue's opening at rest.
    let columns = vec![
        "pass",
        "plate",
        "face",
        "heard_on",
        "verdict",
        "lift_plate",
        "order_to_look",
        "size_share",
        "size_share_low",
        "size_share_high",
        "reason",
        "next",
    ];
    Table { name: "valves", columns, rows }
}

fn signs(passes: &[&Findings]) -> Table {
    let mut rows = Vec::new();
    for findings in passes {
        for valve in &findings.valves {
            for sign in &valve.signs {
                rows.push(vec![
                    Cell::words(&findings.pass),
                    Cell::words(&valve.place.plate),
                    Cell::words(valve.place.face),
                    Cell::words(sign.kind.name()),
                    Cell::maybe(sign.value),
                    Cell::Number(sign.limit),
                    Cell::words(sign.kind.unit()),
                    Cell::Whether(sign.stands_out),
                ]);
            }
        }
    }
    let columns = vec!["pass", "plate", "face", "sign", "value", "limit", "unit", "stands_out"];
    Table { name: "signs", columns, rows }
}

fn swaps(passes: &[&Findings]) -> Table {
    let places =
        |places: &[PlatePlace]| places.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
    let rows = passes.iter().flat_map(|findings| {
        findings.swaps.iter().map(|swap| {
            vec![Cell::words(&findings.pass), Cell::Text(places(&swap.places)), Cell::Whether(swap.sure)]
        })
    });
    Table { name: "swaps", columns: vec!["pass", "plates", "sure"], rows: rows.collect() }
}

fn work(dossier: &Dossier) -> Table {
    let mut rows = Vec::new();
    for task in &dossier.work.tasks {
        for valve in &task.valves {
            let (from, bin) = match &valve.replacement {
                Some(Choice::FromTray { lot, .. }) => (Cell::words("tray"), lot.bin.clone()),
                Some(Choice::Cut) => (Cell::words("cut"), None),
                Some(Choice::NotMeasured) => (Cell::words("not_measured"), None),
                None => (Cell::Nothing, None),
            };
            rows.push(vec![
                Cell::words(&task.plate),
                Cell::words(valve.face),
                Cell::Whether(task.lift),
                Cell::words(valve.trouble.name()),
                Cell::maybe(valve.length.map(|length| length.get())),
                from,
                bin.map_or(Cell::Nothing, Cell::Text),
                Cell::words(&valve.reason),
            ]);
        }
    }
    let columns = vec!["plate", "face", "lift_plate", "trouble", "length_mm", "from", "bin", "reason"];
    Table { name: "work", columns, rows }
}

fn notes(dossier: &Dossier) -> Table {
    let rows = dossier.marks.iter().map(|mark| {
        let places: Vec<String> = mark.spots.iter().map(ToString::to_string).collect();
        vec![
            Cell::Number(f64::from(mark.n)),
            Cell::words(mark.at),
            Cell::Text(places.join("; ")),
            Cell::words(&mark.work),
            Cell::Whether(mark.undone),
        ]
    });
    Table { name: "marks", columns: vec!["n", "at", "places", "work", "undone"], rows: rows.collect() }
}

fn changes(dossier: &Dossier) -> Vec<Table> {
    let Some(comparison) = dossier.subject.earlier.and_then(|earlier| earlier.comparison) else {
        return Vec::new();
    };
    let valves = comparison.valves.iter().map(|valve| {
        vec![
            Cell::words(&valve.place.plate),
            Cell::words(valve.place.face),
            Cell::words(valve.change.name()),
            Cell::words(&valve.reason),
        ]
    });
    let reeds = comparison.reeds.iter().map(|reed| {
        vec![
            Cell::words(&reed.place),
            Cell::Number(reed.change.value.get()),
            Cell::maybe(reed.temperature.map(|part| part.get())),
            Cell::maybe(reed.common_shift.map(|part| part.get())),
            Cell::Number(reed.own.value.get()),
            Cell::Number(reed.own.uncertainty.get()),
            reed.astray_in.as_ref().map_or(Cell::Nothing, Cell::words),
        ]
    });
    let columns = vec![
        "place",
        "cents",
        "temperature_cents",
        "common_shift_cents",
        "own_cents",
        "own_uncertainty_cents",
        "other_plate_in",
    ];
    vec![
        Table {
            name: "valve-changes",
            columns: vec!["plate", "face", "change", "reason"],
            rows: valves.collect(),
        },
        Table { name: "reed-changes", columns, rows: reeds.collect() },
    ]
}
