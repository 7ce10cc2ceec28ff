//! The top of the report: what to do next.

use maud::{Markup, html};

use super::book::Book;
use super::frame::{clean, said};
use super::method;
use crate::instrument::place_ranges;
use crate::repair::{NextStep, PitchEvidence, ReedStanding, ReedState, StepKind, Task, TaskValve, stage};
use crate::report::cautions::{Hazard, caution};
use crate::report::words::{plain, signed};

/// Reeds without a take that are named one by one; more of them share a line.
const NAMED_ALONE: usize = 6;

pub(super) fn section(book: &Book) -> Markup {
    let next = book.dossier.next;
    let reeds = due(book);
    html! {
        section id="next" {
            h2 { "What to do next" }
            p.hint { (told_by(book)) ", in the order it is best done; each line names what it rests on." }
            @match stage(next) {
                None => p.good { "Nothing: every reed was heard, none is surely out of tolerance, and no valve shows a sign of a leak. "
                    "That is a limit and no proof; see the method." },
                Some(now) => p { b { "Now: " (now.heading()) } ", " (now.why_now()) "." },
            }
            (swaps(book))
            (steps(book, StepKind::MissingTake))
            (valves(book))
            (tuning(book, &reeds))
            (steps(book, StepKind::MeasureAgain))
            (astray(book))
            (warnings(book))
        }
    }
}

/// What was done out of order, and what can no longer be found out because of it.
fn astray(book: &Book) -> Markup {
    html! {
        @if !book.dossier.astray.is_empty() {
            h3 { "Done out of order: what can no longer be found out" }
            ul { @for one in book.dossier.astray {
                li { (place_ranges(&one.places)) ": " (one.what) "; " (one.instead) "." }
            } }
        }
    }
}

/// Which passes speak: all of the job, or one that is looked at alone.
fn told_by(book: &Book) -> String {
    match book.dossier.standing.passes.as_slice() {
        [] => "By the notes of the job alone".to_owned(),
        [only] => format!("By pass {} and the notes", clean(only)),
        passes => format!("By the passes {} and the notes", clean(&passes.join(", "))),
    }
}

fn swaps(book: &Book) -> Markup {
    let swaps = &book.dossier.standing.swaps;
    html! {
        @if !swaps.is_empty() {
            h3 { "Plates that may be swapped" " " span.count { (swaps.len()) } }
            ul {
                @for swap in swaps {
                    li {
                        @for (k, place) in swap.places.iter().enumerate() {
                            @if k > 0 { " and " }
                            (book.link(place, place))
                        }
                        @if swap.sure { ": by their pitch they lie in each other's place; put them right before tuning" }
                        @else { ": only one of them was heard out of its place; look at them before tuning" }
                    }
                }
            }
        }
    }
}

/// Steps of a kind, one by one while they are few, else the places alone.
fn steps(book: &Book, kind: StepKind) -> Markup {
    let steps: Vec<&NextStep> = book.dossier.next.iter().filter(|step| step.kind == kind).collect();
    html! {
        @if !steps.is_empty() {
            h3 { (kind.heading()) " " span.count { (steps.len()) } }
            @if steps.len() <= NAMED_ALONE {
                ul { @for step in steps {
                    li { (book.link(&step.plate, &step.place)) ": " (step.what) ", " (said(&step.reason)) }
                } }
            } @else {
                p { @for (k, step) in steps.iter().enumerate() {
                    @if k > 0 { ", " }
                    (book.link(&step.plate, &step.place))
                } }
            }
        }
    }
}

/// Reeds to be tuned, by their newest pitch.
fn due<'a>(book: &Book<'a>) -> Vec<(&'a ReedStanding, &'a PitchEvidence)> {
    let reeds = book.dossier.standing.reeds.iter().filter(|reed| reed.is_off());
    reeds.filter_map(|reed| Some((reed, reed.evidence.as_ref()?))).collect()
}

