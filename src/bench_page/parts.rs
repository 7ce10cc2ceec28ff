//! Parts of the page about a pass: the block with its map, the takes. The template library escapes all text.

use maud::{Markup, PreEscaped, html};

use super::Error;
use super::app_state::AppState;
use super::found::{Found, anchor};
use crate::instrument::{ReedPlace, Stroke};
use crate::job::{Job, StoredTake};
use crate::judgement::{ReedPitch, Tune, ValveChange, ValveFinding, Verdict};
use crate::report::figures;

/// A verdict in words.
pub(super) fn verdict_word(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::Leaks => "leaks",
        Verdict::Suspect => "suspect",
        Verdict::NoSign => "no sign",
        Verdict::Tight => "tight",
        Verdict::NotJudged { .. } => "not judged",
        Verdict::NoValve => "no valve",
    }
}

/// A verdict by word, shape and shade.
pub(super) fn verdict(verdict: &Verdict) -> Markup {
    let word = verdict_word(verdict);
    html! { span class={ "verdict " (word.replace(' ', "-")) } { (word) } }
}

/// The map, what to do, and what was said of the pass.
pub(super) fn block(app: &AppState, pass: Option<&str>) -> Result<Markup, Error> {
    let job = app.job()?;
    let found = app.found(pass)?;
    let wants = |valve: &&ValveFinding| matches!(valve.verdict, Verdict::Leaks | Verdict::Suspect);
    let valves: Vec<&ValveFinding> = found.findings.valves.iter().filter(wants).collect();
    let tune: Vec<_> = found
        .findings
        .reeds
        .iter()
        .filter_map(|reed| {
            let pitch = reed.pitch.as_ref().ok()?;
            let way = match pitch.tune? {
                Tune::Raise => "▲ raise",
                Tune::Lower => "▼ lower",
                Tune::Leave => return None,
            };
            Some((reed, pitch, way))
        })
        .collect();
    let (maps, charts): (Vec<_>, Vec<_>) =
        found.drawings.iter().partition(|drawing| drawing.name.starts_with("map"));
    Ok(html! {
        @if found.pass.is_none() {
            p.hint { "No pass yet. Record one on the page Record, or add sound files with the command " code { "platenote add" } "." }
        }
        div.sheets { div { @for drawing in maps { div.drawing { (PreEscaped(&drawing.svg)) } } }
        div.columns {
            section aria-label="Valves" {
                h3 { "Valves that want work" }
                @if valves.is_empty() { p { "None so far." } }
                @else { ul.plain { @for valve in valves { (valve_line(valve)) } } }
            }
            section aria-label="Tuning" {
                h3 { "Reeds to tune" }
                @if tune.is_empty() { p { "None so far." } }
                @else { ul.plain { @for (reed, pitch, way) in tune {
                    li { b { (reed.place) } " " (reed.note) ": " (deviation(pitch)) ", " b { (way) } }
                } } }
            }
        } }
        @for swap in &found.findings.swaps {
            p.hint { "By their pitch these plates may lie in each other's place: "
                (swap.places.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ")) "." }
        }
        @if let Some(comparison) = &found.comparison {
            h3 { "Since pass " (comparison.earlier) }
            p { (changes(&found)) }
        }
        @if !charts.is_empty() {
            details { summary { "Tuning chart" } @for drawing in charts { div.drawing { (PreEscaped(&drawing.svg)) } } }
        }
        (words(&job, &found))
    })
}

fn valve_line(valve: &ValveFinding) -> Markup {
    html! { li {
        (verdict(&valve.verdict)) " " b { (valve.place) } ": " (figures(&valve.reason))
        @if valve.lift_plate() { " Lift the plate." }
        @if !valve.next.is_empty() { span.next { (figures(&valve.next)) } }
    } }
}

fn changes(found: &Found) -> String {
    let Some(comparison) = &found.comparison else { return String::new() };
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

fn words(job: &Job, found: &Found) -> Markup {
    let odd = job.odd_lines().iter().map(|odd| format!("diary line {}: {}", odd.line, odd.oddity));
    let compared = found.comparison.iter().flat_map(|comparison| comparison.warnings.iter().cloned());
    let all: Vec<String> = odd
        .chain(found.words.iter().cloned())
        .chain(found.findings.warnings.iter().cloned())
        .chain(compared)
        .collect();
    html! { @if !all.is_empty() {
        details open { summary { "Words on this pass (" (all.len()) ")" } ul { @for word in all { li { (figures(&word)) } } } }
    } }
}

/// Every plate with its takes, to be heard.
pub(super) fn takes(app: &AppState, pass: Option<&str>) -> Result<Markup, Error> {
    let job = app.job()?;
    let found = app.found(pass)?;
    let takes = found.pass.as_ref().map(|pass| job.takes(pass)).unwrap_or_default();
    Ok(html! {
        div.scroll tabindex="0" role="region" aria-label="Table" { table {
            caption { "Takes of pass " (found.pass.as_deref().unwrap_or("none yet")) }
            thead { tr { th scope="col" { "Reed" } th scope="col" { "Note" } th scope="col" { "Pitch" } th scope="col" { "Valve it tests" } th scope="col" { "Takes" } } }
            tbody { @for (place, reed) in job.instrument().reeds() {
                @let of_reed = takes.iter().find(|(there, _)| *there == place).map(|(_, takes)| takes.as_slice()).unwrap_or_default();
                tr id=[(place.stroke == Stroke::Press).then(|| anchor(&place.plate))] {
                    th scope="row" { (place) }
                    td { (reed.note) }
                    td.figure { (pitch(&found, &place)) }
                    td { @if let Some(valve) = found.valve_of(&job, &place) { (verdict(&valve.verdict)) " " (valve.place.face) span.next { (figures(&valve.reason)) } } }
                    td { @if of_reed.is_empty() { span.faint { "none" } } @for take in of_reed { (hear(take, &place)) } }
                }
            } }
        } }
    })
}

/// `−3.4 ± 0.2 cents`
fn deviation(pitch: &ReedPitch) -> String {
    let (value, uncertainty) = (pitch.deviation.value.get(), pitch.deviation.uncertainty.get());
    // No sign for what rounds to nothing.
    let value = if (10.0 * value).round() == 0.0 { "0.0".to_owned() } else { format!("{value:+.1}") };
    figures(&format!("{value} ± {uncertainty:.1} cents"))
}

fn pitch(found: &Found, place: &ReedPlace) -> Markup {
    let reed = found.findings.reeds.iter().find(|reed| reed.place == *place);
    html! { @match reed.map(|reed| &reed.pitch) {
        Some(Ok(pitch)) => { (deviation(pitch)) }
        Some(Err(why)) => { span.faint { (figures(why)) } }
        None => {}
    } }
}

fn hear(take: &StoredTake, place: &ReedPlace) -> Markup {
    let facts = &take.facts;
    html! {
        button.hear type="button" data-sound=(facts.file) aria-label={ "Hear take " (facts.n) " of " (place) } { "▶ " (facts.n) }
        @for remark in &facts.remarks { span.next { (remark) } }
    }
}
