//! The tuning of each rank, before and after, and what changed from pass to pass.

use maud::{Markup, html};

use super::book::Book;
use super::frame::{clean, said};
use super::map::drawing;
use crate::instrument::{Block, Row, Stroke};
use crate::judgement::{Comparison, ReedChange, ReedFinding, Tune, ValveChange};
use crate::report::Kind;
use crate::report::words::{plain, signed};
use crate::units::Cents;

pub(super) fn sections(book: &Book) -> Markup {
    let subject = &book.dossier.subject;
    html! {
        section id="tuning" {
            h2 { "Tuning" }
            @for block in &subject.instrument.blocks {
                @if let Some(inline) = book.drawing(&Kind::Tuning(block.name.clone())) { (drawing(inline)) }
                @for row in &block.rows {
                    @let beats = Kind::Tremolo(block.name.clone(), row.name.clone());
                    @if let Some(inline) = book.drawing(&beats) { (drawing(inline)) }
                }
                @for row in &block.rows { (rank(book, block, row)) }
            }
        }
        @if let Some(comparison) = subject.earlier.and_then(|earlier| earlier.comparison) {
            (changes(book, comparison))
        }
    }
}

/// A rank's figures; folded away on a screen, since the chart shows them.
fn rank(book: &Book, block: &Block, row: &Row) -> Markup {
    let subject = &book.dossier.subject;
    let places = subject
        .instrument
        .reeds()
        .filter(|(place, _)| place.plate.block == block.name && place.plate.row == row.name);
    let has_earlier = subject.earlier.is_some();
    let cents = |reed: Option<&&ReedFinding>| match reed.map(|reed| &reed.pitch) {
        Some(Ok(pitch)) => format!(
            "{} ± {}",
            signed(pitch.deviation.value.get(), 1),
            plain(pitch.deviation.uncertainty.get(), 1)
        ),
        _ => "not measured".to_owned(),
    };
    html! {
        // On paper the tables of plates tell them.
        details.on-screen {
            summary { "Figures of block " (block.name) ", row " (row.name) }
            div.scroll { table {
                thead { tr {
                    th { "Reed" } th { "Note" } th.figure.spare { "Target, Hz" } th.figure { "Pitch, Hz" }
                    @for pass in book.dossier.passes { th.figure { "Cents, " (pass.pass) } }
                    th { "Do" }
                } }
                tbody {
                    @for (place, reed) in places {
                        @let now = book.reeds.last().and_then(|reeds| reeds.get(&place));
                        @let pitch = now.and_then(|reed| reed.pitch.as_ref().ok());
                        tr {
                            td { (book.link(&place.plate, &place)) }
                            td { (reed.note) }
                            td.figure.spare { @if let Some(target) = subject.instrument.target(&place) { (plain(target.get(), 3)) } }
                            td.figure { @if let Some(pitch) = pitch { (plain(pitch.f0.get(), 3)) } @else { "–" } }
                            @if has_earlier { td.figure { (cents(book.reeds.first().and_then(|reeds| reeds.get(&place)))) } }
                            td.figure { (cents(now)) }
                            td.do { @match pitch.and_then(|pitch| pitch.tune) {
                                Some(Tune::Raise) => "▲ raise",
                                Some(Tune::Lower) => "▼ lower",
                                Some(Tune::Leave) => "leave",
                                None => "–",
                            } }
                        }
                    }
                }
            } }
        }
    }
}

fn changes(book: &Book, comparison: &Comparison) -> Markup {
    use ValveChange::{CannotTell, Cured, NewlyLeaks, StillLeaks, StillNoSign};
    let rank = |change: ValveChange| match change {
        StillLeaks => 0,
        NewlyLeaks => 1,
        CannotTell => 2,
        Cured => 3,
        StillNoSign => 4,
    };
    let mut told: Vec<_> = comparison.valves.iter().filter(|valve| valve.change != StillNoSign).collect();
    told.sort_by_key(|valve| rank(valve.change));
    let quiet = comparison.valves.len() - told.len();
    html! {
        section id="changes" {
            h2 { "What changed from " (clean(&comparison.earlier)) " to " (clean(&comparison.later)) }
            h3 { "Valves" }
            @if !told.is_empty() {
                div.scroll { table.work {
                    thead { tr { th { "Plate" } th { "Valve" } th { "Change" } th { "Why" } } }
                    tbody { @for valve in told { tr {
                        td { (book.link(&valve.place.plate, &valve.place.plate)) }
                        td { (valve.place.face) }
                        td { b { (valve.change.as_str()) } }
                        td.why { (said(&valve.reason)) }
                    } } }
                } }
            }
            p.hint { (quiet) " of " (comparison.valves.len()) " valves showed no sign before and show none now." }
            @if !comparison.reeds.is_empty() {
                h3 { "Reeds" }
                p.hint.on-paper { "Both pitches of each reed stand in the tables of the plates; how much of the change is the reed's own, in this page on a screen and in reed-changes.csv." }
                div.scroll.on-screen { table {
                    caption { "How far each reed moved, cents: in all = by temperature + with the whole block + the reed itself" }
                    thead { tr {
                        th { "Reed" } th.figure { "In all" } th.figure { "Temperature" } th.figure { "Whole block" } th.figure { "Itself" }
                    } }
                    tbody { @for reed in &comparison.reeds { tr {
                        td { (book.link(&reed.place.plate, &reed.place)) }
                        td.figure { (signed(reed.change.value.get(), 1)) }
                        td.figure { (part(reed.temperature)) }
                        td.figure { (part(reed.common_shift)) }
                        td.figure { (itself(reed)) }
                    } } }
                } }
                @if comparison.reeds.iter().any(|reed| reed.astray_in.is_some()) {
                    p.hint { "Other plate: by its pitch another plate lies at this place in one of the passes, so no reed moved." }
                }
            }
        }
    }
}

fn part(part: Option<Cents>) -> String {
    part.map_or("not known".to_owned(), |part| signed(part.get(), 1))
}

fn itself(reed: &ReedChange) -> Markup {
    html! {
        @if reed.astray_in.is_some() { "other plate" }
        @else { b { (signed(reed.own.value.get(), 1)) } " ± " (plain(reed.own.uncertainty.get(), 1)) }
    }
}

/// The stroke's word with its shape on the charts.
pub(super) fn stroke_word(stroke: Stroke) -> &'static str {
    match stroke {
        Stroke::Press => "■ press",
        Stroke::Draw => "● draw",
    }
}
