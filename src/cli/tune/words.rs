//! The loop in JSON; its words are those of every front.

use serde_json::{Value, json};

pub(super) use crate::session::tune_words::{advice, due, meaning, of, part};
use crate::session::{Stands, TuneNow, TunePlay};

/// A play as JSON.
pub(super) fn play_json(play: &TunePlay) -> Value {
    let stands = match play.stands {
        Stands::Out => "out",
        Stands::Moves => "moves",
        Stands::AtOnce => "at_once",
        Stands::Settled => "settled",
    };
    let advice = play.advice.as_ref().map(|advice| {
        json!({"part": part(advice.part).1, "strokes": advice.strokes, "expected_cents": advice.expected,
            "at_most_cents": advice.at_most, "cents_per_stroke": advice.effect.cents,
            "most_cents_per_stroke": advice.effect.cents * advice.effect.most, "light": advice.light, "goes": advice.effect.goes})
    });
    let go = play.go.as_ref().map(|(mark, filing, moved)| {
        json!({"mark": mark, "work": format!("filed {filing}"), "moved_cents": moved.value.get(),
            "uncertainty_cents": moved.uncertainty.get()})
    });
    json!({"format": 1, "kind": "play", "place": play.place.to_string(), "f0_hz": play.f0.get(),
        "cents": play.off.value.get(), "uncertainty_cents": play.off.uncertainty.get(), "stands": stands,
        "go": go, "advice": advice, "cents_per_minute": play.rate.map(|rate| rate.per_minute),
        "other_reed_moved_cents": play.watched.map(|moved| moved.value.get())})
}

/// The live value as JSON.
pub(super) fn live_json(now: &TuneNow) -> Option<Value> {
    let (off, since_s) = now.live?;
    let due = now.due?;
    Some(json!({"format": 1, "kind": "live", "place": due.place.to_string(), "since_s": since_s,
        "cents": off.value.get(), "uncertainty_cents": off.uncertainty.get()}))
}
