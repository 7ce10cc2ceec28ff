//! The plates one by one: valves and reeds in both passes, close-ups, sound, bench notes.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, html};

use super::book::{Book, verdict_words};
use super::frame::{clean, said};
use super::map::drawing;
use super::plate_tables;
use super::tuning::stroke_word;
use crate::instrument::{Face, Plate, PlatePlace, ReedPlace, Spot, Stroke, ValvePlace};
use crate::judgement::{Tune, ValveFinding, Verdict};
use crate::repair::Mark;
use crate::report::Kind;
use crate::report::words::{plain, signed};

pub(super) fn section(book: &Book) -> Markup {
    let left_out = book.dossier.clips_left_out;
    html! {
        section id="plates" {
            h2 { "Plates" }
            @if !book.dossier.clips.is_empty() {
                p.hint.on-screen { "The sound is a second from the middle of the take that was measured, to listen to; the take in the job is whole and untouched." }
            }
            @if left_out > 0 {
                p.hint { (left_out) " clips were left out to keep this file small: plates with work come first. The takes are in the job folder." }
            }
            (plate_tables::tables(book))
            div.plates {
                @for (place, _, _, plate) in book.dossier.subject.instrument.plates() { (part(book, &place, plate)) }
            }
        }
    }
}

fn part(book: &Book, place: &PlatePlace, plate: &Plate) -> Markup {
    let anchor = book.anchors.get(place).map_or("", String::as_str);
    let close_ups: Vec<_> = Stroke::BOTH
        .into_iter()
        .map(|stroke| ReedPlace { plate: place.clone(), stroke })
        .filter_map(|reed| Some((is_leak_now(book, &reed), book.drawing(&Kind::CloseUp(reed))?)))
        .collect();
    let marks: Vec<&Mark> = book
        .dossier
        .marks
        .iter()
        .filter(|mark| !mark.undone && mark.spots.iter().any(|spot| plate_of(spot) == place))
        .collect();
    html! {
        article.plate.settled[!plate_tables::has_card(book, place)] id=(anchor) {
            h3 { (place) " " span.note { (crate::report::subject::notes(plate).join(" / ")) } " " a.up href="#map" { "map" } }
            div.parts {
                @for face in Face::BOTH { (valve(book, &ValvePlace { plate: place.clone(), face })) }
                @for stroke in Stroke::BOTH {
                    @if plate.reeds.on(stroke).is_some() { (reed(book, &ReedPlace { plate: place.clone(), stroke })) }
                }
            }
            // On paper only those of what leaks now.
            @if !close_ups.is_empty() { div.close-ups {
                @for (is_leak, inline) in close_ups { div.on-screen[!is_leak] { (drawing(inline)) } }
            } }
            @for day in marks.chunk_by(|left, right| left.day == right.day) {
                p.why { b { "Noted " @if let Some(mark) = day.first() { (mark.day) } ": " }
                    (clean(&day.iter().map(|mark| mark.work.to_string()).collect::<Vec<_>>().join("; "))) }
            }
        }
    }
}

/// Whether the valve that the reed tests showed a leak in the newest of the passes that are told of.
fn is_leak_now(book: &Book, reed: &ReedPlace) -> bool {
    let valve = book.dossier.subject.instrument.valve_tested_by(reed);
    let found = valve.and_then(|(place, _)| book.valves.last()?.get(&place).copied());
    found.is_some_and(|valve| matches!(valve.verdict, Verdict::Leaks | Verdict::Suspect))
}

/// The plate a mark is about.
pub(super) fn plate_of(spot: &Spot) -> &PlatePlace {
    match spot {
        Spot::Plate(plate) => plate,
        Spot::Reed(reed) => &reed.plate,
        Spot::Valve(valve) => &valve.plate,
    }
}

