//! The hand-over sheet for the instrument's owner: plain words, and nothing said more strongly than it was heard.

use std::collections::{BTreeMap, BTreeSet};

use maud::{Markup, html};

use super::Dossier;
use super::book::Book;
use super::frame::{clean, page};
use super::plates::plate_of;
use crate::analysis::NotMeasured;
use crate::instrument::{Block, PlatePlace, Row, Spot};
use crate::job::Workshop;
use crate::judgement::{Findings, ReedPitch};
use crate::repair::{Answer, Evidence, InstrumentPitch, Rust, StepKind, ValveStanding, ValveVerdict, Work};
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
            p.passes { "For the owner of the instrument. " (visit(dossier)) (dates(dossier)) }
        }
        main.owner {
            section { h2 { "What was found" } (found(book)) }
            section { h2 { "What was done" } (done(book)) }
            section { h2 { "The valves now" } (valves_now(book)) }
            section { h2 { @if book.reeds.len() > 1 { "Tuning before and after" } @else { "Tuning" } } (tuning(book)) }
            (left(book))
            section {
                h2 { "How to read this" }
                p { "Every reed was sounded and recorded by itself, and the recordings were measured. A recording can show signs of a leaking valve; "
                    "it cannot prove one, and it cannot prove that a valve is tight. Temperature and the player's bellows move every reed a little, "
                    "so a reed is called in tune while it lies within the tolerance named above." }
            }
            (super::photos::room(book))
            (care())
            (signed_by(dossier.workshop))
        }
        footer { p { "Made by Platenote " (env!("CARGO_PKG_VERSION")) " from the workshop's recordings and notes." } }
    }
}

/// Which visit this is, where there have been several.
fn visit(dossier: &Dossier) -> String {
    match dossier.visit.n {
        1 => String::new(),
        n => format!("Visit {n}, from {}. ", dossier.visit.opened),
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

/// What this visit found.
fn found(book: &Book) -> Markup {
    let subject = &book.dossier.subject;
    let first = subject.earlier.map_or(subject.findings, |earlier| earlier.findings);
    let valves = &book.dossier.standing.valves;
    let due = valves.iter().filter(|valve| valve.state != ValveVerdict::NoValve).count();
    let leaking = found_leaking(book.dossier).len();
    let unsure = book.dossier.standing.valves_that(ValveVerdict::Suspect).count();
    let plates = subject.instrument.plates().count();
    let rusty = rusty_plates(book);
    html! {
        p { "The instrument's " (things(plates, "reed plate")) @if plates == 1 { " carries " } @else { " carry " } (things(first.reeds.len(), "reed")) ". Each small flap of leather or film that shuts a reed's slot against the wrong air is called a valve; there are "
            (due) " of them." }
        ul {
            li { @match leaking {
                0 => "No valve showed signs that fit a leak.",
                n => { (things(n, "valve")) " showed signs that fit a leak. A leaking valve lets air pass where it should not, which costs air and weakens the note." }
            } }
            @if unsure > 0 { li { (things(unsure, "valve")) " gave a faint sign that is to be listened to again." } }
            @if rusty > 0 { li { "Rust was seen on " (things(rusty, "plate")) "." } }
            @if let Some((inside, measured)) = in_tune(first, &|_| true) {
                li { (inside) " of " (things(measured, "measured reed")) " lay in tune within the tolerance" (tolerance(book)) "." }
            }
            (pitch(book.dossier.pitches))
        }
    }
}

/// Valves that leak, and those that were heard to leak in this visit.
fn found_leaking<'a>(dossier: &Dossier<'a>) -> Vec<&'a ValveStanding> {
    let in_visit = |evidence: &Evidence| dossier.visit.passes.contains(&evidence.pass);
    let leaked = |valve: &&ValveStanding| {
        valve.state == ValveVerdict::Leaks
            || valve.heard().any(|evidence| evidence.answer == Some(Answer::Leaks) && in_visit(evidence))
    };
    dossier.standing.valves.iter().filter(leaked).collect()
}

/// Where A4 stood as found and as left.
fn pitch(pitches: &[InstrumentPitch]) -> Markup {
    let line = |pitch: &InstrumentPitch| {
        format!("A4 = {:.1} Hz on {}, from {}", pitch.a4.get(), pitch.date, things(pitch.n_reeds, "reed"))
    };
    html! {
        @match pitches {
            [] => {},
            [only] => li { "Pitch of the instrument: " (line(only)) "." },
            [found, .., left] => {
                li { "Pitch of the instrument as found: " (line(found)) "." }
                li { "Pitch of the instrument as last measured: " (line(left)) "." }
            }
        }
    }
}

