//! The hand-over sheet for the instrument's owner: plain words, and nothing said more strongly than it was heard.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::frame::{clean, page};
use super::plates::plate_of;
use super::{Book, Dossier};
use crate::instrument::{Block, PlatePlace, Row, Spot};
use crate::judgement::{Findings, ReedPitch, ValveChange, Verdict};
use crate::repair::{Rust, Work};
use crate::report::ReportError;
use crate::report::words::signed;

/// The sheet as one HTML file: what was found, what was done, the tuning before and after.
pub fn hand_over_page(dossier: &Dossier) -> Result<String, ReportError> {
    let book = Book::without_drawings(dossier);
    let title = format!("Hand-over sheet: {}", dossier.subject.title);
    Ok(page(&title, body(&book)))
}

fn body(book: &Book) -> Markup {
    let dossier = book.dossier;
    html! {
        header {
            p.kind { "Hand-over sheet" }
            h1 { (clean(dossier.subject.title)) }
            p.passes { "For the owner of the instrument. " (dates(dossier)) }
        }
        main.owner {
            section { h2 { "What was found" } (found(book)) }
            section { h2 { "What was done" } (done(book)) }
            section { h2 { @if book.reeds.len() > 1 { "Tuning before and after" } @else { "Tuning" } } (tuning(book)) }
            (left(book))
            section {
                h2 { "How to read this" }
                p { "Every reed was sounded and recorded by itself, and the recordings were measured. A recording can show signs of a leaking valve; "
                    "it cannot prove one, and it cannot prove that a valve is tight. Temperature and the player's bellows move every reed a little, "
                    "so a reed is called in tune while it lies within the tolerance named above." }
            }
            div.signed { p { "Date" } p { "Workshop, signature" } }
        }
        footer { p { "Made by Platenote " (env!("CARGO_PKG_VERSION")) " from the workshop's recordings and notes." } }
    }
}

fn dates(dossier: &Dossier) -> String {
    match dossier.passes {
        [only] => format!("Measured on {}.", only.date),
        [first, last] if first.date == last.date => {
            format!("Measured before and after the work, on {}.", last.date)
        }
        [first, last] => format!("Measured before the work on {} and after it on {}.", first.date, last.date),
        _ => String::new(),
    }
}

/// What the first pass of the two showed.
fn found(book: &Book) -> Markup {
    let subject = &book.dossier.subject;
    let first = subject.earlier.map_or(subject.findings, |earlier| earlier.findings);
    let count =
        |wanted: fn(&Verdict) -> bool| first.valves.iter().filter(|valve| wanted(&valve.verdict)).count();
    let leaking = count(|verdict| *verdict == Verdict::Leaks);
    let unsure = count(|verdict| *verdict == Verdict::Suspect);
    let untold = count(|verdict| matches!(verdict, Verdict::NotJudged { .. }));
    let valves = first.valves.len() - count(|verdict| *verdict == Verdict::NoValve);
    let plates = subject.instrument.plates().count();
    let rusty = rusty_plates(book);
    html! {
        p { "The instrument's " (things(plates, "reed plate")) " carry " (things(first.reeds.len(), "reed")) ". Each small flap of leather or film that shuts a reed's slot against the wrong air is called a valve; there are "
            (valves) " of them." }
        ul {
            li { @match leaking {
                0 => "No valve showed signs that fit a leak.",
                n => { (things(n, "valve")) " showed signs that fit a leak. A leaking valve lets air pass where it should not, which costs air and weakens the note." }
            } }
            @if unsure > 0 { li { (things(unsure, "valve")) " gave a faint sign that was to be listened to again." } }
            @if rusty > 0 { li { "Rust was seen on " (things(rusty, "plate")) "." } }
            @if untold > 0 { li { "For " (things(untold, "valve")) " the recording did not tell." } }
            @if let Some((inside, measured)) = in_tune(first, &|_| true) {
                li { (inside) " of " (things(measured, "measured reed")) " lay in tune within the tolerance" (tolerance(book)) "." }
            }
        }
    }
}

fn rusty_plates(book: &Book) -> usize {
    let marks = book.dossier.marks.iter().filter(|mark| !mark.undone);
    let rusty = marks.filter(|mark| matches!(mark.work, Work::Rust(Rust::Light | Rust::Heavy)));
    rusty.flat_map(|mark| &mark.spots).map(plate_of).collect::<BTreeSet<_>>().len()
}

fn tolerance(book: &Book) -> String {
    let tolerances: BTreeSet<String> = book
        .dossier
        .subject
        .instrument
        .blocks
        .iter()
        .map(|block| block.tolerance.get().to_string())
        .collect();
    match tolerances.iter().collect::<Vec<_>>().as_slice() {
        [only] => format!(" of {only} hundredths of a semitone"),
        _ => String::new(),
    }
}

/// How many measured reeds lie within the tolerance, and how many were measured; plates in a wrong place do not count.
fn in_tune(findings: &Findings, counts: &dyn Fn(&PlatePlace) -> bool) -> Option<(usize, usize)> {
    let measured: Vec<&ReedPitch> = findings
        .reeds
        .iter()
        .filter(|reed| counts(&reed.place.plate))
        .filter_map(|reed| reed.pitch.as_ref().ok())
        .filter(|pitch| pitch.tune.is_some())
        .collect();
    let inside =
        measured.iter().filter(|pitch| matches!(pitch.tune, Some(crate::judgement::Tune::Leave))).count();
    (!measured.is_empty()).then_some((inside, measured.len()))
}

