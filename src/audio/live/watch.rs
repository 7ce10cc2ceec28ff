//! Sound that got lost without a word: what arrived is held against the time stamps.
//!
//! A block that comes late makes the sound lag behind its time stamp for a moment; a block that never comes makes it
//! lag for good. So the least lag of one stretch is compared with that of the stretch before: a clock that is off by
//! 500 ppm moves it by a quarter of a millisecond.

/// Length of a stretch, seconds.
const STRETCH_S: f64 = 0.5;
/// More lag than this, from one stretch to the next, is lost sound: several times a usual block of 5 ms.
const LOST_S: f64 = 0.02;
/// More sound than time by this much means that some came twice, or from elsewhere.
const EXTRA_S: f64 = 0.05;
/// Servers hand on what they have stored up when a stream begins.
const BEGINNING_S: f64 = 1.0;

/// A change between sound and time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Slip {
    /// So many seconds of sound are missing.
    Lost(f64),
    /// So many seconds more sound came than time passed.
    Extra(f64),
}

/// Holds the sound against its time stamps.
#[derive(Debug)]
pub(super) struct Watch {
    stretch_ends_s: f64,
    least_s: f64,
    least_before_s: Option<f64>,
}

impl Watch {
    pub fn new() -> Self {
        Self { stretch_ends_s: STRETCH_S, least_s: f64::INFINITY, least_before_s: None }
    }

    /// `heard_s`: how much sound had come before a block; `captured_s`: when that block was captured; both from the
    /// first block on.
    pub fn observe(&mut self, heard_s: f64, captured_s: f64) -> Option<Slip> {
        let mut slip = None;
        if captured_s >= self.stretch_ends_s {
            let grown_s = self.least_before_s.map_or(0.0, |before| self.least_s - before);
            if self.least_s.is_finite() {
                self.least_before_s = Some(self.least_s);
                if grown_s > LOST_S {
                    slip = Some(Slip::Lost(grown_s));
                } else if -grown_s > EXTRA_S && captured_s > BEGINNING_S + STRETCH_S {
                    slip = Some(Slip::Extra(-grown_s));
                }
            }
            self.least_s = f64::INFINITY;
            self.stretch_ends_s = captured_s + STRETCH_S;
        }
        self.least_s = self.least_s.min(captured_s - heard_s);
        slip
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten seconds of 5 ms blocks; `lag_s` says how late the block at a time is, and `lost_s` how much was lost before.
    fn slips(lag_s: impl Fn(f64) -> f64, lost_s: impl Fn(f64) -> f64) -> Vec<(f64, Slip)> {
        let mut watch = Watch::new();
        let blocks = (0..2_000).map(|n| 0.005 * f64::from(n));
        blocks.filter_map(|t| watch.observe(t - lost_s(t), t + lag_s(t)).map(|slip| (t, slip))).collect()
    }

    #[test]
    fn even_sound_is_no_slip() {
        assert_eq!(slips(|_| 0.0, |_| 0.0), []);
    }

    #[test]
    fn a_clock_off_by_500_ppm_is_no_slip() {
        assert_eq!(slips(|_| 0.0, |t| 5e-4 * t), []);
        assert_eq!(slips(|_| 0.0, |t| -5e-4 * t), []);
    }

    #[test]
    fn late_blocks_are_no_loss() {
        let late = |t: f64| if (3.0..3.3).contains(&t) { 3.3 - t } else { 0.003 * (40.0 * t).sin().abs() };
        assert_eq!(slips(late, |_| 0.0), []);
    }

    #[test]
    fn lost_sound_is_told_within_a_second_and_once() {
        for lost in [0.03, 0.3, 2.0] {
            let told = slips(|_| 0.0, |t| if t < 4.2 { 0.0 } else { lost });
            let [(at, Slip::Lost(seconds))] = told[..] else { panic!("{told:?}") };
            assert!((4.2..5.3).contains(&at) && (seconds - lost).abs() < 0.006, "{told:?}");
        }
    }

    #[test]
    fn sound_that_comes_twice_is_told() {
        let told = slips(|_| 0.0, |t| if t < 4.2 { 0.0 } else { -0.2 });
        assert!(matches!(told[..], [(_, Slip::Extra(seconds))] if (seconds - 0.2).abs() < 0.006), "{told:?}");
    }

    #[test]
    fn what_a_server_had_stored_up_at_the_beginning_is_no_slip() {
        assert_eq!(slips(|t| if t < 0.7 { 0.2 } else { 0.0 }, |_| 0.0), []);
    }
}
