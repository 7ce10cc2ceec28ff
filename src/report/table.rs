//! A table as plain data, and its forms for spreadsheets and other programs.

use serde_json::{Map, Value, json};

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

/// Cells of a CSV line; those with a separator, a quote or a line end in them are quoted, and what a spreadsheet would
/// take for a formula is kept from being one.
pub fn csv_line<C: AsRef<str>>(cells: &[C]) -> String {
    let kept = cells.iter().map(|cell| match cell.as_ref() {
        number if number.parse::<f64>().is_ok() => number.to_owned(),
        text => harmless(text),
    });
    // Some spreadsheets take a semicolon for a separator too: what holds the "comment" sign is quoted.
    let mut line = csv::WriterBuilder::new().comment(Some(b';')).from_writer(Vec::new());
    // Memory takes every record, and what goes in as text comes out as text.
    let _ = line.write_record(kept.map(String::into_bytes));
    let text = line.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok());
    text.unwrap_or_default().trim_end_matches('\n').to_owned()
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
