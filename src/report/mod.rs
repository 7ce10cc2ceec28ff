//! Charts, block map, tables, pages: draws and never measures; the only room that names plotters.
//!
//! [`charts`] takes what was found and gives pictures as SVG and PNG, both from the same drawing. The font is built in.
//! [`report_page`] puts the same drawings into one page with everything that is to be told, [`hand_over_page`] tells the
//! instrument's owner in plain words, `tables` gives the figures.

mod bench_sheets;
mod block_map;
mod cautions;
mod close_up;
mod error;
mod ink;
mod names;
mod page;
mod paint;
mod sheet;
mod standing_tables;
mod strips;
mod subject;
mod sweep_sheets;
mod table;
mod tables;
mod tremolo_chart;
mod tuning_chart;
mod words;

use rayon::prelude::*;

use crate::instrument::{PlatePlace, ReedPlace};

pub use bench_sheets::{fitting_page, next_list_page, work_list_page};
pub use cautions::{Hazard, caution, caution_for};
pub use close_up::{PassCloseUp, ReedCloseUp};
pub use error::ReportError;
use ink::Format;
pub use ink::night_style;
pub use page::{Clip, Dossier, NotedPhoto, hand_over_page, long_recording_page, report_page};
use sheet::Sheet;
pub use subject::{Earlier, Subject};
pub use sweep_sheets::{Certainty, DrawnCut, LongRecording, long_recording_charts};
pub use table::{Cell, Table, csv_line};
pub use tables::tables;
pub use words::figures;

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

/// Every chart of the subject: for each block its tuning and its map, then the close-ups.
///
/// A block too long for a page gives a chart for each row. The same subject gives the same bytes.
pub fn charts(subject: &Subject) -> Result<Vec<Chart>, ReportError> {
    sheet::fonts_ready()?;
    drawings(subject, Format::Wide)
        .into_par_iter()
        .map(|drawing| finished(drawing.name, &drawing.sheet))
        .collect()
}

/// A drawing to stand within a page: it takes the width it is given.
#[derive(Debug, Clone, PartialEq)]
pub struct PageDrawing {
    /// As [`Chart::name`].
    pub name: String,
    /// What it shows.
    pub title: String,
    /// An `svg` element.
    pub svg: String,
    /// How wide a page it is for: `screen`, `narrow` or `phone`; the page shows one of the three.
    pub format: &'static str,
}

/// Every drawing of the subject as it stands in a page, in three formats so that its words are legible at every width; what stands for a plate leads to the address and bears the words
/// that `lead` gives for it.
pub fn page_drawings(
    subject: &Subject,
    lead: &(dyn Fn(&PlatePlace) -> (String, String) + Sync),
) -> Result<Vec<PageDrawing>, ReportError> {
    sheet::fonts_ready()?;
    let formats = [(Format::Screen, "screen"), (Format::Narrow, "narrow"), (Format::Phone, "phone")];
    let drawn: Vec<(Drawing, &'static str)> = formats
        .into_iter()
        .flat_map(|(format, name)| drawings(subject, format).into_iter().map(move |drawing| (drawing, name)))
        .collect();
    let in_page = |(Drawing { name, sheet, .. }, format): (Drawing, &'static str)| {
        let svg = paint::page_svg(&sheet, lead)?;
        Ok(PageDrawing { name, title: sheet.title, svg, format })
    };
    drawn.into_par_iter().map(in_page).collect()
}

/// A sheet with what it shows.
pub(crate) struct Drawing {
    pub kind: Kind,
    /// As [`Chart::name`].
    pub name: String,
    pub sheet: Sheet,
}

/// What a drawing shows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Kind {
    /// The tuning of a block, by its name.
    Tuning(String),
    /// The map of a block, by its name.
    Map(String),
    /// How a rank beats with its companion, by block and row.
    Tremolo(String, String),
    /// The neighbourhood of a reed.
    CloseUp(ReedPlace),
}

/// Every drawing of the subject, block by block, then the close-ups.
pub(crate) fn drawings(subject: &Subject, format: Format) -> Vec<Drawing> {
    let mut names = names::Names::default();
    let mut drawn = Vec::new();
    for block in &subject.instrument.blocks {
        let (tuning, map) = (Kind::Tuning(block.name.clone()), Kind::Map(block.name.clone()));
        let kinds = [
            ("tuning", tuning, tuning_chart::sheets(subject, block, format)),
            ("map", map, block_map::sheets(subject, block, format)),
        ];
        for (word, kind, sheets) in kinds {
            for (row, sheet) in sheets {
                let parts: Vec<&str> = [block.name.as_str()].into_iter().chain(row).collect();
                drawn.push(Drawing { kind: kind.clone(), name: names.take(word, &parts), sheet });
            }
        }
    }
    for block in &subject.instrument.blocks {
        for (row, sheet) in tremolo_chart::sheets(subject, block, format) {
            let kind = Kind::Tremolo(block.name.clone(), row.to_owned());
            drawn.push(Drawing { kind, name: names.take("tremolo", &[&block.name, row]), sheet });
        }
    }
    for reed in subject.close_ups {
        if let Some(sheet) = close_up::sheet(subject.title, subject.instrument, reed, format) {
            let plate = words::plate_label(&reed.reed.plate);
            let stroke = reed.reed.stroke.to_string();
            let name = names.take("close-up", &[&reed.reed.plate.block, &plate, &stroke]);
            drawn.push(Drawing { kind: Kind::CloseUp(reed.reed.clone()), name, sheet });
        }
    }
    drawn
}

fn finished(name: String, sheet: &Sheet) -> Result<Chart, ReportError> {
    Ok(Chart { name, title: sheet.title.clone(), svg: paint::svg(sheet)?, png: paint::png(sheet)? })
}
