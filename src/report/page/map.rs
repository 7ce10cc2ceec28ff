//! The block map, each plate leading to its part of the page; and how a drawing stands in a page.

use maud::{Markup, PreEscaped, html};

use super::book::{Book, Inline};
use crate::report::Kind;

pub(super) fn section(book: &Book) -> Markup {
    html! {
        section id="map" {
            h2 { "Map" }
            p.hint.on-screen { "Choose a plate to see its part of the report." }
            @for block in &book.dossier.subject.instrument.blocks {
                @if let Some(inline) = book.drawing(&Kind::Map(block.name.clone())) { (drawing(inline)) }
            }
        }
    }
}

/// A drawing in both formats, of which the style shows one.
pub(super) fn drawing(inline: &Inline) -> Markup {
    html! {
        @for svg in &inline.wide { div.drawing.wide { (PreEscaped(svg)) } }
        @for svg in &inline.narrow { div.drawing.narrow { (PreEscaped(svg)) } }
    }
}
