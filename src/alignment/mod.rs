//! Where a sound belongs: a file's name or its pitch against the plan; the notes of a long recording along an order.

mod align;
mod by_name;
mod by_pitch;
mod hmm;
mod likelihood;
mod offset;
mod order;
mod strokes;
mod swapped;
mod transitions;

pub use align::{Alignment, Observation, Placing, PlacingDoubt, align, let_speak};
pub use by_name::place_by_name;
pub use by_pitch::{CLEARANCE, Candidate, NEAREST, place_by_pitch};
pub use offset::{KnownOffset, Rival};
pub use order::{PlayOrder, Run, likely_orders, said_order};

/// Why a sound could not be placed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotPlaced {
    /// The name names no plate of the plan.
    #[error("its name names no plate of the plan")]
    NoPlate,
    /// The name names a plate and no stroke.
    #[error("its name names plate `{plate}` and neither press nor draw")]
    NoStroke {
        /// The plate.
        plate: String,
    },
    /// The name fits several places.
    #[error("its name fits {places}")]
    Several {
        /// The places.
        places: String,
    },
    /// The plan has no reed there.
    #[error("its name says `{place}`, where the plan has no reed")]
    NoReed {
        /// The place.
        place: String,
    },
    /// No reed of the plan is near enough in pitch.
    #[error("its pitch of {pitch_hz:.2} Hz lies {} cents from the nearest reed, {place}", say_distance(*.cents))]
    NoneNear {
        /// The pitch, Hz.
        pitch_hz: f64,
        /// The nearest reed.
        place: String,
        /// How far, cents.
        cents: f64,
    },
    /// Several reeds are near in pitch.
    #[error("its pitch of {pitch_hz:.2} Hz fits {places}")]
    SeveralNear {
        /// The pitch, Hz.
        pitch_hz: f64,
        /// The places, the nearest first.
        places: String,
    },
    /// The plan has no reed to choose from.
    #[error("the plan has no such reed")]
    NoReeds,
}

fn say_distance(cents: f64) -> String {
    format!("{cents:+.0}")
}

/// `a`, `b` or `c`; not more than five of them.
fn listed(places: impl Iterator<Item = String>) -> String {
    let mut names: Vec<String> = places.map(|place| format!("`{place}`")).collect();
    let more = names.len().saturating_sub(5);
    names.truncate(5);
    let text = match names.split_last() {
        Some((last, rest)) if more == 0 && !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.join(", "),
    };
    if more > 0 { format!("{text} and {more} more") } else { text }
}
