//! Each reed's deviation from its target, what the whole block shares of it, and whether the pass's rate is wrong.

use std::collections::BTreeMap;

use super::doubtful_pitch::why_not_tuned;
use super::pass::{Missing, PassReadings};
use super::robust::median;
use super::{ReedFinding, ReedPitch, Swap, Tune};
use crate::analysis::Reading;
use crate::instrument::{Instrument, ReedPlace};
use crate::units::{Cents, Measured};

/// Sound at 48 000 samples per second labelled 44 100, or the reverse: 1200·log2(48000/44100) cents.
const WRONG_RATE_CENTS: f64 = 146.706;
/// How near to that a block must lie. A reference pitch of 438 to 443 Hz instead of 440 stays inside.
const WRONG_RATE_WITHIN_CENTS: f64 = 12.0;
/// Up to here a common offset is taken for a reference pitch or a bench; beyond, a semitone's shift of all plates is as likely.
pub(crate) const COMMON_OFFSET_CENTS: f64 = 80.0;
/// Reeds within this of the median share it.
const SHARES_OFFSET_CENTS: f64 = 35.0;
/// Below this number of readings a median is no block's shift.
pub(crate) const SHIFT_NEEDS_READINGS: usize = 4;

/// What the readings of one block share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CommonOffset {
    /// Taken off before plates are looked for in each other's place, cents.
    pub cents: f64,
    /// Whether it is that of a wrong sample rate.
    pub wrong_rate: bool,
    /// Whether nearly all reeds lie about a semitone or more off together for no known reason.
    pub displaced: bool,
}

/// The deviation from the target of every reed that was measured.
pub(crate) fn deviations(instrument: &Instrument, pass: &PassReadings) -> BTreeMap<ReedPlace, Measured> {
    pass.readings
        .iter()
        .filter_map(|(place, reading)| {
            let reading = reading.as_ref().ok()?;
            let value = reading.f0.cents_above(instrument.target(place)?);
            Some((place.clone(), Measured { value, uncertainty: reading.uncertainty.abs() }))
        })
        .collect()
}

/// The block-wide shifts, for blocks with enough readings.
pub(crate) fn shifts(
    instrument: &Instrument,
    deviations: &BTreeMap<ReedPlace, Measured>,
) -> Vec<(String, Cents)> {
    let of_block = |name: &str| of_block(deviations, name);
    instrument
        .blocks
        .iter()
        .filter_map(|block| {
            let values = of_block(&block.name);
            let enough = values.len() >= SHIFT_NEEDS_READINGS;
            Some((block.name.clone(), Cents::new(median(&values).filter(|_| enough)?)?))
        })
        .collect()
}

/// What the readings of `block` share.
pub(crate) fn common_offset(deviations: &BTreeMap<ReedPlace, Measured>, block: &str) -> CommonOffset {
    let values = of_block(deviations, block);
    let middle = middle_towards_zero(&values);
    let sharing = values.iter().filter(|value| (*value - middle).abs() <= SHARES_OFFSET_CENTS).count();
    // Seven in ten: a few swapped plates or unreadable takes must not hide what the rest shares.
    let shared = values.len() >= SHIFT_NEEDS_READINGS && 10 * sharing >= 7 * values.len();
    let wrong_rate = shared && (middle.abs() - WRONG_RATE_CENTS).abs() <= WRONG_RATE_WITHIN_CENTS;
    let far = middle.abs() > COMMON_OFFSET_CENTS;
    CommonOffset {
        cents: if far && !shared { 0.0 } else { middle },
        wrong_rate,
        displaced: far && shared && !wrong_rate,
    }
}

/// What to say of blocks whose reeds lie off together.
pub(crate) fn offset_warnings(offsets: &BTreeMap<String, CommonOffset>) -> Vec<String> {
    offsets
        .iter()
        .filter_map(|(block, offset)| {
            let cents = offset.cents;
            if offset.wrong_rate {
                Some(format!(
                    "block `{block}` lies {cents:+.0} cents off as a whole, the ratio of 48000 to 44100 samples per second: \
                     the files' sample rate is probably wrong, and no tuning work is listed"
                ))
            } else if offset.displaced {
                Some(format!(
                    "block `{block}` lies {cents:+.0} cents off as a whole: check the plan's reference pitch and notes, \
                     and whether the plates were counted from the right end"
                ))
            } else {
                None
            }
        })
        .collect()
}

