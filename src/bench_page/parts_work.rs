//! The work list, to be ticked off: a tick is a mark of the bench notes, and is taken back as any other.

use maud::{Markup, html};

use super::Error;
use super::app_state::AppState;
use super::job_lookup::pass_for;
use super::parts_bench::mark_line;
use crate::instrument::ValvePlace;
use crate::job::Job;
use crate::repair::{
    self, Choice, Mark, NextStep, StepKind, Task, TaskValve, Tick, ValveTrouble, Work, WorkList, stage,
};
use crate::report::figures;
use crate::report::{Hazard, caution};

/// So many of the newest marks stand below the list.
const NEWEST: usize = 8;

/// What findings and marks ask for.
pub(super) fn work(app: &AppState, pass: Option<&str>) -> Result<Markup, Error> {
    let job = app.job()?;
    let shown = app.shown(pass)?;
    let list = shown.told.work_list(&job);
    let next = shown.told.next_list(&job);
    let marks = job.marks();
    let done: Vec<&Mark> = marks.iter().rev().filter(|mark| !mark.undone).take(NEWEST).collect();
    Ok(html! {
        @if let Some(now) = stage(&next) { p { b { "Now: " (now.heading()) } ", " (now.why_now()) "." } } @else { p { "Nothing is open." } }
        p.hint { "By all passes and notes of the job." }
        (rows(&job, &list))
        (steps(&job, &next))
        @if !done.is_empty() {
            h3 { "Noted last" }
            ul.plain { @for mark in done { (mark_line(mark)) } }
        }
        h3 { "Caution" }
        ul.caution {
            @for work in [Hazard::Knife, Hazard::Solvent, Hazard::Heat, Hazard::File] { li { (caution(work)) "." } }
            li { "local rules and trained advice come first." }
        }
    })
}

/// What is open besides the valves, a kind after the other.
fn steps(job: &Job, next: &[NextStep]) -> Markup {
    let others =
        StepKind::ALL.into_iter().filter(|kind| !matches!(kind, StepKind::Valve | StepKind::ListenAgain));
    html! { @for kind in others {
        @let steps: Vec<&NextStep> = next.iter().filter(|step| step.kind == kind).collect();
        @if !steps.is_empty() {
            details open[steps.len() <= NEWEST] {
                summary { (kind.heading()) " (" (steps.len()) ")" }
                p.hint { (kind.why_now()) "." }
                ul.plain { @for step in steps { (step_line(job, step)) } }
            }
        }
    } }
}

fn step_line(job: &Job, step: &NextStep) -> Markup {
    html! { li.task {
        div { b { (step.place) } ": " (step.what) span.next { (figures(&step.reason)) } }
        div.ticks {
            @if step.kind == StepKind::Tuning { button.plain type="button" data-tune=(step.place) aria-label={ "Tune " (step.place) } { "tune" } }
            @match &step.tick {
            Tick::Mark(work) => button type="button" data-tick=(step.place) data-work=(work) aria-label={ (step.place) ": " (work) ", done" } { (work) },
            Tick::Record(reed) => button.plain type="button" data-record=(step.place) data-plate=(reed.plate) data-again=(pass_for(job, &reed.plate)) aria-label={ "Record " (reed.plate) " again" } { "record" },
            Tick::RecordAll(reeds) => @for reed in reeds {
                button.plain type="button" data-record=(reed.plate) data-plate=(reed.plate) data-again=(pass_for(job, &reed.plate)) aria-label={ "Record " (reed.plate) " again" } { "record " (reed.plate) }
            },
        } }
    } }
}

fn rows(job: &Job, list: &WorkList) -> Markup {
    let heads = [
        "Lift these plates, each once",
        "These plates lie beside the block",
        "In reach, the plate stays",
        "Listen again first",
    ];
    html! { @for row in list.rows() { @if let Some(first) = row.first() {
        h3 { "Block " (first.plate.block) ", row " (first.plate.row) }
        @for (head, tasks) in heads.iter().zip(Task::sorted(row)) {
            @if !tasks.is_empty() {
                h4 { (head) }
                ul.plain { @for task in tasks {
                    @if task.lift {
                        li.task { div { b { (task.plate) } ": the plate is to be lifted" }
                            div.ticks { (tick(&task.plate.to_string(), &Work::Lifted, "lifted")) } }
                    }
                    @for valve in &task.valves { (line(job, task, valve)) }
                } }
            }
        }
    } } }
}

fn line(job: &Job, task: &Task, valve: &TaskValve) -> Markup {
    let place = ValvePlace { plate: task.plate.clone(), face: valve.face };
    let name = place.to_string();
    html! { li.task {
        div { b { (name) } ": " (figures(&valve.words())) }
        div.ticks {
            @if matches!(valve.trouble, ValveTrouble::Leaks | ValveTrouble::Off) {
                (tick(&name, &fitted(valve), "valve fitted"))
                @if valve.trouble == ValveTrouble::Leaks { (tick(&name, &Work::ValveKept, "valve kept")) }
            } @else {
                button.plain type="button" data-record=(name) data-plate=(task.plate) data-again=(pass_for(job, &task.plate)) aria-label={ "Record " (task.plate) " again" } { "record again" }
            }
            button.plain type="button" data-seal=(name) aria-label={ "Sealing test of " (name) } { "sealing test" }
            button.plain type="button" data-place=(name) aria-label={ "Note other work at " (name) } { "other work" }
        }
    } }
}

/// A button that notes the work; the page sends its words to where all marks go.
fn tick(place: &str, work: &Work, word: &str) -> Markup {
    html! { button type="button" data-tick=(place) data-work=(work) aria-label={ (place) ": " (word) ", done" } { (word) } }
}

/// What is noted when the valve is ticked off: the one that was proposed, out of its bin, or a new one.
fn fitted(valve: &TaskValve) -> Work {
    let source = match &valve.replacement {
        Some(Choice::FromTray { lot, .. }) => repair::Source::Tray { bin: lot.bin.clone() },
        _ => repair::Source::New,
    };
    Work::ValveFitted { length: valve.length, source }
}
