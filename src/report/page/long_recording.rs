//! The page of a long recording: what was placed where, before anything is stored.

use maud::{Markup, PreEscaped, html};

use super::frame::{self, clean};
use crate::report::{Certainty, Chart, DrawnCut, LongRecording};

/// A page of the pictures and the table, self-contained.
pub fn long_recording_page(recording: &LongRecording, charts: &[Chart]) -> String {
    frame::page(&format!("Long recording: {}", recording.name), body(recording, charts))
}

fn body(recording: &LongRecording, charts: &[Chart]) -> Markup {
    let doubtful: Vec<&DrawnCut> = recording.cuts.iter().filter(|cut| cut.how != Certainty::Sure).collect();
    // Where all are, the table of every note says so.
    let is_some = (1..recording.cuts.len()).contains(&doubtful.len());
    html! {
        header {
            p.kind { "Long recording" }
            h1 { (clean(recording.name)) }
            p.passes { "Pass " b { (clean(recording.pass)) } }
        }
        main {
            section id="next" {
                h2 { "What was found" }
                @for line in recording.lines { p { (with_commands(line)) } }
                @if is_some {
                    h3 { "To be checked" span.count { (doubtful.len()) } }
                    (table(&doubtful))
                }
            }
            section {
                h2 { "Level over time" }
                @for chart in charts {
                    div.scroll { div.drawing.timeline { (PreEscaped(&chart.svg)) } }
                }
            }
            section {
                h2 { "Every note" }
                @if recording.cuts.is_empty() { p { "No note was found." } }
                @else { (table(&recording.cuts.iter().collect::<Vec<_>>())) }
            }
        }
        footer { p { "Made by Platenote " (env!("CARGO_PKG_VERSION")) "; the recording itself is only read." } }
    }
}

/// What stands between backticks is to be typed.
fn with_commands(line: &str) -> Markup {
    let line = clean(line);
    html! {
        @for (k, part) in line.split('`').enumerate() {
            @if k % 2 == 1 { code { (part) } } @else { (part) }
        }
    }
}

fn table(cuts: &[&DrawnCut]) -> Markup {
    html! {
        table.notes {
            thead { tr {
                th.figure { "From, s" } th.figure { "To, s" } th.figure { "Pitch, Hz" } th { "Place" } th { "Remarks" }
            } }
            tbody {
                @for cut in cuts {
                    tr {
                        td.figure { (format!("{:.2}", cut.start_s)) }
                        td.figure { (format!("{:.2}", cut.stop_s)) }
                        td.figure { (cut.pitch.map_or(String::new(), |pitch| format!("{:.2}", pitch.get()))) }
                        td {
                            @match cut.how {
                                Certainty::Sure => b { (clean(&cut.place)) },
                                Certainty::Doubtful => { b { (clean(&cut.place)) } " " span.badge.suspect { "check" } }
                                Certainty::None => span.badge.not-judged { "no place" },
                            }
                        }
                        td.why { (clean(&cut.remark)) }
                    }
                }
            }
        }
    }
}
