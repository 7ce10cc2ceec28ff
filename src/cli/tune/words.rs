//! The loop in words and in JSON.

use serde_json::{Value, json};

use crate::cli::output::signed;
use crate::repair::Part;
use crate::session::{Stands, TuneNow, TunePlay, TuneReed, TuneSaid};
use crate::tuning::Advice;

/// Which reed is due.
pub(super) fn due(reed: &TuneReed, left: usize) -> String {
    format!(
        "due: {}, {}, target {}, within {:.1} cents ({left} left): play it, then stop",
        reed.place,
        reed.note,
        reed.target,
        reed.tolerance.get()
    )
}

/// How far to go: `raise 9.1: about 3 strokes at the tip, then play`.
pub(super) fn advice(advice: &Advice) -> String {
    let (what, part) = part(advice.part);
    // What weight takes is the trade's to judge: only that it is the other way.
    let or = if advice.part == Part::Root { " (or weight the tip)" } else { "" };
    let strokes = match advice.strokes {
        0 => format!("one light stroke, {:.1} of a usual one,", advice.light),
        1 => "about 1 stroke".to_owned(),
        n => format!("about {n} strokes"),
    };
    format!(
        "{what}: {strokes} at the {part}{or}, then play (expected {}, at most {} cents; {})",
        signed(advice.expected, 1),
        signed(advice.at_most, 1),
        learnt(advice)
    )
}

/// What a stroke is taken to do, and who taught it.
pub(super) fn learnt(advice: &Advice) -> String {
    let effect = &advice.effect;
    let most = effect.cents * effect.most;
    let a_stroke =
        format!("{} cents a stroke, hardly more than {}", signed(effect.cents, 2), signed(most, 2));
    match effect.goes {
        0 => format!("{a_stroke}: an order of magnitude by the beam alone, no history yet"),
        1 => format!("{a_stroke}, from 1 go"),
        n => format!("{a_stroke}, from {n} goes"),
    }
}

pub(super) fn part(part: Part) -> (&'static str, &'static str) {
    match part {
        Part::Tip => ("raise", "tip"),
        Part::Root => ("lower", "root"),
    }
}

/// What a play means.
pub(super) fn meaning(play: &TunePlay) -> String {
    let rate = play.rate.map_or(String::new(), |rate| {
        format!(", {} ± {:.1} cents a minute", signed(rate.per_minute, 1), rate.uncertainty)
    });
    match play.stands {
        Stands::Settled => format!("in tolerance and at rest{rate}"),
        Stands::AtOnce => format!("in tolerance, warm from the hand: play it again after a minute{rate}"),
        Stands::Moves => format!("it still moves{rate}: play it again after a minute"),
        Stands::Out => match &play.advice {
            Some(told) => advice(told),
            None => format!("out of tolerance{rate}"),
        },
    }
}

/// What happened, in lines for stdout and for stderr.
pub(super) fn of(said: &TuneSaid) -> (Vec<String>, Vec<String>) {
    match said {
        TuneSaid::Began => (Vec::new(), Vec::new()),
        TuneSaid::Played(play) => {
            let mut results = Vec::new();
            if let Some((mark, filing, moved)) = &play.go {
                results.push(format!(
                    "{}: mark {mark}, filed {filing}; it moved {} ± {:.1} cents",
                    play.place,
                    signed(moved.value.get(), 1),
                    moved.uncertainty.get()
                ));
            }
            results.push(format!(
                "{}: {}, {} ± {:.1} cents; {}",
                play.place,
                play.f0,
                signed(play.off.value.get(), 1),
                play.off.uncertainty.get(),
                meaning(play)
            ));
            if let Some(moved) = play.watched {
                results.push(format!(
                    "{}: it moved {} ± {:.1} cents while the plate's other reed was worked on",
                    play.place,
                    signed(moved.value.get(), 1),
                    moved.uncertainty.get()
                ));
            }
            (results, Vec::new())
        }
        TuneSaid::Nothing(None) => (Vec::new(), vec!["that was too short for a note".into()]),
        TuneSaid::Nothing(Some(refusal)) => {
            (Vec::new(), vec![format!("no reading: {refusal}; play it once more")])
        }
        TuneSaid::Other { pitch, whose } => {
            let whose = whose.as_ref().map_or("no reed on the bench".into(), ToString::to_string);
            (Vec::new(), vec![format!("{pitch} was heard: {whose} is that; nothing is noted")])
        }
        TuneSaid::Word(text) => (Vec::new(), vec![text.clone()]),
    }
}

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
