//! A sealing test in words, for whoever sits in front of it.

use crate::instrument::Stroke;
use crate::job::SealState;
use crate::judgement::sealing::{SealingFinding, Way};

/// What is to be closed, and what never.
pub fn what_to_close(stroke: Stroke) -> &'static str {
    match stroke {
        Stroke::Press => {
            "press: lay a soft pad or a smooth film flat over the outer valve itself; it lies by its own weight"
        }
        Stroke::Draw => {
            "draw: put a padded hollow cap, or a bridge of stiff paper, over the slot of the outer tongue from outside; \
             it touches the plate and never the tongue"
        }
    }
}

/// Things that can hurt somebody or the reeds.
pub const CAUTIONS: [&str; 3] = [
    "film and caps away from heat, flame and solvent",
    "loud reeds near the ear: keep your distance, wear plugs for long sessions",
    "never press a tongue, never cover the slot of the reed that plays",
];

/// What is due: open or sealed.
pub fn how(state: SealState) -> &'static str {
    match state {
        SealState::Open => "open; the hand rests beside the plate as it will when it is sealed",
        SealState::Sealed => "sealed; the same pressure",
    }
}

/// Lines of a test for a person.
pub fn lines(sealing: &SealingFinding) -> Vec<String> {
    let way = sealing.way.map_or(String::new(), |way| format!(", {}", way_words(way)));
    let n = sealing.pairs;
    let pairs = if n == 1 { "1 pair".into() } else { format!("{n} pairs") };
    let mut lines =
        vec![format!("{} ({pairs}{way}): {}: {}", sealing.valve, sealing.verdict.name(), sealing.reason)];
    if !sealing.next.is_empty() {
        lines.push(format!("    {}", sealing.next));
    }
    lines
}

fn way_words(way: Way) -> &'static str {
    match way {
        Way::Held => "held pressure",
        Way::Swell => "swells compared at equal level",
    }
}