/// What has become of the valves, no stronger than it was heard.
fn valves_now(book: &Book) -> Markup {
    let leaked = found_leaking(book.dossier);
    let of = |states: &[ValveVerdict]| leaked.iter().filter(|valve| states.contains(&valve.state)).count();
    let confirmed = of(&[ValveVerdict::NoSign, ValveVerdict::Tight]);
    let changed = of(&[ValveVerdict::Changed]);
    let off = of(&[ValveVerdict::Off]);
    let open = of(&[ValveVerdict::Leaks]);
    let faint = of(&[ValveVerdict::Suspect]);
    let silent = leaked.len() - confirmed - changed - off - open - faint;
    let quiet = book.dossier.standing.valves_that(ValveVerdict::NoSign).count()
        + book.dossier.standing.valves_that(ValveVerdict::Tight).count();
    html! {
        ul {
            @if !leaked.is_empty() {
                li { "Of " (things(leaked.len(), "valve")) " found leaking:" ul.within {
                    @if confirmed > 0 { li { (confirmed) " heard again, without a sign of a leak: tight as far as sound can tell." } }
                    @if changed > 0 { li { (changed) " changed and not confirmed: nothing recorded since answers." } }
                    @if off > 0 { li { (off) " with the old valve off and no new one fitted." } }
                    @if open > 0 { li { (open) " not seen to, or still leaking." } }
                    @if faint > 0 { li { (faint) " with a faint sign left, to be listened to again." } }
                    @if silent > 0 { li { (silent) " of which the recordings do not tell." } }
                } }
            }
            @if quiet > 0 { li { "In all " (things(quiet, "valve")) " " (if quiet == 1 { "shows" } else { "show" }) " no sign of a leak, as far as sound can tell." } }
            (not_judged(book))
        }
    }
}

/// How many valves no take answers for, by reason.
fn not_judged(book: &Book) -> Markup {
    let standing = book.dossier.standing;
    let mut reasons: BTreeMap<&str, usize> = BTreeMap::new();
    for valve in standing.valves_that(ValveVerdict::NotJudged) {
        *reasons.entry(why(valve)).or_default() += 1;
    }
    let unrecorded = standing.valves_that(ValveVerdict::NotRecorded).count();
    html! {
        @for (reason, count) in reasons { li { (things(count, "valve")) " not judged: " (reason) "." } }
        @if unrecorded > 0 { li { (things(unrecorded, "valve")) " not judged: not recorded." } }
    }
}

/// Why no recording answers, in plain words.
fn why(valve: &ValveStanding) -> &'static str {
    match valve.unanswered.as_ref().and_then(|told| told.cause) {
        Some(NotMeasured::TooClose { .. }) => {
            "the two reeds of the plate agree too closely for a recording to tell them apart"
        }
        Some(NotMeasured::Clipped) => "it was recorded too loud",
        Some(NotMeasured::TooNoisy) => "it was recorded too softly, or in too much noise",
        Some(NotMeasured::SeveralReeds) => "other reeds sounded along",
        Some(NotMeasured::TooShort { .. }) => "the note was held too short",
        Some(NotMeasured::OppositeUnknown) => "the other reed of the plate was not recorded",
        _ => "the recording does not tell",
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
    let nothing_noted = cleaned.len() + fitted.len() + waxed.len() + tuned.len() + springs == 0;
    html! {
        @if nothing_noted { p { "No work is noted in this visit so far." } }
        ul {
            @if !cleaned.is_empty() { li { (things(cleaned.len(), "plate")) " cleaned." } }
            @if !fitted.is_empty() { li { (things(fitted.len(), "valve")) " fitted." } }
            @if springs > 0 { li { (things(springs, "helper spring")) " fitted." } }
            @if !tuned.is_empty() { li { "Reeds of " (things(tuned.len(), "plate")) " tuned." } }
            @if !waxed.is_empty() { li { (things(waxed.len(), "plate")) " fixed to the block again." } }
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

/// What is open, where anything is, in the order it is best done.
fn left(book: &Book) -> Markup {
    let next = book.dossier.next;
    html! {
        @if !next.is_empty() {
            section {
                h2 { "What is open" }
                ul { @for kind in StepKind::ALL {
                    @let count = next.iter().filter(|step| step.kind == kind).count();
                    @if count > 0 { li { (open_words(kind, count)) "." } }
                } }
            }
        }
    }
}

/// Steps of a kind, in words for the owner.
fn open_words(kind: StepKind, count: usize) -> String {
    let (what, rest) = match kind {
        StepKind::Swap => ("place", "where plates may lie in each other's stead, to be looked at"),
        StepKind::MissingTake => ("reed", "still to be recorded"),
        StepKind::Valve => ("valve", "to be seen to"),
        StepKind::ListenAgain => ("valve", "to be listened to again"),
        StepKind::Tuning => ("reed", "outside the tolerance"),
        StepKind::MeasureAgain => ("reed", "to be measured again after the work on it"),
    };
    format!("{} {rest}", things(count, what))
}

/// Advice in general words; the workshop's own comes first.
fn care() -> Markup {
    html! { section {
        h2 { "Care" }
        ul {
            li { "Keep the instrument dry and away from heat; let it come to the room's warmth in its case before it is played." }
            li { "Play it regularly; valves that lie still for long curl or stick." }
            li { "Reeds settle after tuning; small changes in the first weeks are usual." }
        }
    } }
}

/// Room for the signature, under the workshop's name where it is kept.
fn signed_by(workshop: &Workshop) -> Markup {
    html! {
        @if let Some(terms) = &workshop.terms { section { h2 { "Terms" } p { (clean(terms)) } } }
        div.signed { p { "Date" } p { @match &workshop.name { Some(name) => { (clean(name)) }, None => "Workshop, signature" } } }
        @if !workshop.address.is_empty() { p.hint { (clean(&workshop.address.join(", "))) } }
    }
}

/// `1 valve`, `3 valves`.
fn things(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}
