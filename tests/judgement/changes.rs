//! Two passes compared.

use platenote::analysis::Opposite;
use platenote::instrument::{Face, Stroke, ValvePlace};
use platenote::judgement::{Comparison, MeasuredAt, PassReadings, ValveChange, compare};

use crate::built::{at, change, db, detune, in_tune, instrument, reed, sounding};

fn later(pass: &PassReadings) -> PassReadings {
    PassReadings { name: "after".into(), ..pass.clone() }
}

fn became(comparison: &Comparison, number: u32) -> ValveChange {
    let place = ValvePlace { plate: at(number), face: Face::Outer };
    comparison.valves.iter().find(|valve| valve.place == place).expect("every valve").change
}

#[test]
fn a_valve_is_cured_only_where_the_later_take_could_have_heard_it() {
    let plan = instrument(12);
    let clean = in_tune(&plan);
    let (mut before, mut after) = (clean.clone(), later(&clean));
    let press = |number| reed(number, Stroke::Press);
    for number in [1, 2, 3] {
        change(&mut before, &press(number), |reading| reading.opposite = sounding(-35.0));
    }
    change(&mut after, &press(2), |reading| reading.opposite = sounding(-33.0));
    change(&mut after, &press(3), |reading| {
        reading.opposite = Opposite::Quiet { limit: db(-33.0), evidence: 0.1 }
    });
    change(&mut after, &press(4), |reading| reading.opposite = sounding(-30.0));
    change(&mut after, &press(5), |reading| reading.opposite = sounding(-44.0));
    change(&mut before, &press(6), |reading| reading.opposite = sounding(-44.0));
    change(&mut after, &press(6), |reading| reading.opposite = sounding(-30.0));
    after.readings.remove(&press(7));
    let comparison = compare(&plan, &before, &after);
    use ValveChange::{CannotTell, Cured, NewlyLeaks, StillLeaks, StillNoSign};
    for (number, change) in [
        (1, Cured),
        (2, StillLeaks),
        (3, CannotTell),
        (4, NewlyLeaks),
        (5, CannotTell),
        (6, StillLeaks),
        (7, CannotTell),
        (8, StillNoSign),
    ] {
        assert_eq!(became(&comparison, number), change, "plate {number}");
    }
    assert_eq!(comparison.valves.len(), 24);
}

/// Steel, 10 K warmer: -2.15 cents (half of elastic constant and expansion of steel, from memory), ±0.2 by material.
#[test]
fn warmth_is_taken_off_before_the_block_s_share_and_the_reed_s_own() {
    let plan = instrument(12);
    let mut before = in_tune(&plan);
    before.temperature_c = Some(15.0);
    let mut after = later(&before);
    after.temperature_c = Some(25.0);
    for place in after.readings.keys().cloned().collect::<Vec<_>>() {
        detune(&mut after, &place, -2.15 + 1.0);
    }
    detune(&mut after, &reed(5, Stroke::Draw), 3.0);
    let comparison = compare(&plan, &before, &after);
    assert_eq!(comparison.reeds.len(), 24);
    for reed_change in &comparison.reeds {
        let own = if reed_change.place == reed(5, Stroke::Draw) { 3.0 } else { 0.0 };
        let temperature = reed_change.temperature.expect("both temperatures are known").get();
        let shift = reed_change.common_shift.expect("24 reeds share a shift").get();
        assert!((temperature - -2.15).abs() < 0.2, "{temperature}");
        assert!((shift - 1.0).abs() < 0.2, "{shift}");
        assert!((reed_change.own.value.get() - own).abs() < 1e-6, "{:?}", reed_change.own);
        let sum = temperature + shift + reed_change.own.value.get();
        assert!((sum - reed_change.change.value.get()).abs() < 1e-9, "the parts make the whole");
        // √2 times noise and wander of one pass, 0.112 cents; the clock is shared.
        assert!((reed_change.own.uncertainty.get() - 0.158).abs() < 0.01, "{:?}", reed_change.own);
    }
}

#[test]
fn without_a_temperature_nothing_is_corrected_and_that_is_said() {
    let plan = instrument(12);
    let mut before = in_tune(&plan);
    before.temperature_c = Some(15.0);
    before.measured_at = Some(MeasuredAt::Bench);
    let after =
        PassReadings { temperature_c: None, measured_at: Some(MeasuredAt::Instrument), ..later(&before) };
    let comparison = compare(&plan, &before, &after);
    assert!(comparison.reeds.iter().all(|reed| reed.temperature.is_none()));
    assert!(comparison.warnings.iter().any(|text| text.contains("`after`") && text.contains("temperature")));
    assert!(comparison.warnings.iter().any(|text| text.contains("bench")));
}

#[test]
fn with_three_reeds_nothing_is_called_common() {
    let plan = instrument(12);
    let mut before = in_tune(&plan);
    before.readings.retain(|place, _| place.plate.number == 1);
    let mut after = later(&before);
    detune(&mut after, &reed(1, Stroke::Press), 4.0);
    let comparison = compare(&plan, &before, &after);
    let [press, _] = comparison.reeds.as_slice() else { panic!("two reeds") };
    assert_eq!(press.common_shift, None);
    assert!((press.own.value.get() - 4.0).abs() < 1e-9);
}

#[test]
fn no_cure_is_told_where_another_plate_lies_now() {
    let plan = instrument(12);
    let mut before = in_tune(&plan);
    let mut after = later(&before);
    for number in [3, 8] {
        change(&mut before, &reed(number, Stroke::Press), |reading| reading.opposite = sounding(-30.0));
    }
    // Plates 3 and 4, a semitone apart, lie in each other's place after.
    for stroke in Stroke::BOTH {
        detune(&mut after, &reed(3, stroke), 100.0);
        detune(&mut after, &reed(4, stroke), -100.0);
    }
    let comparison = compare(&plan, &before, &after);
    assert_eq!(became(&comparison, 3), ValveChange::CannotTell);
    assert_eq!(became(&comparison, 8), ValveChange::Cured);
    let astray: Vec<u32> = comparison
        .reeds
        .iter()
        .filter(|reed| reed.astray_in.as_deref() == Some("after"))
        .map(|reed| reed.place.plate.number)
        .collect();
    assert_eq!(astray, [3, 3, 4, 4]);
    // Where both passes show the same swap, the same plate was heard twice.
    let comparison = compare(&plan, &after, &later(&after));
    assert!(comparison.reeds.iter().all(|reed| reed.astray_in.is_none()));
}
