//! The steady stretch: attack and tail excluded, level and pitch settled.

use super::partials::Wander;

/// The level may lie this far from the middle of the stretch, dB.
const LEVEL_BAND_DB: f64 = 4.0;
/// The plateau is taken from the frames that come this near to the loudest, dB.
const NEAR_DB: f64 = 8.0;
/// Excursions out of the band up to this long do not end the stretch, s.
const EXCURSION_S: f64 = 0.08;
/// At the beginning the level must have come this close to the plateau: 90 % in amplitude.
const RISEN_DB: f64 = 0.92;
/// Level and pitch are judged over this width, s.
const WIDTH_S: f64 = 0.10;
/// Left out at either end, s: what the band filters carry over from attack and stop.
const MARGIN_S: f64 = 0.025;
/// The pitch at an end may lie this far from the middle beyond its own scatter, cents.
const SETTLED_CENTS: f64 = 0.3;
/// A level that rises more slowly than this is wander and no attack, dB/s.
const SLOW_RISE_DB_PER_S: f64 = 3.0;
/// A level that falls faster than this is the end of the note, dB/s: a tongue that rings freely falls by 20 dB/s and more.
const FAST_FALL_DB_PER_S: f64 = 20.0;

/// Choose the frames of the steady stretch, `None` when there is none of at least three frames.
///
/// `margin_s` is the memory of the band filters; it is added at both ends.
pub(super) fn steady_frames(wander: &Wander, centre_hz: f64, margin_s: f64) -> Option<(usize, usize)> {
    let n = wander.phase.len();
    let half = ((WIDTH_S / wander.frame_s / 2.0) as usize).max(1);
    let level = super::envelope::smooth_db(&wander.power, half.min(2));
    let mut sorted = level.clone();
    sorted.sort_by(f64::total_cmp);
    // The note's plateau: the middle of all that comes near the loudest.
    let near = &sorted[sorted.partition_point(|level| *level < sorted[(n - 1) * 49 / 50] - NEAR_DB)..];
    let plateau = near[(near.len() - 1) / 2];
    let (mut from, mut to) = longest_within(&level, plateau, (EXCURSION_S / wander.frame_s) as usize)?;
    while from < to && level[from] < plateau - RISEN_DB {
        // A level that drifts slowly is no attack: stop waiting once it no longer rises.
        let ahead = level[(from + half).min(to)];
        if ahead - level[from] < SLOW_RISE_DB_PER_S * half as f64 * wander.frame_s {
            break;
        }
        from += 1;
    }
    while to > from && level[to] < plateau - RISEN_DB {
        let before = level[to.saturating_sub(half).max(from)];
        if before - level[to] < FAST_FALL_DB_PER_S * half as f64 * wander.frame_s {
            break;
        }
        to -= 1;
    }
    let margin = ((MARGIN_S + margin_s) / wander.frame_s).ceil() as usize;
    let spare = (to - from) / 5;
    from += margin.min(spare);
    to -= margin.min(spare);
    let cents = pitch_track(wander, centre_hz, half);
    let fifth = (to - from) / 5;
    let mut middle: Vec<f64> = cents[from + fifth..=to - fifth].to_vec();
    middle.sort_by(f64::total_cmp);
    let at = |q: f64| middle[((middle.len() - 1) as f64 * q) as usize];
    let (centre, scatter) = (at(0.5), 0.5 * (at(0.84) - at(0.16)));
    let settled = |i: usize| (cents[i] - centre).abs() < SETTLED_CENTS + 2.2 * scatter;
    while from < to && !settled(from) {
        from += 1;
    }
    while to > from && !settled(to) {
        to -= 1;
    }
    (to >= from + 2).then_some((from, to + 1))
}

/// Short-time pitch against the coarse pitch, cents, one value a frame.
pub(super) fn pitch_track(wander: &Wander, centre_hz: f64, half: usize) -> Vec<f64> {
    let n = wander.phase.len();
    (0..n)
        .map(|i| {
            let (low, high) = (i.saturating_sub(half), (i + half).min(n - 1));
            if high == low {
                return 0.0;
            }
            let rate = (wander.phase[high] - wander.phase[low]) / ((high - low) as f64 * wander.frame_s);
            let hz = rate / std::f64::consts::TAU;
            1200.0 * (1.0 + (hz / centre_hz).max(-0.5)).log2()
        })
        .collect()
}

/// The longest stretch within the band around `plateau`, short excursions included; last index inclusive.
fn longest_within(level: &[f64], plateau: f64, bridge: usize) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    let mut current: Option<(usize, usize)> = None;
    for (i, value) in level.iter().enumerate() {
        if (value - plateau).abs() > LEVEL_BAND_DB {
            continue;
        }
        current = match current {
            Some((first, last)) if i - last <= bridge + 1 => Some((first, i)),
            _ => Some((i, i)),
        };
        if let Some((first, last)) = current
            && best.is_none_or(|(a, b)| last - first > b - a)
        {
            best = current;
        }
    }
    best
}
