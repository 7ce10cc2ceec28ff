//! Readings of a pass and the plan in, findings out: decides and never draws.

mod finding;
mod pass;

pub use finding::{
    Comparison, Findings, ReedChange, ReedFinding, ReedPitch, Sign, SignKind, Swap, Tune, ValveChange,
    ValveFinding, Verdict,
};
pub use pass::{MeasuredAt, Missing, PassReadings};
