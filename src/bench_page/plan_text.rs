//! The table as the text of a plan, one value a line, to be read by the plan's own reader: a fault's line then says which
//! cell it is about.

use super::plan_table::{BlockTable, PlateCells, RowTable, Table, WITH_SPRING};
use crate::instrument::Note;

/// Lines, each with the cell it comes from.
#[derive(Default)]
struct Lines {
    text: String,
    cells: Vec<String>,
}

impl Lines {
    fn add(&mut self, text: &str, cell: &str) {
        self.text += text;
        self.text.push('\n');
        self.cells.push(cell.to_owned());
    }
}

impl Table {
    /// The plan's text, and for each of its lines the cell it comes from.
    pub(super) fn text(&self) -> (String, Vec<String>) {
        let mut lines = Lines::default();
        lines.add("format = 1", "");
        lines.add(&format!("title = {}", quoted(&self.title)), "title");
        lines.add(&format!("bellows = {}", quoted(&self.bellows)), "bellows");
        lines.add(&format!("reference_hz = {}", number(&self.reference)), "reference");
        for (b, block) in self.blocks.iter().enumerate() {
            write_block(&mut lines, block, b);
        }
        (lines.text, lines.cells)
    }
}

/// A note as it was typed, in the words of the plan; what is none stays as it is, and is found as a fault.
fn stored(text: &str) -> String {
    Note::typed(text).map_or_else(|_| text.to_owned(), Note::stored)
}

fn write_block(lines: &mut Lines, block: &BlockTable, b: usize) {
    let name = format!("{b}.name");
    lines.add("[[block]]", &name);
    lines.add(&format!("name = {}", quoted(&block.name)), &name);
    lines.add(
        &format!("outer_tongue_sounds_on = {}", quoted(&block.outer_tongue)),
        &format!("{b}.outer_tongue"),
    );
    lines.add(&format!("leak_limit_db = {}", number(&block.limit)), &format!("{b}.limit"));
    lines.add(&format!("tolerance_cents = {}", number(&block.tolerance)), &format!("{b}.tolerance"));
    for (r, row) in block.rows.iter().enumerate() {
        write_row(lines, row, &format!("{b}.{r}"));
    }
}

fn write_row(lines: &mut Lines, row: &RowTable, at: &str) {
    let name = format!("{at}.name");
    lines.add("[[block.row]]", &name);
    lines.add(&format!("name = {}", quoted(&row.name)), &name);
    // Two values a plate, each on a line of its own.
    let mut pairs = |key: &str, first: Column, second: Column| {
        lines.add(&format!("{key} = ["), "");
        for (p, plate) in row.plates.iter().enumerate() {
            lines.add(&format!("[{},", (first.1)(plate)), &format!("{at}.{p}.{}", first.0));
            lines.add(&format!("{}],", (second.1)(plate)), &format!("{at}.{p}.{}", second.0));
        }
        lines.add("]", "");
    };
    pairs(
        "valves_mm",
        ("outer", &|plate| quoted(plate.outer.trim())),
        ("inner", &|plate| quoted(plate.inner.trim())),
    );
    pairs(
        "slots_mm",
        ("slot_press", &|plate| slot(&plate.slot_press)),
        ("slot_draw", &|plate| slot(&plate.slot_draw)),
    );
    pairs(
        "material",
        ("outer_kind", &|plate| quoted(material(&plate.outer_kind))),
        ("inner_kind", &|plate| quoted(material(&plate.inner_kind))),
    );
    // A name that cannot be read is told once, at the name.
    if row.name.chars().all(char::is_alphabetic) {
        lines.add("helper_springs = [", "");
        for (p, plate) in row.plates.iter().enumerate() {
            for (kind, face) in [(&plate.outer_kind, "outer"), (&plate.inner_kind, "inner")] {
                if kind.ends_with(WITH_SPRING) {
                    let spring = quoted(&format!("{}{} {face}", row.name, p + 1));
                    lines.add(&format!("{spring},"), &format!("{at}.{p}.{face}_kind"));
                }
            }
        }
        lines.add("]", "");
    }
    let key = if row.tremolo_in == "beats" { "tremolo_beats_hz" } else { "tremolo_cents" };
    if let Some(value) = tremolo(&row.tremolo) {
        lines.add(&format!("{key} = {value}"), &format!("{at}.tremolo"));
    }
    for (stroke, head) in [("press", "notes = { press = ["), ("draw", "], draw = [")] {
        lines.add(head, &name);
        for (p, plate) in row.plates.iter().enumerate() {
            let note = if stroke == "press" { plate.press.trim() } else { plate.draw.trim() };
            lines.add(
                &format!("{},", quoted(&stored(if note.is_empty() { "-" } else { note }))),
                &format!("{at}.{p}.{stroke}"),
            );
        }
    }
    lines.add("] }", &name);
}

/// A column by its name, and what a plate has in it.
type Column<'a> = (&'a str, &'a dyn Fn(&PlateCells) -> String);

fn material(kind: &str) -> &str {
    kind.strip_suffix(WITH_SPRING).unwrap_or(kind)
}

fn slot(text: &str) -> String {
    let text = text.trim();
    // Nothing typed is a slot that was not measured.
    quoted(if text.is_empty() { "0" } else { text })
}

/// `12`, or `F#3 12.3, F4 15.6`; `None` for nothing.
fn tremolo(text: &str) -> Option<String> {
    let text = text.trim();
    let points: Vec<Vec<&str>> =
        text.split([',', ';']).map(|part| part.split_whitespace().collect()).collect();
    match points.as_slice() {
        [none] if none.is_empty() || none.as_slice() == ["0"] => None,
        _ if parsed(text).is_some() => Some(number(text)),
        _ => {
            let points =
                points.iter().filter(|point| !point.is_empty()).map(|point| match point.as_slice() {
                    [note, value] => format!("{} = {}", quoted(&stored(note)), number(value)),
                    other => format!("{} = \"\"", quoted(&other.join(" "))),
                });
            Some(format!("{{ {} }}", points.collect::<Vec<_>>().join(", ")))
        }
    }
}

/// A number as the plan writes it; in quotes where it is none, so that the reader says so.
fn number(text: &str) -> String {
    parsed(text).map_or_else(|| quoted(text.trim()), |number| format!("{number:?}"))
}

fn parsed(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".").replace('−', "-");
    text.parse::<f64>().ok().filter(|number| number.is_finite())
}

/// A TOML string; one of JSON is one of TOML, but for a character it leaves as it is.
fn quoted(text: &str) -> String {
    let text: String = text.chars().filter(|letter| *letter != '\u{7f}').collect();
    serde_json::to_string(&text).unwrap_or_else(|_| "\"\"".into())
}
