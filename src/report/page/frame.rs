//! What every page has around it, and the order of the report's parts.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{Book, history, method, plates};
use crate::judgement::MeasuredAt;
use crate::report::words::figures;

/// The style of all pages; colours are those of `ink.rs`.
const STYLE: &str = include_str!("style.css");

/// A whole document.
pub(super) fn page(title: &str, body: Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                // Nothing may be fetched, whatever a note or a name contains.
                meta http-equiv="Content-Security-Policy"
                    content="default-src 'none'; style-src 'unsafe-inline'; media-src data:; img-src data:";
                meta name="generator" content="platenote";
                meta name="color-scheme" content="light";
                title { (clean(title)) }
                style { (PreEscaped(STYLE)) }
            }
            body { (body) }
        }
    }
    .into_string()
}

/// The report: its parts in the order they are wanted at the bench.
pub(super) fn report(book: &Book, todo: &Markup, map: &Markup, tuning: &Markup) -> Markup {
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
            (todo)
            (map)
            (tuning)
            (history::section(book))
            (plates::section(book))
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

/// Control characters have no place in a document; the template library escapes all else.
pub(super) fn clean(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}

/// A sentence as it was said, with true minus signs.
pub(super) fn said(text: &str) -> String {
    figures(&clean(text))
}
