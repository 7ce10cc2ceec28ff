//! How long a reed must be held to be judged.

use crate::analysis;
use crate::units::Hz;

/// No reed is held shorter, s.
const LEAST_S: f64 = 1.5;
/// Periods a low reed is held for (chosen so that E2 takes 1.8 s): its wander is slower, its partials lie closer.
const LEAST_PERIODS: f64 = 150.0;
/// Where the opposite reed's pitch is not known yet, it is taken to lie this far off, cents.
const USUAL_DISTANCE_CENTS: f64 = 5.0;
/// Nobody can hold an even pull for longer, s. Common practice, no source.
pub(super) const MOST_S: f64 = 8.0;
/// The steady stretch leaves out the ends of what sounds, s.
pub(super) const ENDS_S: f64 = 0.3;

/// How long a reed must sound steadily.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Need {
    /// Steady time, s.
    pub hold_s: f64,
    /// Whether even the longest hold does not tell the plate's two reeds apart; then the tail must.
    pub too_close: bool,
}

/// How long the reed at `pitch` must be held; `opposite` is the plate's other reed where its pitch is known, and
/// `has_opposite` whether there is one.
pub fn steady_need(pitch: Hz, opposite: Option<Hz>, has_opposite: bool) -> Need {
    let least = LEAST_S.max(LEAST_PERIODS / pitch.get()).min(0.5 * MOST_S);
    let usual = || {
        pitch.raised_by(crate::units::Cents::new(USUAL_DISTANCE_CENTS).unwrap_or(crate::units::Cents::ZERO))
    };
    let apart = match (has_opposite, opposite) {
        (false, _) => Some(0.0),
        (true, None) => {
            Some(analysis::steady_to_tell_apart(pitch, usual()).map_or(0.0, |s| s.get().min(0.75 * MOST_S)))
        }
        (true, Some(opposite)) => analysis::steady_to_tell_apart(pitch, opposite).map(|needs| needs.get()),
    };
    let apart = apart.map(|s| if s > 0.0 { s + ENDS_S } else { 0.0 }).filter(|s| *s <= MOST_S);
    Need { hold_s: least.max(apart.unwrap_or(0.0)), too_close: apart.is_none() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hz(value: f64) -> Hz {
        Hz::new(value).unwrap()
    }

    #[test]
    fn low_and_close_reeds_are_held_longer() {
        let high = steady_need(hz(880.0), None, true);
        let low = steady_need(hz(55.0), None, true);
        assert!(high.hold_s < low.hold_s, "{high:?} {low:?}");
        let far = steady_need(hz(440.0), Some(hz(445.0)), true);
        // 0.2 Hz apart: 0.8 cycles take 4 s.
        let close = steady_need(hz(440.0), Some(hz(440.2)), true);
        assert!(far.hold_s < close.hold_s && (4.0..4.5).contains(&close.hold_s), "{far:?} {close:?}");
    }

    #[test]
    fn reeds_in_unison_cannot_be_told_apart_by_waiting() {
        let need = steady_need(hz(440.0), Some(hz(440.0)), true);
        assert!(need.too_close && need.hold_s <= 4.0, "{need:?}");
        assert!(!steady_need(hz(440.0), None, false).too_close);
    }
}
