//! CSV lists as people's spreadsheets write them: a header of known names, `,` or `;` between.

use std::path::Path;

use super::Error;
use super::nearest::nearest;

/// A CSV list that was read: its rows, each with its line in the file.
#[derive(Debug, Clone)]
pub struct Table {
    columns: Vec<String>,
    rows: Vec<(u64, Vec<String>)>,
}

/// A row of a [`Table`].
#[derive(Debug, Clone, Copy)]
pub struct TableRow<'a> {
    /// The line in the file, counted from 1.
    pub line: u64,
    columns: &'a [String],
    cells: &'a [String],
}

impl Table {
    /// Read a list; `file` is named in the messages only.
    ///
    /// The header must have all of `needed` and may have `optional`, in any order and case. Cells are trimmed.
    /// Fails on an unknown, missing or doubled column and on a row with more cells than the header.
    pub fn parse(bytes: &[u8], file: &Path, needed: &[&str], optional: &[&str]) -> Result<Self, Error> {
        let fault = |line: u64, wrong: String, right: String| Error::List {
            file: file.to_owned(),
            line,
            wrong,
            right,
        };
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let header = bytes.split(|&byte| byte == b'\n').next().unwrap_or_default();
        // Spreadsheets of countries with a decimal comma put `;` between the cells.
        let separator = if header.contains(&b';') && !header.contains(&b',') { b';' } else { b',' };
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .trim(csv::Trim::All)
            .has_headers(false)
            .flexible(true)
            .from_reader(bytes);
        let mut columns: Vec<String> = Vec::new();
        let mut rows = Vec::new();
        let known: Vec<&str> = needed.iter().chain(optional).copied().collect();
        for record in reader.records() {
            let record = record.map_err(|error| {
                let line = error.position().map_or(1, csv::Position::line);
                fault(
                    line,
                    "this is not a line of text in UTF-8".into(),
                    "save the list as CSV in UTF-8".into(),
                )
            })?;
            let line = record.position().map_or(1, csv::Position::line);
            let cells: Vec<String> = record.iter().map(|cell| without_guard(cell).to_owned()).collect();
            if columns.is_empty() {
                columns = cells.iter().map(|name| name.to_lowercase()).collect();
                check_header(&columns, needed, &known).map_err(|(wrong, right)| fault(line, wrong, right))?;
                continue;
            }
            if cells.len() > columns.len() {
                let wrong = format!("{} cells under {} columns", cells.len(), columns.len());
                return Err(fault(line, wrong, "put a cell with the separator in it into quotes".into()));
            }
            if cells.iter().any(|cell| !cell.is_empty()) {
                rows.push((line, cells));
            }
        }
        if columns.is_empty() {
            return Err(fault(
                1,
                "the list is empty".into(),
                format!("begin with the header `{}`", known.join(",")),
            ));
        }
        Ok(Self { columns, rows })
    }

    /// The rows, in the list's order.
    pub fn rows(&self) -> impl Iterator<Item = TableRow<'_>> {
        self.rows.iter().map(|(line, cells)| TableRow { line: *line, columns: &self.columns, cells })
    }

    /// Whether the header has this column.
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|name| name == column)
    }
}

impl<'a> TableRow<'a> {
    /// The cell of a column; empty where the row or the header has none.
    pub fn get(&self, column: &str) -> &'a str {
        let idx = self.columns.iter().position(|name| name == column);
        idx.and_then(|idx| self.cells.get(idx)).map_or("", String::as_str)
    }
}

/// The cell without the apostrophe that keeps a spreadsheet from taking it for a formula.
fn without_guard(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|text| text.starts_with(['=', '+', '-', '@'])).unwrap_or(cell)
}

fn check_header(columns: &[String], needed: &[&str], known: &[&str]) -> Result<(), (String, String)> {
    for (idx, name) in columns.iter().enumerate() {
        if !known.contains(&name.as_str()) {
            let right =
                format!("did you mean `{}`? The columns are `{}`", nearest(name, known), known.join(","));
            return Err((format!("there is no column `{name}`"), right));
        }
        if columns.iter().take(idx).any(|earlier| earlier == name) {
            return Err((format!("column `{name}` is there twice"), "leave one out".into()));
        }
    }
    match needed.iter().find(|name| !columns.iter().any(|column| column == *name)) {
        Some(missing) => {
            let right = format!("begin with the header `{}`", needed.join(","));
            Err((format!("column `{missing}` is missing"), right))
        }
        None => Ok(()),
    }
}