fn valves(book: &Book) -> Markup {
    let work = book.dossier.work;
    let mut groups: [Vec<&Task>; 4] = Default::default();
    for row in work.rows() {
        for (group, tasks) in groups.iter_mut().zip(Task::sorted(row)) {
            group.extend(tasks);
        }
    }
    let [lift, lifted, stay, listen] = groups;
    let heads = [
        ("Valves: lift these plates, each once", lift),
        ("Valves of plates that lie beside the block", lifted),
        ("Valves in reach: the plate stays", stay),
        ("Valves to listen to again first", listen),
    ];
    html! {
        @for (head, tasks) in heads {
            @if !tasks.is_empty() {
                @let count: usize = tasks.iter().map(|task| task.valves.len()).sum();
                h3 { (head) " " span.count { (count) } }
                div.scroll { table.work {
                    thead { tr { th { "Plate" } th { "Valve" } th { "Length" } th { "What" } th { "Why" } } }
                    tbody {
                        @for task in tasks { @for valve in &task.valves { (valve_row(book, task, valve)) } }
                    }
                } }
                (method::caution_line(caution(Hazard::Knife)))
            }
        }
    }
}

fn valve_row(book: &Book, task: &Task, valve: &TaskValve) -> Markup {
    let words = valve.words();
    // `leaks; 38 mm: 38 mm flat, bin 1; reason`: the reason has a column of its own.
    let what = words.strip_suffix(valve.reason.as_str()).unwrap_or(&words).trim_end_matches("; ");
    let (trouble, rest) = what.split_once("; ").unwrap_or((what, ""));
    let how = rest.split_once(": ").map_or("", |(_, how)| how);
    html! {
        tr {
            td { (book.link(&task.plate, &task.plate)) }
            td { (valve.face) @if task.lift { b.how { "lift" } } }
            td.figure { @match valve.length { Some(length) => (length), None => "not known" } }
            td { b { (trouble) } @if !how.is_empty() { span.how { (how) } } }
            td.why { (said(&valve.reason)) }
        }
    }
}

fn tuning(book: &Book, due: &[(&ReedStanding, &PitchEvidence)]) -> Markup {
    let instrument = book.dossier.subject.instrument;
    html! {
        @if !due.is_empty() {
            h3 { "Reeds to tune" " " span.count { (due.len()) } }
            p.hint { (StepKind::Tuning.why_now()) "." }
            div.scroll.due { table {
                thead { tr { th { "Reed" } th { "Note" } th { "Do" } th.figure { "Cents" } th.figure { "±" } th.figure { "Beats/s" } th { "Pass" } } }
                tbody {
                    @for (reed, told) in due {
                        tr {
                            td { (book.link(&reed.place.plate, &reed.place)) }
                            td { @if let Some(note) = instrument.reeds().find(|(place, _)| *place == reed.place).map(|(_, reed)| reed.note) { (note) } }
                            td.do { b { @if reed.state == ReedState::Raise { "▲ raise" } @else { "▼ lower" } } }
                            td.figure { (signed(told.pitch.deviation.value.get(), 1)) }
                            td.figure { (plain(told.pitch.deviation.uncertainty.get(), 1)) }
                            td.figure { @if let Some(target) = instrument.target(&reed.place) { (plain(told.pitch.f0.beat_rate(target), 2)) } }
                            td { (clean(&told.pass)) }
                        }
                    }
                }
            } }
            p.hint { "Cents against the target, positive is sharp; beats per second against a tone of the target's pitch." }
            (method::caution_line(caution(Hazard::File)))
        }
    }
}

fn warnings(book: &Book) -> Markup {
    let comparison = book.dossier.subject.earlier.and_then(|earlier| earlier.comparison);
    let compared = comparison.iter().flat_map(|comparison| &comparison.warnings);
    // What the clocks took off stands among the corrections.
    let words = book.dossier.words.iter().filter(|words| !book.dossier.clocks.contains(words));
    let warnings: Vec<&String> = words.chain(&book.findings().warnings).chain(compared).collect();
    html! {
        @if !warnings.is_empty() {
            h3 { "To bear in mind" }
            ul { @for warning in warnings { li { (said(warning)) } } }
        }
    }
}
