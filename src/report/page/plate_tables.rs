//! The plates on paper: a table a row, so that a rank of 41 plates needs a few sheets; cards follow for what is open.

use maud::{Markup, html};

use super::book::Book;
use crate::instrument::{Block, Face, PlatePlace, ReedPlace, Row, Stroke, ValvePlace};
use crate::report::words::signed;

/// A table for each row of the plan.
pub(super) fn tables(book: &Book) -> Markup {
    html! {
        div.on-paper {
            @for block in &book.dossier.subject.instrument.blocks {
                @for row in &block.rows { (table(book, block, row)) }
            }
            p.hint { "Cards follow for the plates with something open." }
        }
    }
}

/// Whether something is open on the plate.
pub(super) fn is_open(book: &Book, place: &PlatePlace) -> bool {
    let in_swap = book.dossier.standing.swaps.iter().any(|swap| swap.places.contains(place));
    in_swap || book.dossier.next.iter().any(|step| step.plate == *place)
}

fn table(book: &Book, block: &Block, row: &Row) -> Markup {
    html! {
        table {
            caption { (block.name) " " (row.name) }
            thead { tr {
                th { "Plate" } th { "Note" } th { "Outer valve" } th { "Inner valve" }
                th.figure { "Press" } th.figure { "Draw" } th { "Open" }
            } }
            tbody {
                @for (number, plate) in (1..).zip(&row.plates) {
                    @let place = PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
                    tr {
                        td { (row.name) (number) }
                        td { (crate::report::subject::notes(plate).join(" / ")) }
                        @for face in Face::BOTH { td { (valve(book, &place, face)) } }
                        @for stroke in Stroke::BOTH { td.figure { (pitch(book, &place, stroke)) } }
                        td { @if is_open(book, &place) { "open" } }
                    }
                }
            }
        }
    }
}

fn valve(book: &Book, plate: &PlatePlace, face: Face) -> &'static str {
    let place = ValvePlace { plate: plate.clone(), face };
    book.dossier.standing.valve(&place).map_or("", |valve| valve.state.words())
}

/// The newest pitch, cents against the target.
fn pitch(book: &Book, plate: &PlatePlace, stroke: Stroke) -> String {
    let reed = book.dossier.standing.reed(&ReedPlace { plate: plate.clone(), stroke });
    let told = reed.and_then(|reed| reed.evidence.as_ref());
    told.map_or("–".to_owned(), |told| signed(told.pitch.deviation.value.get(), 1))
}