/// One finding for each reed of the plan, in its order.
pub(crate) fn reed_findings(
    instrument: &Instrument,
    pass: &PassReadings,
    offsets: &BTreeMap<String, CommonOffset>,
    swaps: &[Swap],
) -> Vec<ReedFinding> {
    instrument
        .reeds()
        .filter_map(|(place, reed)| {
            let target = instrument.target(&place)?;
            let tolerance = instrument.plate(&place.plate)?.0.tolerance;
            let offset = offsets.get(&place.plate.block);
            let swapped = swaps.iter().find(|swap| swap.places.contains(&place.plate));
            let mut warnings = Vec::new();
            let pitch = match pass.readings.get(&place).unwrap_or(&Err(Missing::NoTake)) {
                Ok(reading) => {
                    warnings.extend(reading.warnings.iter().map(ToString::to_string));
                    if let Some(swap) = swapped {
                        warnings.push(swap_words(swap, &place));
                    }
                    let mut placed = swapped.is_none() && offset.is_none_or(|offset| !offset.wrong_rate);
                    let off = reading.f0.cents_above(target);
                    // Of a wrong sample rate and of a swap something else is told.
                    if placed && let Some(why) = why_not_tuned(instrument, pass, &place, reading, off) {
                        warnings.push(why);
                        placed = false;
                    }
                    Ok(reed_pitch(reading, target, tolerance, placed))
                }
                Err(missing) => Err(missing.to_string()),
            };
            Some(ReedFinding { place, note: reed.note, target, pitch, warnings })
        })
        .collect()
}

fn reed_pitch(reading: &Reading, target: crate::units::Hz, tolerance: Cents, placed: bool) -> ReedPitch {
    let value = reading.f0.cents_above(target);
    let uncertainty = reading.uncertainty.abs();
    let tune = Tune::of(Measured { value, uncertainty }, tolerance);
    ReedPitch { f0: reading.f0, deviation: Measured { value, uncertainty }, tune: placed.then_some(tune) }
}

impl Tune {
    /// Surely outside: the whole 95 % interval lies beyond the tolerance.
    pub fn of(deviation: Measured, tolerance: Cents) -> Self {
        let is_outside = deviation.value.abs().get() - deviation.uncertainty.get() > tolerance.get().max(0.0);
        match (is_outside, deviation.value.get() < 0.0) {
            (false, _) => Tune::Leave,
            (true, true) => Tune::Raise,
            (true, false) => Tune::Lower,
        }
    }
}

fn swap_words(swap: &Swap, place: &ReedPlace) -> String {
    let others: Vec<String> =
        swap.places.iter().filter(|other| **other != place.plate).map(ToString::to_string).collect();
    format!("the plate may belong at {}; put it right before tuning", others.join(" or "))
}

fn of_block(deviations: &BTreeMap<ReedPlace, Measured>, block: &str) -> Vec<f64> {
    deviations
        .iter()
        .filter(|(place, _)| place.plate.block == block)
        .map(|(_, deviation)| deviation.value.get())
        .collect()
}

/// The median, except that of two middle values on one side of zero the nearer one is taken: with two plates
/// measured, one of them in its place, the offset is that one's.
fn middle_towards_zero(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    let upper = sorted.get(half).copied().unwrap_or(0.0);
    let lower = half.checked_sub(1).and_then(|index| sorted.get(index)).copied().unwrap_or(upper);
    match sorted.len() % 2 {
        1 => upper,
        _ if lower * upper < 0.0 => 0.5 * (lower + upper),
        _ if lower.abs() < upper.abs() => lower,
        _ => upper,
    }
}

#[cfg(test)]
mod tests {
    use super::middle_towards_zero;

    #[test]
    fn of_two_middle_values_on_one_side_the_nearer_to_zero_counts() {
        assert_eq!(middle_towards_zero(&[]), 0.0);
        assert_eq!(middle_towards_zero(&[5.0, 100.0, 3.0]), 5.0);
        assert_eq!(middle_towards_zero(&[100.0, 2.0]), 2.0);
        assert_eq!(middle_towards_zero(&[-2.0, -100.0]), -2.0);
        assert_eq!(middle_towards_zero(&[3.0, -1.0]), 1.0);
        // One of two plates on its very pitch: nothing is common, the other one is out of its place.
        assert_eq!(middle_towards_zero(&[0.0, 100.0]), 0.0);
        assert_eq!(middle_towards_zero(&[-100.0, 0.0]), 0.0);
    }
}
