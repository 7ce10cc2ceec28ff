//! A reed as it is played for a take: quiet, a quick start, steady tone, an abrupt stop with its ring, quiet.

use super::tone::{Tail, ToneSpec};

/// Quiet before the note, s.
pub const LEAD_S: f64 = 0.9;
/// Its start, s.
pub const ATTACK_S: f64 = 0.05;
/// Ring and quiet after it, s.
pub const TAIL_S: f64 = 1.1;

/// A reed of `hz` that is steady for so long, over a quiet room.
pub fn played(rate_hz: u32, hz: f64, steady_s: f64) -> ToneSpec {
    ToneSpec {
        lead_in_s: LEAD_S,
        attack_s: ATTACK_S,
        tail: Tail::Ring { sharper_cents: 10.0, decay_s: 0.1, length_s: TAIL_S },
        snr_db: Some(60.0),
        ..ToneSpec::plain(rate_hz, hz, (1..=10).map(|k| 1.0 / f64::from(k)).collect(), steady_s)
    }
}
