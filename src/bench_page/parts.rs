//! Parts of the page about a pass: the block with its map, the takes. The template library escapes all text.

use maud::{Markup, PreEscaped, html};

use super::Error;
use super::app_state::AppState;
use super::parts_corrections::corrections;
use super::shown_pass::{ShownPass, anchor};
use crate::instrument::{Face, ReedPlace, Stroke};
use crate::job::{Job, StoredTake};
use crate::judgement::{Findings, ReedPitch, ValveChange, Verdict};
use crate::repair::{PitchEvidence, ReedStanding, ReedState, ValveStanding, ValveVerdict};
use crate::report::figures;

/// A verdict by word, shape and shade.
pub(super) fn verdict(verdict: &Verdict) -> Markup {
    let word = verdict.as_str();
    html! { span class={ "verdict " (word.replace(' ', "-")) } { (word) } }
}

/// The map, what to do, and what was said of the pass.
pub(super) fn block(app: &AppState, pass: Option<&str>) -> Result<Markup, Error> {
    let job = app.job()?;
    let shown = app.shown(pass)?;
    let standing = &shown.told.told;
    let open = |valve: &&ValveStanding| {
        use ValveVerdict::{Changed, Leaks, Off, Suspect};
        matches!(valve.state, Leaks | Suspect | Changed | Off)
    };
    let valves: Vec<&ValveStanding> = standing.valves.iter().filter(open).collect();
    let tune: Vec<(&ReedStanding, &PitchEvidence)> = standing
        .reeds
        .iter()
        .filter(|reed| reed.is_off())
        .filter_map(|reed| Some((reed, reed.evidence.as_ref()?)))
        .collect();
    let (maps, charts): (Vec<_>, Vec<_>) =
        shown.drawings.iter().partition(|drawing| drawing.name.starts_with("map"));
    Ok(html! {
        @if shown.pass().is_none() {
            p.empty { "No pass yet. " a href="#record" { "Record" } " one, or bring " a href="#files" { "sound files" } "." }
        }
        @if shown.pass().is_some() { (map_filters(&job, &shown)) }
        div.sheets { div.drawings { @for drawing in maps { div class={ "drawing " (drawing.format) } { (PreEscaped(&drawing.svg)) } } }
        div.columns {
            section aria-label="Valves" {
                h3 { "Valves that want work" }
                @if valves.is_empty() { p { "None so far." } }
                @else { ul.plain { @for valve in valves { (valve_line(valve)) } } }
            }
            section aria-label="Tuning" {
                h3 { "Reeds to tune" }
                @if tune.is_empty() { p { "None so far." } }
                @else { ul.plain { @for (reed, told) in tune {
                    li { b { (reed.place) } ": " (deviation(&told.pitch)) ", "
                        b { @if reed.state == ReedState::Raise { "▲ raise" } @else { "▼ lower" } }
                        span.next { "pass " (told.pass) ", take " (told.take) ", " (told.day) } }
                } } }
            }
        } }
        @for swap in &standing.swaps {
            p.hint { "By their pitch these plates may lie in each other's place: "
                (swap.places.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ")) "." }
        }
        @if let Some(comparison) = &shown.told.comparison {
            h3 { "Since pass " (comparison.earlier) }
            p { (changes(&shown)) }
        }
        @if !charts.is_empty() {
            details open { summary { "Tuning chart" } div.drawings { @for drawing in charts { div class={ "drawing " (drawing.format) } { (PreEscaped(&drawing.svg)) } } } }
        }
        (words(&job, &shown))
    })
}

fn valve_line(valve: &ValveStanding) -> Markup {
    let (word, face) = (valve.state.words(), valve.place.face);
    html! { li {
        span class={ "verdict " (valve.state.name().replace('_', "-")) } { (word) } " " b { (valve.place) } ": " (figures(&valve.reason()))
        @if face == Face::Inner && matches!(valve.state, ValveVerdict::Leaks | ValveVerdict::Off) { " Lift the plate." }
    } }
}

fn changes(shown: &ShownPass) -> String {
    let Some(comparison) = &shown.told.comparison else { return String::new() };
    let kinds = [
        (ValveChange::Cured, "cured"),
        (ValveChange::StillLeaks, "still leaking"),
        (ValveChange::NewlyLeaks, "newly leaking"),
        (ValveChange::CannotTell, "cannot be told"),
    ];
    let counts = kinds.map(|(kind, word)| {
        let count = comparison.valves.iter().filter(|valve| valve.change == kind).count();
        format!("{count} {word}")
    });
    format!("Valves: {}.", counts.join(", "))
}

fn words(job: &Job, shown: &ShownPass) -> Markup {
    let odd = job.odd_lines().iter().map(|odd| format!("diary line {}: {}", odd.line, odd.oddity));
    let compared = shown.told.comparison.iter().flat_map(|comparison| comparison.warnings.iter().cloned());
    let all: Vec<String> = odd
        .chain(shown.told.remarks().cloned())
        .chain(shown.findings().warnings.iter().cloned())
        .chain(compared)
        .collect();
    html! { @if !all.is_empty() {
        details open { summary { "Words on this pass (" (all.len()) ")" } ul { @for word in all { li { (figures(&word)) } } } }
    } }
}

/// What the map is narrowed down by, and the words of each plate that are asked for.
fn map_filters(job: &Job, shown: &ShownPass) -> Markup {
    let instrument = job.instrument();
    let words = instrument.reeds().map(|(place, _)| {
        let verdict = shown.valve_of(job, &place).map_or("", |valve| valve.verdict.as_str());
        let row = format!("{} {}", place.plate.block, place.plate.row);
        (anchor(&place.plate), format!("{row}|{}|{verdict}", place.stroke))
    });
    html! {
        div.filters.on-screen role="group" aria-label="Plates that are shown strongly on the map" {
            (filters(job))
            span.faint role="status" data-filtered="" {}
        }
        div hidden { @for (plate, words) in words { i data-plate-words=(words) data-at=(plate) {} } }
    }
}

/// The three choices that narrow a map or a table down.
fn filters(job: &Job) -> Markup {
    let rows =
        job.instrument().blocks.iter().flat_map(|block| block.rows.iter().map(move |row| (block, row)));
    let rows: Vec<String> = rows.map(|(block, row)| format!("{} {}", block.name, row.name)).collect();
    let verdicts = ["leaks", "suspect", "no sign", "not judged", "no valve"];
    html! {
        (filter("Row", "row", &rows.iter().map(String::as_str).collect::<Vec<_>>()))
        (filter("Stroke", "stroke", &["press", "draw"]))
        (filter("Verdict", "verdict", &verdicts))
    }
}

/// Every reed with its takes, to be heard; the pass before beside the one shown, to be sorted and narrowed down.
pub(super) fn takes(app: &AppState, pass: Option<&str>) -> Result<Markup, Error> {
    let job = app.job()?;
    let shown = app.shown(pass)?;
    let of_pass = |pass: Option<&str>| pass.map(|pass| job.takes(pass)).unwrap_or_default();
    let earlier = shown.told.earlier.as_ref().map(|earlier| &earlier.findings);
    let (now, then) = (of_pass(shown.pass()), of_pass(earlier.map(|earlier| earlier.pass.as_str())));
    let name = shown.pass().unwrap_or("none yet");
    Ok(html! {
        div.filters.on-screen {
            (filters(&job))
        }
        div.scroll tabindex="0" role="region" aria-label="Table" { table.cards {
            caption { "Takes of pass " (name) @if let Some(earlier) = earlier { ", beside pass " (earlier.pass) } }
            thead { tr {
                (sort("Reed")) (sort("Note"))
                @if let Some(earlier) = earlier { (sort(&format!("Cents, {}", earlier.pass))) }
                (sort(&if earlier.is_some() { format!("Cents, {name}") } else { "Cents".to_owned() }))
                (sort("Valve it tests")) th scope="col" { "Takes" }
            } }
            tbody { @for (place, reed) in job.instrument().reeds() {
                @let valve = shown.valve_of(&job, &place);
                @let word = valve.map_or("", |valve| valve.verdict.as_str());
                @let words = format!("{} {}|{}|{word}", place.plate.block, place.plate.row, place.stroke);
                tr id=[(place.stroke == Stroke::Press).then(|| anchor(&place.plate))] data-words=(words) {
                    th scope="row" { (place) }
                    td { (reed.note) }
                    @if let Some(earlier) = earlier { (pitch(earlier, &place, &earlier.pass)) }
                    (pitch(shown.findings(), &place, name))
                    td { @if let Some(valve) = valve { (verdict(&valve.verdict)) " " (valve.place.face) span.next { (figures(&valve.reason)) } } }
                    td { (heard(&then, &place, earlier.map(|earlier| earlier.pass.as_str()))) (heard(&now, &place, None)) }
                }
            } }
        } }
        (corrections(&job))
    })
}

/// A choice that leaves out what it does not name.
fn filter(label: &str, what: &str, words: &[&str]) -> Markup {
    html! { label { (label) " " select data-filter=(what) {
        option value="" { "all" }
        @for word in words { option value=(word) { (word) } }
    } } }
}

/// A head that sorts by its column.
fn sort(head: &str) -> Markup {
    html! { th scope="col" { button.sort type="button" { (head) } } }
}

fn heard(takes: &[(ReedPlace, Vec<StoredTake>)], place: &ReedPlace, pass: Option<&str>) -> Markup {
    let of_reed =
        takes.iter().find(|(there, _)| there == place).map_or(&[][..], |(_, takes)| takes.as_slice());
    html! {
        @if of_reed.is_empty() && pass.is_none() { span.faint { "none" } }
        @for take in of_reed { (hear(take, place)) @if let Some(pass) = pass { span.faint { " " (pass) " " } } }
    }
}

/// `−3.4 ± 0.2 cents`
pub(super) fn deviation(pitch: &ReedPitch) -> String {
    let (value, uncertainty) = (pitch.deviation.value.get(), pitch.deviation.uncertainty.get());
    // No sign for what rounds to nothing.
    let value = if (10.0 * value).round() == 0.0 { "0.0".to_owned() } else { format!("{value:+.1}") };
    figures(&format!("{value} ± {uncertainty:.1} cents"))
}

/// The cell of a pitch; on a telephone it says itself of which pass it is.
fn pitch(findings: &Findings, place: &ReedPlace, pass: &str) -> Markup {
    let reed = findings.reeds.iter().find(|reed| reed.place == *place);
    html! { @match reed.map(|reed| &reed.pitch) {
        Some(Ok(pitch)) => { td.figure data-value=(pitch.deviation.value.get()) data-of=(pass) { (deviation(pitch)) } }
        Some(Err(why)) => { td data-value="" { span.faint { (figures(why)) } } }
        None => { td data-value="" {} }
    } }
}

pub(super) fn hear(take: &StoredTake, place: &ReedPlace) -> Markup {
    let facts = &take.facts;
    html! {
        button.hear type="button" data-sound=(facts.file) aria-label={ "Hear take " (facts.n) " of " (place) } { "▶ " (facts.n) }
        @for remark in &facts.remarks { span.next { (remark) } }
    }
}
