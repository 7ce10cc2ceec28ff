//! The restorer's report: its parts in the order they are wanted at the bench.

use maud::{Markup, html};

use super::book::Book;
use super::dossier::Dossier;
use super::frame::{clean, page};
use super::{history, map, method, photos, plates, todo, tuning};
use crate::judgement::MeasuredAt;
use crate::report::ReportError;
use crate::report::sheet::fonts_ready;

/// The report as one HTML file: what to do next, the map, the tuning, what changed, every plate, method and cautions.
pub fn report_page(dossier: &Dossier) -> Result<String, ReportError> {
    fonts_ready()?;
    let book = Book::new(dossier)?;
    Ok(page(&format!("Report: {}", dossier.subject.title), body(&book)))
}

/// The report: its parts in the order they are wanted at the bench.
fn body(book: &Book) -> Markup {
    let dossier = book.dossier;
    let has_changes = dossier.subject.earlier.is_some_and(|earlier| earlier.comparison.is_some());
    html! {
        header {
            p.kind { "Report" }
            h1 { (clean(dossier.subject.title)) }
            p.passes { (pass_line(book)) }
            nav aria-label="Parts of the report" {
                a href="#next" { "What to do next" }
                a href="#map" { "Map" }
                a href="#tuning" { "Tuning" }
                @if has_changes { a href="#changes" { "What changed" } }
                a href="#plates" { "Plates" }
                a href="#method" { "Method" }
                a href="#cautions" { "Cautions" }
            }
        }
        main {
            (todo::section(book))
            (map::section(book))
            (tuning::sections(book))
            (history::section(book))
            (plates::section(book))
            (photos::section(book))
            (method::sections(book))
        }
        footer { p { "Made by Platenote " (env!("CARGO_PKG_VERSION")) " from the job's own takes and notes; the takes themselves are untouched." } }
    }
}

/// `before, 2026-04-30, 18 °C, in the instrument; after, …`
fn pass_line(book: &Book) -> Markup {
    let dossier = book.dossier;
    html! {
        @for (k, facts) in dossier.passes.iter().enumerate() {
            @if k > 0 { br; }
            span { "Pass " b { (facts.pass) } ", " (facts.date) }
            @if let Some(temperature) = facts.temperature_c { ", " (temperature) " °C" }
            @if let Some(place) = dossier.readings.get(k).and_then(|readings| readings.measured_at) {
                @match place {
                    MeasuredAt::Instrument => ", in the instrument",
                    MeasuredAt::Bench => ", on a test bench",
                }
            }
        }
    }
}
