//! The pages people read: the restorer's report, the hand-over sheet and the long recording, each one self-contained file.
//!
//! Nothing is fetched: style, drawings and sound are in the file. Text of the user's is escaped by the template library.

mod frame;
mod history;
mod long_recording;
mod map;
mod method;
mod owner;
mod plate_tables;
mod plates;
mod todo;
mod tuning;

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::instrument::{PlatePlace, ReedPlace, ValvePlace};
use crate::job::{PassFacts, Visit, Workshop};
use crate::judgement::{Findings, PassReadings, ReedFinding, ValveFinding};
use crate::repair::{InstrumentPitch, Mark, NextStep, Standing, WorkList};

use super::ink::Format;
use super::{Drawing, Kind, ReportError, Subject, drawings, paint};
pub use long_recording::long_recording_page;
pub use owner::hand_over_page;

/// Everything a report tells.
#[derive(Debug, Clone, Copy)]
pub struct Dossier<'a> {
    /// What was found, as the charts show it.
    pub subject: Subject<'a>,
    /// The passes that are told of, the earlier first.
    pub passes: &'a [PassFacts],
    /// Their readings, in the same order.
    pub readings: &'a [&'a PassReadings],
    /// Which clocks of sound cards were corrected for, one sentence each.
    pub clocks: &'a [String],
    /// What is to be said of the takes, one sentence each.
    pub words: &'a [String],
    /// What findings and marks ask for.
    pub work: &'a WorkList,
    /// The bench notes of the visit.
    pub marks: &'a [Mark],
    /// What holds now, from all passes and notes.
    pub standing: &'a Standing,
    /// Everything that is open, in the order it is best done.
    pub next: &'a [NextStep],
    /// The visit that is told of.
    pub visit: &'a Visit,
    /// Where A4 stood in each pass of the visit.
    pub pitches: &'a [InstrumentPitch],
    /// Who hands the instrument over.
    pub workshop: &'a Workshop,
    /// Sound to be played from the page.
    pub clips: &'a [Clip],
    /// How many clips were left out for the sake of the page's size.
    pub clips_left_out: usize,
}

/// A short piece of a take, to be listened to.
#[derive(Debug, Clone, PartialEq)]
pub struct Clip {
    /// The reed.
    pub reed: ReedPlace,
    /// The pass.
    pub pass: String,
    /// A whole WAV file.
    pub wav: Vec<u8>,
}

/// The report as one HTML file: what to do next, the map, the tuning, what changed, every plate, method and cautions.
pub fn report_page(dossier: &Dossier) -> Result<String, ReportError> {
    super::sheet::fonts_ready()?;
    let book = Book::new(dossier)?;
    Ok(frame::page(
        &format!("Report: {}", dossier.subject.title),
        frame::report(&book, &todo::section(&book), &map::section(&book), &tuning::sections(&book)),
    ))
}

/// The dossier, with what is looked up again and again.
struct Book<'a> {
    dossier: &'a Dossier<'a>,
    anchors: BTreeMap<PlatePlace, String>,
    reeds: Vec<BTreeMap<&'a ReedPlace, &'a ReedFinding>>,
    valves: Vec<BTreeMap<&'a ValvePlace, &'a ValveFinding>>,
    /// Each drawing in both formats, ready to stand in a page.
    drawn: Vec<(Kind, Inline)>,
}

/// A drawing as it stands in a page: for wide screens and paper, and for telephones.
struct Inline {
    wide: Vec<String>,
    narrow: Vec<String>,
}

impl<'a> Book<'a> {
    fn new(dossier: &'a Dossier<'a>) -> Result<Self, ReportError> {
        let mut book = Self::without_drawings(dossier);
        for format in [Format::Wide, Format::Narrow] {
            for drawing in drawings(&dossier.subject, format) {
                book.keep(&drawing, format)?;
            }
        }
        Ok(book)
    }

    fn without_drawings(dossier: &'a Dossier<'a>) -> Self {
        let places = dossier.subject.instrument.plates().map(|(place, ..)| place);
        let anchors: BTreeMap<PlatePlace, String> =
            (1..).zip(places).map(|(n, place)| (place, format!("plate-{n}"))).collect();
        let passes: Vec<&Findings> = match dossier.subject.earlier {
            Some(earlier) => vec![earlier.findings, dossier.subject.findings],
            None => vec![dossier.subject.findings],
        };
        let reeds = passes.iter().map(|found| found.reeds.iter().map(|reed| (&reed.place, reed)).collect());
        let valves =
            passes.iter().map(|found| found.valves.iter().map(|valve| (&valve.place, valve)).collect());
        Self { dossier, anchors, reeds: reeds.collect(), valves: valves.collect(), drawn: Vec::new() }
    }

    fn keep(&mut self, drawing: &Drawing, format: Format) -> Result<(), ReportError> {
        let svg = paint::page_svg(&drawing.sheet, &|plate| (self.address(plate), self.in_a_word(plate)))?;
        let at = self.drawn.iter().position(|(kind, _)| *kind == drawing.kind).unwrap_or_else(|| {
            let none = Inline { wide: Vec::new(), narrow: Vec::new() };
            self.drawn.push((drawing.kind.clone(), none));
            self.drawn.len() - 1
        });
        if let Some((_, inline)) = self.drawn.get_mut(at) {
            format.pick(&mut inline.wide, &mut inline.narrow).push(svg);
        }
        Ok(())
    }

    fn drawing(&self, wanted: &Kind) -> Option<&Inline> {
        self.drawn.iter().find(|(kind, _)| kind == wanted).map(|(_, inline)| inline)
    }

    fn findings(&self) -> &'a Findings {
        self.dossier.subject.findings
    }

    /// `#plate-7`
    fn address(&self, plate: &PlatePlace) -> String {
        format!("#{}", self.anchors.get(plate).map_or("plates", String::as_str))
    }

    /// A plate's name in a table: without its block where there is one only, as people may leave it out too.
    fn short(&self, place: &impl ToString, block: &str) -> String {
        let name = place.to_string();
        let is_alone = self.dossier.subject.instrument.blocks.len() == 1;
        match name.strip_prefix(block).map(str::trim_start).filter(|_| is_alone) {
            Some(short) => short.to_owned(),
            None => name,
        }
    }

    /// A link to a plate's part of the page, with the name of the plate, or of its reed or valve.
    fn link(&self, plate: &PlatePlace, place: &impl ToString) -> Markup {
        html! { a href=(self.address(plate)) { (self.short(place, &plate.block)) } }
    }

    /// `A7, outer valve leaks, inner valve no sign`: for those who do not see the map.
    fn in_a_word(&self, plate: &PlatePlace) -> String {
        let mut words = plate.to_string();
        for valve in self.dossier.subject.valves().iter().filter(|valve| valve.place.plate == *plate) {
            words += &format!(", {} valve {}", valve.place.face, verdict_words(valve));
        }
        for reed in self.findings().reeds.iter().filter(|reed| reed.place.plate == *plate) {
            if let Ok(pitch) = &reed.pitch {
                let cents = pitch.deviation.value.get();
                words += &super::words::figures(&format!(", {} {cents:+.1} cents", reed.place.stroke));
            }
        }
        words
    }
}

/// The verdict in words: `no sign`.
fn verdict_words(valve: &ValveFinding) -> String {
    valve.verdict.as_str().to_owned()
}
