//! Words on what a session heard, for whoever sits in front of it.

use super::{OtherReed, Taken};
use crate::analysis::Opposite;

/// Advice where the plate's two strokes were not played alike.
pub fn uneven(taken: &Taken) -> Option<String> {
    let louder = taken.louder?.get();
    let which = if louder > 0.0 { "louder" } else { "softer" };
    Some(format!(
        "{:.0} dB {which} than the plate's other stroke: play softly and evenly, leaks show best so",
        louder.abs()
    ))
}

/// Why it should be played again, but for what is told as a warning.
pub fn reasons(taken: &Taken) -> impl Iterator<Item = &String> {
    let warnings: Vec<String> = taken.reading.warnings.iter().map(ToString::to_string).collect();
    taken.again.iter().filter(move |reason| !warnings.contains(reason))
}

/// Whose pitch was heard.
pub fn whose(other: &OtherReed) -> String {
    match &other.belongs_to {
        Some(place) if other.is_stroke_open => format!("the pitch of {}, on either stroke", place.plate),
        Some(place) => format!("the pitch of {place}"),
        None => "no reed's pitch alone".into(),
    }
}

/// What was heard of the opposite reed.
pub fn opposite(opposite: &Opposite) -> String {
    match opposite {
        Opposite::Sounding { level, offset, .. } => {
            format!("opposite reed sounds along at {level}, {offset}")
        }
        Opposite::Quiet { limit, .. } => format!("opposite reed not heard, below {limit}"),
        Opposite::Unresolved { reason, .. } => format!("opposite reed: {reason}"),
        Opposite::NotLooked => "no opposite reed".into(),
    }
}
