//! Whether a tongue still moves after it was worked on: it is warm from hand and file, and a warm tongue sounds flat.

use crate::judgement::CENTS_PER_KELVIN;
use crate::units::{Cents, Measured};

/// Plays nearer to each other tell no rate, s.
pub const APART_S: f64 = 20.0;
/// After so long a tongue that was touched may have taken the room's warmth, s: ask again then. Common practice, no source.
pub const ASK_AGAIN_S: f64 = 60.0;
/// What a touched tongue is taken to gain while it settles before anything is learnt, cents: some kelvin of a finger's
/// warmth. Our own choice, with a spread as wide.
const WARM_BY_KELVIN: f64 = 3.0;
const GAIN_SPREAD: f64 = 0.8;
/// Scatter of one reed's gain about the sitting's, cents. Our own choice.
const REED_SPREAD: f64 = 0.5;

/// A tongue takes the room's warmth with this time constant, s: it has done so after [`ASK_AGAIN_S`], by nineteen parts of
/// twenty.
const SETTLES_WITHIN_S: f64 = ASK_AGAIN_S / 3.0;

/// How much of a gain comes in `since_s` seconds at the most, cents: the middle value and one spread.
pub fn warmed(gain: Measured, since_s: f64) -> f64 {
    (gain.value.get() + 0.5 * gain.uncertainty.get()) * (1.0 - (-since_s / SETTLES_WITHIN_S).exp())
}

/// A play after the last go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settled {
    /// Seconds since the sitting began.
    pub at_s: f64,
    /// Deviation from the target.
    pub off: Measured,
}

/// How fast the pitch moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Cents per minute.
    pub per_minute: f64,
    /// Half the 95 % interval of that.
    pub uncertainty: f64,
}

impl Rate {
    /// Whether the reed is to be played again after a minute: it moves by more than the tolerance in one.
    pub fn is_moving(self, tolerance: Cents) -> bool {
        self.per_minute.abs() > tolerance.get()
    }
}

/// The rate over the last two plays that lie far enough apart; `None` where there are none.
pub fn rate(plays: &[Settled]) -> Option<Rate> {
    let last = plays.last()?;
    let before = plays.iter().rev().find(|play| last.at_s - play.at_s >= APART_S)?;
    let minutes = (last.at_s - before.at_s) / 60.0;
    let uncertainty = last.off.uncertainty.get().hypot(before.off.uncertainty.get()) / minutes;
    Some(Rate { per_minute: (last.off.value - before.off.value).get() / minutes, uncertainty })
}

/// What a reed gains between the play at once and the one after settling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gain {
    /// The gain to be expected, with half its 95 % interval for one reed.
    pub expected: Measured,
    /// How many reeds taught it.
    pub reeds: usize,
}

/// Learnt from the gains of reeds that were played at once and after settling; a normal mean shrunk towards the start.
pub fn gain(gains: &[Measured]) -> Gain {
    let mut middle = -CENTS_PER_KELVIN * WARM_BY_KELVIN;
    let mut variance = GAIN_SPREAD * GAIN_SPREAD;
    for gain in gains {
        let noise = (gain.uncertainty.get() / 1.96).powi(2) + REED_SPREAD * REED_SPREAD;
        let reach = 3.0 * (variance + noise).sqrt();
        let value = gain.value.get().clamp(middle - reach, middle + reach);
        let weight = variance / (variance + noise);
        middle += weight * (value - middle);
        variance *= 1.0 - weight;
    }
    let half = 1.96 * (variance + REED_SPREAD * REED_SPREAD).sqrt();
    let cents = |value| Cents::new(value).unwrap_or(Cents::ZERO);
    Gain { expected: Measured { value: cents(middle), uncertainty: cents(half) }, reeds: gains.len() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cents(value: f64, uncertainty: f64) -> Measured {
        Measured { value: Cents::new(value).unwrap(), uncertainty: Cents::new(uncertainty).unwrap() }
    }

    #[test]
    fn a_cooling_tongue_rises_and_is_asked_for_until_it_rests() {
        // 10 K of warmth lost with a time constant of 40 s: -0.215 cents/K, nominal for steel.
        let at = |s: f64| -0.215 * 10.0 * (-s / 40.0).exp();
        let plays: Vec<Settled> =
            [5.0, 30.0, 150.0, 210.0].map(|s| Settled { at_s: s, off: cents(at(s), 0.1) }).to_vec();
        let first = rate(&plays[..2]).unwrap();
        assert!(first.per_minute > 2.0 && first.is_moving(Cents::COMMON_TOLERANCE), "{first:?}");
        assert!(!rate(&plays).unwrap().is_moving(Cents::COMMON_TOLERANCE));
        assert_eq!(rate(&plays[..1]), None);
    }

    #[test]
    fn the_gain_is_learnt_and_one_odd_reed_teaches_little() {
        let none = gain(&[]);
        assert!((none.expected.value.get() - 0.645).abs() < 1e-9 && none.reeds == 0);
        let learnt = gain(&[cents(1.8, 0.2); 12]);
        assert!((learnt.expected.value.get() - 1.8).abs() < 0.1, "{learnt:?}");
        assert!(learnt.expected.uncertainty.get() < none.expected.uncertainty.get());
        let mut odd = vec![cents(1.8, 0.2); 11];
        odd.push(cents(20.0, 0.2));
        assert!((gain(&odd).expected.value.get() - 1.8).abs() < 0.4);
    }
}
