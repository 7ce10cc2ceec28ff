//! The plates on paper: a table a row, so that a rank of 41 plates needs a few sheets; cards follow for what is open.

use maud::{Markup, html};

use super::book::Book;
use crate::instrument::{Block, Face, PlatePlace, ReedPlace, Row, Stroke, ValvePlace};
use crate::repair::{ReedState, StepKind};
use crate::report::words::signed;

/// A table for each row of the plan.
pub(super) fn tables(book: &Book) -> Markup {
    html! {
        div.on-paper {
            @for block in &book.dossier.subject.instrument.blocks {
                @for row in &block.rows { (table(book, block, row)) }
            }
            p.hint { "Cents against the target" @if book.reeds.len() > 1 { ", earlier → newest" } "; ▲ to be raised, ▼ to be lowered. "
                "Cards follow for the plates whose valves want work." }
        }
    }
}

/// Whether something is open on the plate.
pub(super) fn is_open(book: &Book, place: &PlatePlace) -> bool {
    let in_swap = book.dossier.standing.swaps.iter().any(|swap| swap.places.contains(place));
    in_swap || book.dossier.next.iter().any(|step| step.plate == *place)
}

/// Whether the plate has a card on paper: what its reeds want stands in the list and in the table.
pub(super) fn has_card(book: &Book, place: &PlatePlace) -> bool {
    let is_for_card = |kind| matches!(kind, StepKind::Swap | StepKind::Valve | StepKind::ListenAgain);
    let in_swap = book.dossier.standing.swaps.iter().any(|swap| swap.places.contains(place));
    in_swap || book.dossier.next.iter().any(|step| step.plate == *place && is_for_card(step.kind))
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

/// The newest pitch, cents against the target, after the earlier one; and which way it is to go.
fn pitch(book: &Book, plate: &PlatePlace, stroke: Stroke) -> String {
    let place = ReedPlace { plate: plate.clone(), stroke };
    let Some(reed) = book.dossier.standing.reed(&place) else { return "–".to_owned() };
    let Some(told) = &reed.evidence else { return "–".to_owned() };
    let way = match reed.state {
        ReedState::Raise => " ▲",
        ReedState::Lower => " ▼",
        _ => "",
    };
    let newest = signed(told.pitch.deviation.value.get(), 1);
    let earlier = match book.reeds.as_slice() {
        [earlier, _] => earlier.get(&place).and_then(|reed| reed.pitch.as_ref().ok()),
        _ => None,
    };
    let earlier =
        earlier.map_or(String::new(), |pitch| format!("{} → ", signed(pitch.deviation.value.get(), 1)));
    format!("{earlier}{newest}{way}")
}
