//! Home: where the job stands, what is next, and the block at a glance; and the row of the reed that is due.

use maud::{Markup, PreEscaped, html};

use super::Error;
use super::app_state::AppState;
use super::job_lookup::spots_in;
use super::shown_pass::{ShownPass, address};
use crate::instrument::{Face, ReedPlace, Spot, Stroke, ValvePlace};
use crate::judgement::Verdict;
use crate::repair::{NextStep, StepKind, ValveVerdict, stage};

/// The steps of a job, in the order they are best done.
const WAY: [&str; 6] = ["Plan", "Record", "Valves", "Listen again", "Tune", "Hand over"];

/// What is next, and why.
struct Next {
    /// Which step of the way that is.
    step: usize,
    head: String,
    why: String,
    button: &'static str,
    /// The page that does it.
    page: &'static str,
}

/// The stage, the counts, and the map; all of it by the standing of the job.
pub(super) fn home(app: &AppState) -> Result<Markup, Error> {
    let job = app.job()?;
    let shown = app.shown(None)?;
    let steps = shown.told.next_list(&job);
    let next = next(shown.pass(), &steps);
    let standing = &shown.told.standing;
    let of = |wanted: &[ValveVerdict]| {
        standing.valves.iter().filter(|valve| wanted.contains(&valve.state)).count()
    };
    let heard = standing.reeds.iter().filter(|reed| reed.evidence.is_some()).count();
    let off = standing.reeds.iter().filter(|reed| reed.is_off()).count();
    let reeds = job.instrument().reeds().count();
    Ok(html! {
        ol.way aria-label="The way of the job" {
            @for (step, word) in WAY.iter().enumerate() {
                li.done[step < next.step].now[step == next.step] aria-current=[(step == next.step).then_some("step")] { (word) }
            }
        }
        div.card.stage {
            div { h2 { (next.head) } p.why { (next.why) } }
            a.button.main href=(next.page) { (next.button) " ›" }
        }
        @if shown.pass().is_some() {
            ul.counts {
                li { b { (heard) " of " (reeds) } "reeds measured" }
                li { b { (of(&[ValveVerdict::Leaks, ValveVerdict::Off])) } "valves that leak or are off" }
                li { b { (of(&[ValveVerdict::Suspect, ValveVerdict::Changed])) } "valves to listen to again" }
                li { b { (of(&[ValveVerdict::NotJudged, ValveVerdict::NotRecorded])) } "valves not judged" }
                li { b { (off) } "reeds off their pitch" }
            }
        } @else {
            div.empty {
                p { "Nothing is recorded yet. The plan says what lies on the bench: " b { (job.instrument().plates().count()) " plates, " (reeds) " reeds" } "." }
                p { "Look through the " a href="#plan" { "plan" } " first: notes, valves and pitch are measured against it. Then " a href="#record" { "record" } " each reed, or bring " a href="#files" { "sound files" } "." }
            }
        }
        div.drawings { @for drawing in shown.drawings.iter().filter(|drawing| drawing.name.starts_with("map")) {
            div class={ "drawing " (drawing.format) } { (PreEscaped(&drawing.svg)) }
        } }
    })
}

/// The step that comes next; who leaves the order is free to.
fn next(pass: Option<&str>, steps: &[NextStep]) -> Next {
    if pass.is_none() {
        return Next {
            step: 0,
            head: "Look through the plan".into(),
            why: "Every reed is measured against it: its note, the pitch of A4, where valves are due.".into(),
            button: "Open the plan",
            page: "#plan",
        };
    }
    let Some(now) = stage(steps) else {
        return Next {
            step: WAY.len() - 1,
            head: "Nothing is open".into(),
            why: "As far as the record tells. A report and a sheet for the owner can be written.".into(),
            button: "Hand over",
            page: "#report",
        };
    };
    let count = steps.iter().filter(|step| step.kind == now).count();
    let (step, button, page) = match now {
        StepKind::Swap => (1, "See which", "#work"),
        StepKind::MissingTake => (1, "Record", "#record"),
        StepKind::Valve => (2, "See what to do", "#work"),
        StepKind::ListenAgain => (3, "See which", "#work"),
        StepKind::Tuning => (4, "Tune", "#tune"),
        StepKind::MeasureAgain => (4, "See which", "#work"),
    };
    Next { step, head: format!("{}: {count}", now.heading()), why: sentence(now.why_now()), button, page }
}

/// A reason as a sentence of its own.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

/// The row that a reed lies in, a cell a plate: what is recorded of it and what its valves say.
pub(super) fn row(app: &AppState, pass: Option<&str>, at: &str) -> Result<Markup, Error> {
    let job = app.job()?;
    let Some(Spot::Reed(due)) = spots_in(&job, at)?.pop() else { return Ok(html! {}) };
    let shown = app.shown(pass)?;
    let takes = shown.pass().map(|pass| job.takes(pass)).unwrap_or_default();
    let is_taken = |place: &ReedPlace| takes.iter().any(|(there, takes)| there == place && !takes.is_empty());
    let plates = job.instrument().plates().map(|(place, ..)| place);
    let plates = plates.filter(|place| (&place.block, &place.row) == (&due.plate.block, &due.plate.row));
    Ok(html! { ol.row-cells { @for plate in plates {
        @let is_due = plate == due.plate;
        li.due-plate[is_due] data-plate=(address(&plate)) aria-current=[is_due.then_some("true")] {
            b { (plate.row) (plate.number) }
            span.valves { @for face in Face::BOTH { (valve_sign(&shown, &ValvePlace { plate: plate.clone(), face })) } }
            span { @for stroke in Stroke::BOTH {
                @let reed = ReedPlace { plate: plate.clone(), stroke };
                @if job.instrument().target(&reed).is_some() {
                    @if is_taken(&reed) { span title={ (stroke) " is recorded" } { "●" } }
                    @else { span title={ (stroke) " is not recorded yet" } { "·" } }
                }
            } }
        }
    } } })
}

/// The sign of a verdict, as on the map, with its words.
fn valve_sign(shown: &ShownPass, place: &ValvePlace) -> Markup {
    let found = shown.told.later.valve(place);
    let Some(verdict) = found.map(|valve| valve.verdict) else { return html! {} };
    let sign = match verdict {
        Verdict::Leaks => "✕",
        Verdict::Suspect => "◐",
        Verdict::NotJudged { .. } => "–",
        Verdict::NoValve => return html! {},
        _ => "○",
    };
    let word = verdict.as_str();
    html! { span class=(word.replace(' ', "-")) title={ (place.face) " valve: " (word) } { (sign) } }
}
