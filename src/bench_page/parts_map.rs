//! What the drawings answer when a plate of theirs is pointed at, and places to be picked.

use maud::{Markup, html};

use super::Error;
use super::app_state::AppState;
use super::parts::{deviation, hear, verdict};
use super::photos::is_shown;
use super::shown_pass::{ShownPass, anchor};
use crate::instrument::{PlatePlace, ReedPlace, Spot, Stroke};
use crate::job::Job;
use crate::judgement::{Tune, Verdict};
use crate::repair::{Mark, Work};
use crate::report::figures;

/// The plate of that anchor, `plate-bass-A7`.
fn plate_of(job: &Job, wanted: &str) -> Option<PlatePlace> {
    job.instrument().plates().map(|(place, ..)| place).find(|place| anchor(place) == wanted)
}

/// The figures of a plate: its reeds with their sound, its valves, what was noted.
pub(super) fn plate(app: &AppState, pass: Option<&str>, wanted: &str) -> Result<Markup, Error> {
    let job = app.job()?;
    let Some(place) = plate_of(&job, wanted) else { return Ok(html! {}) };
    let shown = app.shown(pass)?;
    let passes: Vec<String> = job.passes().into_iter().map(|facts| facts.pass).collect();
    let marks = job.marks();
    let of_plate = |mark: &&Mark| !mark.undone && mark.spots.iter().any(|spot| is_of(spot, &place));
    Ok(html! {
        h3 { (place) }
        @for stroke in Stroke::BOTH { (reed(&job, &shown, &passes, &ReedPlace { plate: place.clone(), stroke })) }
        @for valve in shown.told.map_valves().iter().filter(|valve| valve.place.plate == place) {
            p { (verdict(&valve.verdict)) " " (valve.place.face) " valve: " (figures(&valve.reason))
                @if valve.verdict != Verdict::NoValve {
                    " " button.small type="button" data-seal=(valve.place) aria-label={ "Sealing test of the " (valve.place) " valve" } { "Sealing test" }
                } }
        }
        @for mark in marks.iter().filter(of_plate) {
            p.faint { (mark.day) ": " (mark.work) }
            @if let Work::Photo(file) = &mark.work && is_shown(file) {
                a href=(file) target="_blank" rel="noopener" { img src=(file) loading="lazy" height="72" alt={ "Photo of " (place) }; }
            }
        }
        div.buttons {
            button type="button" data-record=(place) data-plate=(place) data-again=(super::job_lookup::pass_for(&job, &place)) { "Record again" }
            button type="button" data-tune=(place) { "Tune" }
            button type="button" data-place=(place) { "Note work" }
            a.button href={ "#" (anchor(&place)) } { "In the table" }
        }
    })
}

fn is_of(spot: &Spot, plate: &PlatePlace) -> bool {
    match spot {
        Spot::Plate(place) => place == plate,
        Spot::Reed(reed) => reed.plate == *plate,
        Spot::Valve(valve) => valve.plate == *plate,
    }
}

fn reed(job: &Job, shown: &ShownPass, passes: &[String], place: &ReedPlace) -> Markup {
    let Some(reed) = shown.findings().reeds.iter().find(|reed| reed.place == *place) else { return html! {} };
    html! { p {
        b { (place.stroke) } " " (reed.note) " "
        @match &reed.pitch {
            Ok(pitch) => {
                (deviation(pitch))
                @match pitch.tune { Some(Tune::Raise) => " ▲ raise", Some(Tune::Lower) => " ▼ lower", _ => "" }
            }
            Err(why) => { span.faint { (figures(why)) } }
        }
        @for pass in passes {
            @for (_, takes) in job.takes(pass).iter().filter(|(there, _)| there == place) {
                @for take in takes { " " (hear(take, place)) }
                @if passes.len() > 1 && !takes.is_empty() { span.faint { " " (pass) } }
            }
        }
    } }
}

/// Every plate as a button, row by row, and which part of it is meant.
pub(super) fn picker(app: &AppState) -> Result<Markup, Error> {
    let job = app.job()?;
    Ok(html! {
        label { "Which part " select {
            option value="" { "the plate" }
            option value=" outer" { "its outer valve" }
            option value=" inner" { "its inner valve" }
            option value=" press" { "its press reed" }
            option value=" draw" { "its draw reed" }
        } }
        @for block in &job.instrument().blocks { @for row in &block.rows {
            div.cells role="group" aria-label={ "Block " (block.name) ", row " (row.name) } {
                @for number in 1..=row.plates.len() {
                    @let place = format!("{} {}{number}", block.name, row.name);
                    button type="button" data-plate-name=(place) aria-pressed="false" aria-label=(place) { (row.name) (number) }
                }
            }
        } }
    })
}
