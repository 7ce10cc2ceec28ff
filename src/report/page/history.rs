//! The instrument's history over all its visits: each reed's pitch over the years, leaks and changed valves.

use maud::{Markup, html};

use super::book::Book;
use super::frame::{clean, said};
use crate::repair::{PitchEvidence, ReedStanding, ValveStanding};
use crate::report::words::signed;

/// The small line of a reed: its size in pixels, and the deviation at its upper and lower edge, cents; what lies beyond
/// is drawn at the edge.
const WIDTH: f64 = 90.0;
const HEIGHT: f64 = 22.0;
const EDGE_CENTS: f64 = 15.0;

/// Told where a reed was measured in more passes than the two that are shown.
pub(super) fn section(book: &Book) -> Markup {
    let standing = book.dossier.standing;
    let told: Vec<&ReedStanding> = standing.reeds.iter().filter(|reed| reed.heard.len() > 1).collect();
    let changed: Vec<&ValveStanding> =
        standing.valves.iter().filter(|valve| valve.changed.is_some() || valve.has_leaked()).collect();
    let is_told = standing.passes.len() > 2 && (!told.is_empty() || !changed.is_empty());
    html! {
        @if is_told {
            section id="history" {
                h2 { "History" }
                p.hint { "All visits, oldest first. The line runs from the first pitch to the newest, the middle is the target, its edges are "
                    (EDGE_CENTS) " cents away." }
                (valves(&changed))
                (reeds(book, &told))
            }
        }
    }
}

fn valves(changed: &[&ValveStanding]) -> Markup {
    html! {
        @if !changed.is_empty() {
            h3 { "Valves" }
            ul { @for valve in changed {
                li { b { (valve.place) } ": "
                    @for (k, told) in valve.heard().enumerate() {
                        @if k > 0 { "; " }
                        (told.day) " " (told.answer.map_or("not judged", |answer| answer.words()))
                    }
                    @if let Some(noted) = &valve.changed { "; " (noted.day) " " (said(&noted.work)) }
                }
            } }
        }
    }
}

fn reeds(book: &Book, told: &[&ReedStanding]) -> Markup {
    html! {
        @if !told.is_empty() {
            h3 { "Reeds" }
            div.scroll { table {
                thead { tr { th { "Reed" } th { "Over time" } th { "Cents, pass by pass" } } }
                tbody { @for reed in told {
                    tr {
                        td { (book.link(&reed.place.plate, &reed.place)) }
                        td { (line(&reed.heard)) }
                        td { @for (k, told) in reed.heard.iter().enumerate() {
                            @if k > 0 { ", " }
                            (signed(told.pitch.deviation.value.get(), 1)) " (" (clean(&told.pass)) ", " (told.day) ")"
                        } }
                    }
                } }
            } }
        }
    }
}

/// A small line through the deviations; by time, so that years lie farther apart than days.
fn line(heard: &[PitchEvidence]) -> Markup {
    let (Some(first), Some(last)) = (heard.first(), heard.last()) else { return html! {} };
    let whole_s = (last.at.as_second() - first.at.as_second()).max(1) as f64;
    let point = |told: &PitchEvidence| {
        let x = WIDTH * (told.at.as_second() - first.at.as_second()) as f64 / whole_s;
        let off = told.pitch.deviation.value.get().clamp(-EDGE_CENTS, EDGE_CENTS);
        format!("{x:.1},{:.1}", 0.5 * HEIGHT * (1.0 - off / EDGE_CENTS))
    };
    let points: Vec<String> = heard.iter().map(point).collect();
    let words = format!(
        "from {} to {} cents",
        signed(first.pitch.deviation.value.get(), 1),
        signed(last.pitch.deviation.value.get(), 1)
    );
    html! {
        svg width=(WIDTH) height=(HEIGHT) viewBox=(format!("0 -2 {WIDTH} {}", HEIGHT + 4.0)) role="img" aria-label=(words) {
            line x1="0" x2=(WIDTH) y1=(0.5 * HEIGHT) y2=(0.5 * HEIGHT) stroke="#8a8f98" stroke-width="1" stroke-dasharray="2 3" {}
            polyline points=(points.join(" ")) fill="none" stroke="#1a1c20" stroke-width="1.5" {}
        }
    }
}
