//! How a block is cut up for paper: rows into strips, strips onto sheets.

use std::ops::Range;

use crate::instrument::{Block, Row};

use super::ink::{Format, MARGIN, TITLE};

/// A part of a row that is drawn side by side.
pub(crate) struct Strip<'a> {
    pub row: &'a Row,
    /// Indices of its plates.
    pub plates: Range<usize>,
}

/// What one sheet shows.
pub(crate) struct Portion<'a> {
    /// The row's name where the block is too long for one sheet.
    pub row: Option<&'a str>,
    pub strips: Vec<Strip<'a>>,
}

impl Strip<'_> {
    /// `Row A, plates 1 to 12`
    pub(crate) fn heading(&self) -> String {
        match (self.plates.start + 1, self.plates.end) {
            (first, last) if first == last => format!("Row {}, plate {first}", self.row.name),
            (first, last) => format!("Row {}, plates {first} to {last}", self.row.name),
        }
    }
}

/// `Tuning of block bass, row A`; a long block name is shortened so that the row stays to be read.
pub(crate) fn block_title(what: &str, block: &Block, portion: &Portion) -> String {
    let row = portion.row.map_or(String::new(), |row| format!(", row {}", TITLE.fit(row, 150.0)));
    TITLE.fit_before(&format!("{what} of block {}", block.name), &row, Format::Wide.width() - 2.0 * MARGIN)
}

/// The whole block on one sheet when it takes at most `per_sheet` strips, else a sheet for each row.
pub(crate) fn portions(block: &Block, widest: usize, per_sheet: usize) -> Vec<Portion<'_>> {
    let rows: Vec<_> = block.rows.iter().filter(|row| !row.plates.is_empty()).collect();
    let cut: Vec<Vec<Strip>> = rows.iter().map(|row| strips(row, widest)).collect();
    let n_strips: usize = cut.iter().map(Vec::len).sum();
    if n_strips == 0 {
        return Vec::new();
    }
    if n_strips <= per_sheet || rows.len() == 1 {
        return vec![Portion { row: None, strips: cut.into_iter().flatten().collect() }];
    }
    rows.iter().zip(cut).map(|(row, strips)| Portion { row: Some(&row.name), strips }).collect()
}

/// As few strips as `widest` plates allow, as even as can be.
fn strips(row: &Row, widest: usize) -> Vec<Strip<'_>> {
    let n_plates = row.plates.len();
    let n_strips = n_plates.div_ceil(widest.max(1));
    let edge = |k: usize| k * n_plates / n_strips.max(1);
    (0..n_strips).map(|k| Strip { row, plates: edge(k)..edge(k + 1) }).collect()
}
