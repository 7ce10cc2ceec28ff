//! The top of the report: what to do next.

use maud::{Markup, html};

use super::frame::{clean, said};
use super::{Book, method};
use crate::judgement::{Findings, ReedFinding, ReedPitch, Tune};
use crate::repair::{Task, TaskValve};
use crate::report::cautions::{Work, caution};
use crate::report::words::{plain, signed};

/// Reeds without a take that are named one by one; more of them share a line.
const NAMED_ALONE: usize = 6;

pub(super) fn section(book: &Book) -> Markup {
    let findings = book.findings();
    let due = due(findings);
    let missing: Vec<&ReedFinding> = findings.reeds.iter().filter(|reed| reed.pitch.is_err()).collect();
    let n_valves: usize = book.dossier.work.tasks.iter().map(|task| task.valves.len()).sum();
    html! {
        section id="next" {
            h2 { "What to do next" }
            @if n_valves + due.len() + findings.swaps.len() + missing.len() == 0 {
                p.good { "Nothing: every reed was heard, none is surely out of tolerance, and no valve shows a sign of a leak. "
                    "That is a limit and no proof; see the method." }
            }
            (valves(book))
            (reeds(book, &due))
            @if !findings.swaps.is_empty() {
                h3 { "Plates that may be swapped" " " span.count { (findings.swaps.len()) } }
                ul {
                    @for swap in &findings.swaps {
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
            (not_measured(book, &missing))
            (warnings(book))
        }
    }
}

/// Reeds surely outside the tolerance.
pub(super) fn due(findings: &Findings) -> Vec<(&ReedFinding, &ReedPitch)> {
    let measured = findings.reeds.iter().filter_map(|reed| Some((reed, reed.pitch.as_ref().ok()?)));
    measured.filter(|(_, pitch)| matches!(pitch.tune, Some(Tune::Raise | Tune::Lower))).collect()
}

fn valves(book: &Book) -> Markup {
    let work = book.dossier.work;
    let mut groups: [Vec<&Task>; 3] = Default::default();
    for row in work.rows() {
        for (group, tasks) in groups.iter_mut().zip(Task::sorted(row)) {
            group.extend(tasks);
        }
    }
    let [lift, stay, listen] = groups;
    let heads = [
        ("Valves: lift these plates, each once", lift),
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
                (method::caution_line(caution(Work::Knife)))
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

fn reeds(book: &Book, due: &[(&ReedFinding, &ReedPitch)]) -> Markup {
    html! {
        @if !due.is_empty() {
            h3 { "Reeds to tune" " " span.count { (due.len()) } }
            @if !book.findings().swaps.is_empty() { p.hint { "Put plates in a wrong place right first." } }
            div.scroll { table {
                thead { tr { th { "Reed" } th { "Note" } th { "Do" } th.figure { "Cents" } th.figure { "±" } th.figure { "Beats/s" } } }
                tbody {
                    @for (reed, pitch) in due {
                        tr {
                            td { (book.link(&reed.place.plate, &reed.place)) }
                            td { (reed.note) }
                            td.do { b { @if pitch.tune == Some(Tune::Raise) { "▲ raise" } @else { "▼ lower" } } }
                            td.figure { (signed(pitch.deviation.value.get(), 1)) }
                            td.figure { (plain(pitch.deviation.uncertainty.get(), 1)) }
                            td.figure { (plain(pitch.f0.beat_rate(reed.target), 2)) }
                        }
                    }
                }
            } }
            p.hint { "Cents against the target, positive is sharp; beats per second against a tone of the target's pitch." }
            (method::caution_line(caution(Work::File)))
        }
    }
}

fn not_measured(book: &Book, missing: &[&ReedFinding]) -> Markup {
    html! {
        @if !missing.is_empty() {
            h3 { "Not measured" " " span.count { (missing.len()) } }
            @if missing.len() <= NAMED_ALONE {
                ul { @for reed in missing {
                    li { (book.link(&reed.place.plate, &reed.place)) ": "
                        (clean(reed.pitch.as_ref().err().map_or("", String::as_str))) }
                } }
            } @else {
                p { @for (k, reed) in missing.iter().enumerate() {
                    @if k > 0 { ", " }
                    (book.link(&reed.place.plate, &reed.place))
                } }
            }
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
