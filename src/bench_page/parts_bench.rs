//! Parts of the page about the bench: notes and what is next, the tray and what fits where.

use maud::{Markup, html};

use super::Error;
use super::app_state::AppState;
use super::photos::is_shown;
use crate::instrument::Face;
use crate::repair::{self, FittedNeed, Fitting, Lot, Mark, Work};

/// Marks, what is done and next on each face, and orders that cost work.
pub(super) fn notes(app: &AppState) -> Result<Markup, Error> {
    let job = app.job()?;
    let bench = job.bench();
    let plates = repair::status(job.instrument(), &bench);
    let warnings = repair::warnings(job.instrument(), job.valve_rule(), &job.happenings());
    let marks = job.marks();
    Ok(html! {
        @for warning in &warnings { p.warning { b { "Mark " (warning.n) ": " } (warning.text) ". " (warning.next) "." } }
        h3 { "What is done and what is next" }
        div.scroll tabindex="0" role="region" aria-label="Table" { table {
            thead { tr { th scope="col" { "Plate" } th scope="col" { "Face" } th scope="col" { "Done" } th scope="col" { "Next" } } }
            tbody { @for plate in &plates { @for face in Face::BOTH {
                @let status = plate.faces.on(face);
                tr { th scope="row" { (plate.place) @if plate.is_lifted { " (lifted)" } } td { (face) }
                    td { @if status.done.is_empty() { span.faint { @if status.letters.contains('-') { "no valve due" } @else { "nothing yet" } } } @else { (status.done.join("; ")) } }
                    td { (status.next.as_deref().unwrap_or("nothing")) } }
            } } }
        } }
        h3 { "Marks" }
        @if marks.is_empty() { p { "None yet." } }
        ul.plain { @for mark in marks.iter().rev() { (mark_line(mark)) } }
    })
}

/// A mark with what takes it back, and its photo.
pub(super) fn mark_line(mark: &Mark) -> Markup {
    let places: Vec<String> = mark.spots.iter().map(ToString::to_string).collect();
    let places = places.join(", ");
    html! { li {
        span.faint { (mark.n) " · " (mark.day) " · " }
        @if !places.is_empty() { b { (places) } ": " }
        @if mark.undone { s { (mark.work) } " taken back" } @else {
            (mark.work) " "
            button type="button" data-unmark=(mark.n) aria-label={ "Take back mark " (mark.n) } { "take back" }
            @if let Work::Photo(file) = &mark.work && is_shown(file) {
                a href=(file) target="_blank" rel="noopener" {
                    img src=(file) loading="lazy" alt={ "Photo " (mark.n) @if !places.is_empty() { " of " (places) } };
                }
            }
        }
    } }
}

/// The tray, dealt out to what needs a valve.
pub(super) fn tray(app: &AppState) -> Result<Markup, Error> {
    let job = app.job()?;
    let (bench, rule) = (job.bench(), job.valve_rule());
    let shown = app.shown(None)?;
    let standing = &shown.told.standing;
    let needs = repair::needs_now(job.instrument(), rule, &bench, standing, job.renews_all());
    let fitting = repair::fit(&needs, &bench.tray, rule);
    let check = repair::check(job.instrument(), rule, &bench);
    Ok(html! {
        p { b { (fitting.summary()) } }
        div.columns {
            section aria-label="The tray" {
                h3 { "The tray" }
                @if bench.tray.lots().is_empty() { p { "Empty, or never counted." } }
                ul.plain { @for lot in bench.tray.lots() { li { (lot_words(lot)) } } }
            }
            section aria-label="To cut" {
                h3 { "To cut" }
                @if fitting.cuts.is_empty() { p { "Nothing." } }
                ul.plain {
                    @for (material, length, count) in &fitting.cuts { li { (length) " × " (count) ", " (material) } }
                    @for strip in &fitting.strips { li { "strip of " (strip.material) ": at least " (strip.length) " × " (strip.width) ", for " (strip.count) " side by side" } }
                    @if fitting.springs > 0 { li { "helper springs: " (fitting.springs) } }
                }
            }
        }
        h3 { "What fits where, the longest first" }
        @if fitting.rows.is_empty() { p.empty { "No slot needs a valve." } }
        @else { (by_length(&fitting)) }
        @if !check.differences.is_empty() {
            h3 { "Where plan, diary and tray differ" }
            ul { @for difference in &check.differences {
                li { @if let Some(place) = &difference.place { b { (place) } ": " } (difference.text) }
            } }
        }
    })
}

/// A line a length: what to take out of the tray or cut, and for which places; why is folded away.
fn by_length(fitting: &Fitting) -> Markup {
    let mut rows: Vec<&FittedNeed> = fitting.rows.iter().collect();
    let tenths =
        |row: &FittedNeed| row.need.length.map_or(i64::MIN, |length| (10.0 * length.get()).round() as i64);
    // Stable, so that places of one length keep the plan's order; slots without a length come last.
    rows.sort_by_key(|row| std::cmp::Reverse(tenths(row)));
    html! { ul.plain.lengths { @for of_length in rows.chunk_by(|one, other| tenths(one) == tenths(other)) {
        @if let Some(first) = of_length.first() { li {
            b { (first.need.length.map_or("no length known".to_owned(), |length| length.to_string())) }
            " × " (of_length.len())
            @for (choice, places) in choices(of_length) { div { (choice) ": " (places.join(", ")) } }
            details { summary { "Why" } @for row in of_length { p.faint { (fitting.explain(row)) } } }
        } }
    } } }
}

/// What is taken, each once, with the places it goes to.
fn choices(rows: &[&FittedNeed]) -> Vec<(String, Vec<String>)> {
    let mut all: Vec<(String, Vec<String>)> = Vec::new();
    for row in rows {
        let (choice, place) = (row.choice.to_string(), row.need.place.to_string());
        match all.iter_mut().find(|(there, _)| *there == choice) {
            Some((_, places)) => places.push(place),
            None => all.push((choice, vec![place])),
        }
    }
    all
}

fn lot_words(lot: &Lot) -> String {
    let width = lot.width.map_or(String::new(), |width| format!(" × {width}"));
    let bin = lot.bin.as_ref().map_or(String::new(), |bin| format!(", bin {bin}"));
    format!("{} × {}{width}, {}, {}{bin}", lot.count, lot.length, lot.material, lot.condition)
}
