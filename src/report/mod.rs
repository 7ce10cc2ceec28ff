//! Charts, block map, tables: draws and never measures; the only room that names plotters.
//!
//! [`charts`] takes what was found and gives pictures as SVG and PNG, both from the same drawing. The font is built in.

mod bench_sheets;
mod block_map;
mod cautions;
mod close_up;
mod error;
mod ink;
mod names;
mod paint;
mod sheet;
mod strips;
mod sweep_sheets;
mod tuning_chart;
mod words;

use rayon::prelude::*;

use crate::instrument::{Instrument, Plate, Stroke};
use crate::judgement::{Comparison, Findings};

pub use bench_sheets::{fitting_page, work_list_page};
pub use cautions::{Work, caution};
pub use close_up::{PassCloseUp, ReedCloseUp};
pub use error::ReportError;
use sheet::Sheet;
pub use sweep_sheets::{Certainty, DrawnCut, LongRecording, long_recording_charts, long_recording_page};

/// What the charts are about.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// The job's title.
    pub title: &'a str,
    /// The plan.
    pub instrument: &'a Instrument,
    /// The pass to draw.
    pub findings: &'a Findings,
    /// The pass before it, drawn along.
    pub earlier: Option<Earlier<'a>>,
    /// Reeds to look at closely.
    pub close_ups: &'a [ReedCloseUp],
}

/// A pass before the one to draw.
#[derive(Debug, Clone, Copy)]
pub struct Earlier<'a> {
    /// What was found in it.
    pub findings: &'a Findings,
    /// What has changed since.
    pub comparison: Option<&'a Comparison>,
}

/// A finished picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// A name for its files, without ending; safe on any file system, and each only once.
    pub name: String,
    /// What it shows.
    pub title: String,
    /// As a complete SVG document.
    pub svg: String,
    /// As a PNG file with twice the SVG's pixels.
    pub png: Vec<u8>,
}

impl Subject<'_> {
    /// The passes that are drawn, the earlier first.
    fn passes(&self) -> Vec<&Findings> {
        self.earlier.iter().map(|earlier| earlier.findings).chain([self.findings]).collect()
    }
}

/// Every chart of the subject: for each block its tuning and its map, then the close-ups.
///
/// A block too long for a page gives a chart for each row. The same subject gives the same bytes.
pub fn charts(subject: &Subject) -> Result<Vec<Chart>, ReportError> {
    sheet::fonts_ready()?;
    let mut names = names::Names::default();
    let mut drawn: Vec<(String, Sheet)> = Vec::new();
    for block in &subject.instrument.blocks {
        let kinds =
            [("tuning", tuning_chart::sheets(subject, block)), ("map", block_map::sheets(subject, block))];
        for (kind, sheets) in kinds {
            for (row, sheet) in sheets {
                let parts: Vec<&str> = [block.name.as_str()].into_iter().chain(row).collect();
                drawn.push((names.take(kind, &parts), sheet));
            }
        }
    }
    for reed in subject.close_ups {
        if let Some(sheet) = close_up::sheet(subject.title, subject.instrument, reed) {
            let plate = words::plate_label(&reed.reed.plate);
            let stroke = reed.reed.stroke.to_string();
            drawn.push((names.take("close-up", &[&reed.reed.plate.block, &plate, &stroke]), sheet));
        }
    }
    drawn.into_par_iter().map(|(name, sheet)| finished(name, &sheet)).collect()
}

fn finished(name: String, sheet: &Sheet) -> Result<Chart, ReportError> {
    Ok(Chart { name, title: sheet.title.clone(), svg: paint::svg(sheet)?, png: paint::png(sheet)? })
}

/// A plate's note, or its two notes, press first.
fn notes(plate: &Plate) -> Vec<String> {
    let mut notes: Vec<String> = Stroke::BOTH
        .iter()
        .filter_map(|stroke| *plate.reeds.on(*stroke))
        .map(|reed| reed.note.to_string())
        .collect();
    notes.dedup();
    notes
}
