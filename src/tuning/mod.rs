//! From a measured reed to a tuned reed: where the instrument stands and what a target costs, what a stroke of the file does,
//! how a tongue settles, bench against instrument, ranks beside each other, reeds that speak badly.
//!
//! Pure: no files, clock or sound. `docs/method.md`, "Tuning", says what stands behind each rule.

mod beam;
mod curve;
mod offsets;
mod ranks;
mod response;
mod settling;
mod solve;
mod stand;
mod strokes;
mod together;

pub use beam::{cents_per_percent, stroke_by_beam};
pub use curve::{Beside, CurveUnit, Followed, beats_of, departures, distance, followed};
pub use offsets::{Offsets, Pair, bench_target};
pub use ranks::{EVEN_BEATS_HZ, RankPair, rank_pairs};
pub use response::{Response, ResponseFault, responses};
pub use settling::{APART_S, ASK_AGAIN_S, Gain, Rate, Settled, gain, rate, warmed};
pub use stand::{Cost, Goal, Stand, cost, goals, stands};
pub use strokes::{Advice, Go, Hand, StrokeEffect, advise, stroke_effect};
pub use together::{TakeTogether, Together};

/// Below this number of reeds nothing is said of what they share.
const LEAST_REEDS: usize = crate::judgement::SHIFT_NEEDS_READINGS;
