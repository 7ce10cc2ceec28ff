//! Every table of a report as plain data, for spreadsheets and other programs.

use serde_json::{Map, Value, json};

use super::{Dossier, standing_tables};
use crate::instrument::PlatePlace;
use crate::judgement::{Findings, Tune};
use crate::repair::Choice;

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A word or a sentence.
    Text(String),
    /// A figure, with every digit.
    Number(f64),
    /// Yes or no.
    Whether(bool),
    /// Not measured, or nothing to say.
    Nothing,
}

/// A table with one kind of row.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// A name for its files.
    pub name: &'static str,
    /// What each column is called; the unit is part of the name.
    pub columns: Vec<&'static str>,
    /// As many cells a row as there are columns.
    pub rows: Vec<Vec<Cell>>,
}

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

/// Cells of a CSV line; those with a separator, a quote or a line end in them are quoted, and what a spreadsheet would
/// take for a formula is kept from being one.
pub fn csv_line<C: AsRef<str>>(cells: &[C]) -> String {
    let quoted = |cell: &C| {
        let cell = match cell.as_ref() {
            number if number.parse::<f64>().is_ok() => number.to_owned(),
            text => harmless(text),
        };
        if cell.contains(['"', ',', ';', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell
        }
    };
    cells.iter().map(quoted).collect::<Vec<_>>().join(",")
}

impl Table {
    /// As CSV in UTF-8 with a head line; an empty cell for nothing, `yes` and `no`.
    pub fn csv(&self) -> String {
        let mut text = csv_line(&self.columns) + "\n";
        for row in &self.rows {
            let cells: Vec<String> = row
                .iter()
                .map(|cell| match cell {
                    Cell::Text(text) => harmless(text),
                    Cell::Number(number) => number.to_string(),
                    Cell::Whether(is_so) => if *is_so { "yes" } else { "no" }.to_owned(),
                    Cell::Nothing => String::new(),
                })
                .collect();
            text += &csv_line(&cells);
            text.push('\n');
        }
        text
    }

    /// As one JSON object: `format`, `table`, and `rows`, each an object with a field for each column.
    pub fn json(&self) -> String {
        let row = |cells: &Vec<Cell>| -> Map<String, Value> {
            self.columns.iter().map(|column| (*column).to_owned()).zip(cells.iter().map(Cell::json)).collect()
        };
        let rows: Vec<Map<String, Value>> = self.rows.iter().map(row).collect();
        format!("{:#}\n", json!({"format": 1, "table": self.name, "rows": rows}))
    }
}

impl Cell {
    fn json(&self) -> Value {
        match self {
            Cell::Text(text) => json!(text),
            Cell::Number(number) => json!(number),
            Cell::Whether(is_so) => json!(is_so),
            Cell::Nothing => Value::Null,
        }
    }

    pub(super) fn words(words: impl ToString) -> Self {
        Cell::Text(words.to_string())
    }

    pub(super) fn maybe(number: Option<f64>) -> Self {
        number.map_or(Cell::Nothing, Cell::Number)
    }
}

/// A text that a spreadsheet would take for a formula gets an apostrophe in front, as spreadsheets do themselves.
fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
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
            rows.push(vec![
                Cell::words(&findings.pass),
                Cell::words(&valve.place.plate),
                Cell::words(valve.place.face),
                Cell::words(valve.heard_on),
                Cell::words(valve.verdict.name()),
                Cell::Whether(valve.lift_plate()),
                Cell::words(&valve.reason),
                Cell::words(&valve.next),
            ]);
        }
    }
    let columns = vec!["pass", "plate", "face", "heard_on", "verdict", "lift_plate", "reason", "next"];
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
