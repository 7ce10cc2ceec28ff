//! The tuning loop in words, for whoever sits in front of it.

use super::{Stands, TunePlay, TuneReed, TuneSaid};
use crate::repair::Part;
use crate::tuning::Advice;
use crate::units::signed;

/// Which reed is due.
pub fn due(reed: &TuneReed, left: usize) -> String {
    format!(
        "due: {}, {}, target {}, within {:.1} cents ({left} left): play it, then stop",
        reed.place,
        reed.note,
        reed.target,
        reed.tolerance.get()
    )
}

/// How far to go: `raise 9.1: about 3 strokes at the tip, then play`.
pub fn advice(advice: &Advice) -> String {
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
pub fn learnt(advice: &Advice) -> String {
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

/// Which way work there moves the pitch, and where it is.
pub fn part(part: Part) -> (&'static str, &'static str) {
    match part {
        Part::Tip => ("raise", "tip"),
        Part::Root => ("lower", "root"),
    }
}

/// What a play means.
pub fn meaning(play: &TunePlay) -> String {
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

/// The reed, its pitch and how far it is off.
pub fn heard(play: &TunePlay) -> String {
    let (off, uncertainty) = (signed(play.off.value.get(), 1), play.off.uncertainty.get());
    format!("{}: {}, {off} ± {uncertainty:.1} cents", play.place, play.f0)
}

/// What happened, in lines for stdout and for stderr.
pub fn of(said: &TuneSaid) -> (Vec<String>, Vec<String>) {
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
            results.push(format!("{}; {}", heard(play), meaning(play)));
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
