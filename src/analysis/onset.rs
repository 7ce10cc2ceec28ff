//! The start of the note: from the first sound of air to 90 % of the steady level.

use super::NotMeasured;
use super::envelope::{HOP_S, smooth_db};
use super::hearing::Hearing;
use crate::units::Seconds;

/// The air counts as heard from this far above the quiet before it, dB.
const AIR_DB: f64 = 6.0;
/// Quiet needed before the air, s.
const QUIET_S: f64 = 0.04;
/// The quiet must lie this far below the note, dB.
const QUIET_BELOW_DB: f64 = 18.0;
/// 90 % of the steady level in amplitude, dB.
const RISEN_DB: f64 = -0.915;
/// The level is averaged over this at least, s, and over this many periods.
const WIDTH_S: f64 = 0.015;
const WIDTH_PERIODS: f64 = 1.5;
/// The steady level is taken from this much of the beginning of the steady stretch, s.
const EARLY_S: f64 = 0.4;

/// Time from the first sound of air to 90 % of the steady level.
pub(super) fn onset(hearing: &Hearing) -> Result<Seconds, NotMeasured> {
    let hop_s = HOP_S;
    let half = ((WIDTH_S.max(WIDTH_PERIODS / hearing.measured_hz) / hop_s / 2.0).round() as usize).max(1);
    let level = smooth_db(&hearing.envelope.hops, half);
    let first_steady = (hearing.steady.start.get() / hop_s) as usize;
    let early = (EARLY_S / hop_s) as usize;
    let mut steady: Vec<f64> = level.iter().skip(first_steady).take(early.max(1)).copied().collect();
    if steady.is_empty() {
        return Err(NotMeasured::AttackCut);
    }
    steady.sort_by(f64::total_cmp);
    let plateau = steady[steady.len() / 2];
    let fine = smooth_db(&hearing.envelope.hops, 1);
    let rough_start = ((hearing.envelope.start_s / hop_s) as usize).min(fine.len().saturating_sub(1));
    let quiet_hops = (QUIET_S / hop_s) as usize;
    let before = &fine[..rough_start];
    if before.len() < quiet_hops {
        return Err(NotMeasured::AttackCut);
    }
    let mut sorted = before.to_vec();
    sorted.sort_by(f64::total_cmp);
    let quiet = sorted[sorted.len() / 3];
    if plateau - quiet < QUIET_BELOW_DB {
        // Either the room is loud or the recording starts inside the attack.
        return Err(if before.len() < 3 * quiet_hops {
            NotMeasured::AttackCut
        } else {
            NotMeasured::TooNoisy
        });
    }
    let threshold = quiet + AIR_DB;
    // Backwards from the note: the air begins where a stretch of quiet ends.
    let mut start = rough_start;
    let mut quiet_run = 0;
    for i in (0..rough_start).rev() {
        if fine[i] > threshold {
            start = i;
            quiet_run = 0;
        } else {
            quiet_run += 1;
            if quiet_run >= quiet_hops {
                break;
            }
        }
    }
    let risen = (start..level.len()).find(|i| level[*i] >= plateau + RISEN_DB).unwrap_or(first_steady);
    let lasts = (risen.saturating_sub(start)) as f64 * hop_s;
    Seconds::new(lasts).ok_or(NotMeasured::AttackCut)
}