/// The bench notes, summed up; free words and photos stay in the workshop.
fn done(book: &Book) -> Markup {
    let mut cleaned = BTreeSet::new();
    let mut fitted = BTreeSet::new();
    let mut tuned = BTreeSet::new();
    let mut waxed = BTreeSet::new();
    let mut springs = 0;
    for mark in book.dossier.marks.iter().filter(|mark| !mark.undone) {
        for spot in &mark.spots {
            let place = spot.to_string();
            let plate = plate_of(spot).to_string();
            match &mark.work {
                Work::Cleaned { .. } => note(&mut cleaned, plate),
                Work::Waxed | Work::PutBack => note(&mut waxed, plate),
                Work::ValveFitted { .. } if matches!(spot, Spot::Valve(_)) => note(&mut fitted, place),
                Work::ValveFitted { .. } => note(&mut fitted, plate),
                Work::Tuned | Work::Filed(_) => note(&mut tuned, plate),
                Work::SpringFitted => springs += 1,
                _ => {}
            }
        }
    }
    let cured = book.dossier.subject.earlier.and_then(|earlier| earlier.comparison).map_or(0, |comparison| {
        comparison.valves.iter().filter(|valve| valve.change == ValveChange::Cured).count()
    });
    let nothing_noted = cleaned.len() + fitted.len() + waxed.len() + tuned.len() + springs == 0;
    html! {
        @if nothing_noted && cured == 0 { p { "No work is noted so far." } }
        ul {
            @if !cleaned.is_empty() { li { (things(cleaned.len(), "plate")) " cleaned." } }
            @if !fitted.is_empty() { li { (things(fitted.len(), "valve")) " fitted." } }
            @if springs > 0 { li { (things(springs, "helper spring")) " fitted." } }
            @if !tuned.is_empty() { li { "Reeds of " (things(tuned.len(), "plate")) " tuned." } }
            @if !waxed.is_empty() { li { (things(waxed.len(), "plate")) " fixed to the block again." } }
            @if cured > 0 { li { (things(cured, "valve")) " that had shown signs of a leak " (if cured == 1 { "shows" } else { "show" }) " none in the last recordings." } }
        }
    }
}

fn note(set: &mut BTreeSet<String>, place: String) {
    set.insert(place);
}

fn passes_have_swaps(book: &Book) -> bool {
    book.dossier.subject.passes().iter().any(|findings| !findings.swaps.is_empty())
}

/// A bar for each row, before and after.
fn tuning(book: &Book) -> Markup {
    let subject = &book.dossier.subject;
    html! {
        p { "How many reeds lie in tune within the tolerance" (tolerance(book)) ", row by row:" }
        table.bars {
            thead { tr { th { "Row" } th { "Recorded" } th { "In tune" } th.figure { "Farthest off" } } }
            @for block in &subject.instrument.blocks { @for row in &block.rows { (bars(book, block, row)) } }
        }
        p.hint { "“Farthest off” is in hundredths of a semitone; + is high, − is low." @if passes_have_swaps(book) { " Plates that may lie in a wrong place are not counted." } }
    }
}

fn bars(book: &Book, block: &Block, row: &Row) -> Markup {
    let subject = &book.dossier.subject;
    let passes = subject.passes();
    let here = |plate: &PlatePlace| plate.block == block.name && plate.row == row.name;
    html! {
        tbody {
            @for (k, (findings, facts)) in passes.iter().zip(book.dossier.passes).enumerate() {
                tr {
                    @if k == 0 { td rowspan=(passes.len()) { (block.name) " " (row.name) } }
                    td { @if passes.len() == 1 { (facts.date) } @else if k == 0 { "before" } @else { "after" } }
                    td {
                        @match in_tune(findings, &here) {
                            Some((inside, measured)) => {
                                span.bar role="img" aria-label=(format!("{inside} of {measured} in tune")) {
                                    span style=(format!("width:{}%", 100 * inside / measured)) {}
                                }
                                " " (inside) " of " (measured)
                            },
                            None => "not recorded",
                        }
                    }
                    td.figure { (farthest(findings, &here)) }
                }
            }
        }
    }
}

/// The largest deviation in the row; plates in a wrong place do not count.
fn farthest(findings: &Findings, here: &dyn Fn(&PlatePlace) -> bool) -> String {
    let measured = findings.reeds.iter().filter(|reed| here(&reed.place.plate));
    let cents = measured
        .filter_map(|reed| reed.pitch.as_ref().ok())
        .filter(|pitch| pitch.tune.is_some())
        .map(|pitch| pitch.deviation.value.get());
    let widest = cents.max_by(|left, right| left.abs().total_cmp(&right.abs()));
    widest.map_or("–".to_owned(), |cents| signed(cents, 0))
}

/// What is left to do, where anything is.
fn left(book: &Book) -> Markup {
    let findings = book.findings();
    let leaking = findings.valves.iter().filter(|valve| valve.verdict == Verdict::Leaks).count();
    let unsure = findings.valves.iter().filter(|valve| valve.verdict == Verdict::Suspect).count();
    let due = super::todo::due(findings).len();
    let missing = findings.reeds.iter().filter(|reed| reed.pitch.is_err()).count();
    html! {
        @if book.reeds.len() > 1 && leaking + unsure + due + missing + findings.swaps.len() > 0 {
            section {
                h2 { "What is not finished" }
                ul {
                    @if leaking > 0 { li { (things(leaking, "valve")) " still " (if leaking == 1 { "shows" } else { "show" }) " signs that fit a leak." } }
                    @if unsure > 0 { li { (things(unsure, "valve")) " to be listened to again." } }
                    @if due > 0 { li { (things(due, "reed")) " outside the tolerance." } }
                    @if !findings.swaps.is_empty() { li { "Some plates may lie in each other's place and are to be looked at." } }
                    @if missing > 0 { li { (things(missing, "reed")) " not recorded after the work." } }
                }
            }
        }
    }
}

/// `1 valve`, `3 valves`.
fn things(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}
