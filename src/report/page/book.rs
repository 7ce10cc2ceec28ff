//! The dossier with what is looked up again and again, and its drawings.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::dossier::Dossier;
use crate::instrument::{PlatePlace, ReedPlace, ValvePlace};
use crate::judgement::{Findings, ReedFinding, ValveFinding};
use crate::report::ink::Format;
use crate::report::{Drawing, Kind, ReportError, drawings, paint, words};

/// The dossier, with what is looked up again and again.
pub(super) struct Book<'a> {
    pub dossier: &'a Dossier<'a>,
    pub anchors: BTreeMap<PlatePlace, String>,
    pub reeds: Vec<BTreeMap<&'a ReedPlace, &'a ReedFinding>>,
    pub valves: Vec<BTreeMap<&'a ValvePlace, &'a ValveFinding>>,
    /// Each drawing in both formats, ready to stand in a page.
    drawn: Vec<(Kind, Inline)>,
}

/// A drawing as it stands in a page: for wide screens and paper, and for telephones.
pub(super) struct Inline {
    pub wide: Vec<String>,
    pub narrow: Vec<String>,
}

impl<'a> Book<'a> {
    pub fn new(dossier: &'a Dossier<'a>) -> Result<Self, ReportError> {
        let mut book = Self::without_drawings(dossier);
        for format in [Format::Wide, Format::Narrow] {
            for drawing in drawings(&dossier.subject, format) {
                book.keep(&drawing, format)?;
            }
        }
        Ok(book)
    }

    pub fn without_drawings(dossier: &'a Dossier<'a>) -> Self {
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

    pub fn drawing(&self, wanted: &Kind) -> Option<&Inline> {
        self.drawn.iter().find(|(kind, _)| kind == wanted).map(|(_, inline)| inline)
    }

    pub fn findings(&self) -> &'a Findings {
        self.dossier.subject.findings
    }

    /// `#plate-7`
    pub fn address(&self, plate: &PlatePlace) -> String {
        format!("#{}", self.anchors.get(plate).map_or("plates", String::as_str))
    }

    /// A plate's name in a table: without its block where there is one only, as people may leave it out too.
    pub fn short(&self, place: &impl ToString, block: &str) -> String {
        let name = place.to_string();
        let is_alone = self.dossier.subject.instrument.blocks.len() == 1;
        match name.strip_prefix(block).map(str::trim_start).filter(|_| is_alone) {
            Some(short) => short.to_owned(),
            None => name,
        }
    }

    /// A link to a plate's part of the page, with the name of the plate, or of its reed or valve.
    pub fn link(&self, plate: &PlatePlace, place: &impl ToString) -> Markup {
        html! { a href=(self.address(plate)) { (self.short(place, &plate.block)) } }
    }

    /// `A7, outer valve leaks, inner valve no sign`: for those who do not see the map.
    pub fn in_a_word(&self, plate: &PlatePlace) -> String {
        let mut words = plate.to_string();
        for valve in self.dossier.subject.valves().iter().filter(|valve| valve.place.plate == *plate) {
            words += &format!(", {} valve {}", valve.place.face, verdict_words(valve));
        }
        for reed in self.findings().reeds.iter().filter(|reed| reed.place.plate == *plate) {
            if let Ok(pitch) = &reed.pitch {
                let cents = pitch.deviation.value.get();
                words += &words::figures(&format!(", {} {cents:+.1} cents", reed.place.stroke));
            }
        }
        words
    }
}

/// The verdict in words: `no sign`.
pub(super) fn verdict_words(valve: &ValveFinding) -> String {
    valve.verdict.as_str().to_owned()
}