fn valve(book: &Book, place: &ValvePlace) -> Markup {
    let found: Vec<Option<&&ValveFinding>> = book.valves.iter().map(|valves| valves.get(place)).collect();
    let Some(Some(now)) = found.last() else { return html! {} };
    let reach = match place.face {
        Face::Outer => "in reach",
        Face::Inner => "lift the plate",
    };
    html! {
        div {
            p.label { (place.face) " valve" @if now.verdict != Verdict::NoValve { ", " (reach) ", heard on " (now.heard_on) } }
            p {
                @for (k, (valve, facts)) in found.iter().zip(book.dossier.passes).enumerate() {
                    @if k > 0 { " " }
                    @if let Some(valve) = valve { (badge(valve, (book.valves.len() > 1).then_some(facts.pass.as_str()))) }
                }
            }
            @if now.verdict != Verdict::NoValve {
                // On paper the reason stands in the list of what to do.
                p.why { span.on-screen { (said(&now.reason)) ". " } @if !now.next.is_empty() { b { "Next: " } (said(&now.next)) } }
                (holds(book, place))
            }
        }
    }
}

/// What holds by all passes and notes, where that is not what the shown pass says.
fn holds(book: &Book, place: &ValvePlace) -> Markup {
    let standing = book.dossier.standing.valve(place);
    let shown = &book.dossier.subject.findings.pass;
    let elsewhere = standing.filter(|valve| {
        valve.is_evidence_historic() || valve.evidence.as_ref().is_none_or(|told| told.pass != *shown)
    });
    html! {
        @if let Some(valve) = elsewhere {
            p.why.on-screen { b { "Holds now: " } (valve.state.words()) "; " (said(&valve.reason())) }
        }
    }
}

/// The verdict by word, shape and shade.
fn badge(valve: &ValveFinding, pass: Option<&str>) -> Markup {
    let (class, shape) = match valve.verdict {
        Verdict::Leaks => ("leaks", "✕ "),
        Verdict::Suspect => ("suspect", "◐ "),
        Verdict::NoSign => ("no-sign", "○ "),
        Verdict::Tight => ("no-sign", "● "),
        Verdict::NotJudged { .. } => ("not-judged", "– "),
        Verdict::NoValve => ("no-valve", ""),
    };
    html! {
        span.badge.(class) {
            @if let Some(pass) = pass { span.pass { (clean(pass)) ": " } }
            (shape) span.verdict { (verdict_words(valve)) }
        }
    }
}

fn reed(book: &Book, place: &ReedPlace) -> Markup {
    html! {
        div {
            p.label { (stroke_word(place.stroke)) " reed" }
            @for (reeds, facts) in book.reeds.iter().zip(book.dossier.passes) {
                @if let Some(found) = reeds.get(place) {
                    p.take {
                        span {
                            @if book.reeds.len() > 1 { (clean(&facts.pass)) ": " }
                            @match &found.pitch {
                                Ok(pitch) => {
                                    b { (signed(pitch.deviation.value.get(), 1)) } " ± " (plain(pitch.deviation.uncertainty.get(), 1)) " cents"
                                    @match pitch.tune {
                                        Some(Tune::Raise) => ", ▲ raise",
                                        Some(Tune::Lower) => ", ▼ lower",
                                        Some(Tune::Leave) | None => "",
                                    }
                                }
                                Err(missing) => { "not measured: " (said(missing)) }
                            }
                        }
                        (sound(book, place, &facts.pass))
                    }
                    @for warning in &found.warnings { p.why { (said(warning)) } }
                }
            }
        }
    }
}

/// A player for the reed's clip, which loads and plays nothing until it is asked to.
fn sound(book: &Book, place: &ReedPlace, pass: &str) -> Markup {
    let clip = book.dossier.clips.iter().find(|clip| clip.reed == *place && clip.pass == pass);
    html! {
        @if let Some(clip) = clip {
            audio controls preload="none" aria-label=(format!("{place}, {}", clean(pass)))
                src=(format!("data:audio/wav;base64,{}", STANDARD.encode(&clip.wav))) {}
        }
    }
}
