//! Two passes compared.

use platenote::analysis::{NotMeasured, Opposite, Tail};
use platenote::instrument::{Face, Instrument, Stroke, ValvePlace};
use platenote::judgement::{
    Comparison, JudgedPass, MeasuredAt, PassReadings, ValveChange, Worked, compare, compare_worked, judge,
};
use platenote::units::Dbfs;

use super::built::{at, cents, change, db, detune, in_tune, instrument, reed, sounding};

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

/// A take too short for the second tone by which the valve leaked says nothing of a cure, whatever else it shows.
#[test]
fn no_cure_is_told_where_the_second_tone_was_not_measured_again() {
    let plan = instrument(12);
    let mut before = in_tune(&plan);
    let mut after = later(&before);
    let place = reed(3, Stroke::Press);
    change(&mut before, &place, |reading| reading.opposite = sounding(-31.0));
    change(&mut after, &place, |reading| {
        let reason = NotMeasured::TooClose { steady: 1.0 };
        reading.opposite = Opposite::Unresolved { evidence: 0.0, needs: None, reason };
        reading.tail = Tail::Quiet { limit: db(-45.0), evidence: 0.1 };
    });
    let comparison = compare(&plan, &before, &after);
    let found = comparison.valves.iter().find(|valve| valve.place.plate == at(3)).expect("every valve");
    assert_eq!(found.change, ValveChange::CannotTell, "{}", found.reason);
    assert!(found.reason.starts_with("the second tone, by which it leaked, was not"), "{}", found.reason);
}

/// Levels alone, against a block that stayed as it was: what came back, what went, what is as weak as it was.
#[test]
fn the_reed_s_own_figures_tell_what_became_of_a_valve() {
    let plan = instrument(24);
    let clean = in_tune(&plan);
    let (mut before, mut after) = (clean.clone(), later(&clean));
    let weaker = |pass: &mut PassReadings, number: u32, by: f64| {
        change(pass, &reed(number, Stroke::Press), |reading| {
            reading.level = Dbfs::new(reading.level.get() - by).expect("a level");
        });
    };
    weaker(&mut before, 3, 4.0);
    weaker(&mut before, 8, 4.0);
    weaker(&mut after, 8, 4.0);
    weaker(&mut after, 14, 4.0);
    // The whole pass was recorded softer.
    for place in after.readings.keys().cloned().collect::<Vec<_>>() {
        change(&mut after, &place, |reading| {
            reading.level = Dbfs::new(reading.level.get() - 7.0).expect("a level");
        });
    }
    let comparison = compare(&plan, &before, &after);
    use ValveChange::{CannotTell, Cured, NewlyLeaks, StillLeaks, StillNoSign};
    for (number, change) in [(3, Cured), (8, StillLeaks), (14, NewlyLeaks), (20, StillNoSign)] {
        assert_eq!(became(&comparison, number), change, "plate {number}");
    }
    let cured = comparison.valves.iter().find(|valve| valve.change == Cured).expect("plate 3");
    assert!(cured.reason.contains("dB stronger than it was"), "{}", cured.reason);
    // On the test bench before and in the instrument after: levels do not compare.
    before.measured_at = Some(MeasuredAt::Bench);
    after.measured_at = Some(MeasuredAt::Instrument);
    assert_eq!(became(&compare(&plan, &before, &after), 3), CannotTell);
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

/// 5 cents flat before and 1 cent flat now: it rose by 4, whatever its target is.
#[test]
fn a_reed_s_change_is_counted_from_where_it_was() {
    let plan = instrument(12);
    let (mut before, place) = (in_tune(&plan), reed(5, Stroke::Draw));
    let mut after = later(&before);
    detune(&mut before, &place, -5.0);
    detune(&mut after, &place, -1.0);
    let comparison = compare(&plan, &before, &after);
    let moved = comparison.reeds.iter().find(|reed| reed.place == place).expect("it was heard twice");
    assert!((moved.change.value.get() - 4.0).abs() < 1e-9, "{moved:?}");
    assert!((moved.own.value.get() - 4.0).abs() < 1e-9, "{moved:?}");
}

/// Steels differ by ±0.2e-4 per kelvin about the middle of their elastic constant's change (from memory), half of which
/// counts for pitch: 0.017 cents per kelvin, 0.17 to 0.2 cents for 10 K, added to the doubt of the two readings.
#[test]
fn where_no_block_tells_the_warmth_s_share_the_kind_of_steel_stays_in_doubt() {
    let plan = instrument(12);
    let mut before = in_tune(&plan);
    before.readings.retain(|place, _| place.plate.number == 1);
    before.temperature_c = Some(15.0);
    let after = PassReadings { temperature_c: Some(25.0), ..later(&before) };
    for moved in compare(&plan, &before, &after).reeds {
        let (own, readings) = (moved.own.uncertainty.get(), moved.change.uncertainty.get());
        let steel = (own.powi(2) - readings.powi(2)).sqrt();
        assert!((0.16..0.22).contains(&steel), "{steel}: {moved:?}");
    }
}

/// The standard error of a median of n normal values is √(π/2)·σ/√n (textbook, from memory): four times as many reeds
/// halve what is unsure about the block's share. Reeds that went 1 cent up and down have σ = 1.4826 by their median
/// distance.
#[test]
fn the_block_s_share_is_the_surer_the_more_reeds_tell_it() {
    let shared_doubt = |plates: usize| {
        let plan = instrument(plates);
        let before = in_tune(&plan);
        let mut after = later(&before);
        for (index, place) in before.readings.keys().enumerate() {
            detune(&mut after, place, if index % 2 == 0 { 1.0 } else { -1.0 });
        }
        let comparison = compare(&plan, &before, &after);
        let own = comparison.reeds.first().expect("reeds").own.uncertainty.get();
        // √2 times noise and wander of one pass are the reed's own.
        (own.powi(2) - 2.0 * (0.05f64.powi(2) + 0.1f64.powi(2))).sqrt()
    };
    let (few, many) = (shared_doubt(12), shared_doubt(48));
    let expected = 1.96 * (std::f64::consts::PI / 2.0).sqrt() * 1.4826 / 24f64.sqrt();
    assert!((few / expected - 1.0).abs() < 0.01, "{few} and not {expected} cents");
    assert!((few / many - 2.0).abs() < 0.01, "{few} and {many} cents");
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

fn worked_compare(
    plan: &Instrument,
    before: &PassReadings,
    after: &PassReadings,
    worked: &Worked,
) -> Comparison {
    let (found_before, found_after) = (judge(plan, before), judge(plan, after));
    compare_worked(
        plan,
        JudgedPass { readings: before, findings: &found_before },
        JudgedPass { readings: after, findings: &found_after },
        worked,
    )
}

/// What was filed on purpose is no drift: the shift is that of the reeds nobody touched.
#[test]
fn the_common_shift_is_told_by_the_reeds_that_were_left_alone() {
    let plan = instrument(12);
    let before = in_tune(&plan);
    let mut after = later(&before);
    // The room moved all by 0.7 cents; eight plates were raised by 7.85, as from 440 to 442.
    let mut worked = Worked::default();
    for (place, _) in plan.reeds() {
        let is_filed = place.plate.number <= 8;
        detune(&mut after, &place, if is_filed { 0.7 + 7.85 } else { 0.7 });
        if is_filed {
            worked.touched.insert(place, vec!["filed tip 3 strokes".into()]);
        }
    }
    let told = worked_compare(&plan, &before, &after, &worked);
    let shared = &told.common[0];
    assert_eq!(shared.from.len(), 8, "plates 9 to 12, both strokes");
    assert!((shared.cents.unwrap().get() - 0.7).abs() < 0.01);
    for change in &told.reeds {
        let (own, wanted) = (change.own.value.get(), if change.work.is_empty() { 0.0 } else { 7.85 });
        assert!((own - wanted).abs() < 0.01, "{}: {own}", change.place);
    }
    assert!(told.warnings.iter().any(|words| words.contains("bass A9 press") && words.contains("8 reeds")));
    // Without the notes the filing would be taken for drift.
    let blind = compare(&plan, &before, &after);
    assert!((blind.common[0].cents.unwrap().get() - 8.55).abs() < 0.01);
    // Three untouched reeds tell nothing.
    for (place, _) in plan.reeds().filter(|(place, _)| place.plate.number <= 10) {
        worked.touched.insert(place, vec!["tuned".into()]);
    }
    worked.touched.insert(reed(11, Stroke::Draw), vec!["tuned".into()]);
    let few = worked_compare(&plan, &before, &after, &worked);
    assert_eq!((few.common[0].from.len(), few.common[0].cents), (3, None));
    assert!(few.reeds.iter().all(|change| change.common_shift.is_none()));
    // A target that was moved, and no note: no reed is known to have been left alone.
    let moved = Worked { target_moved: Some(cents(7.85)), ..Worked::default() };
    let unknown = worked_compare(&plan, &before, &after, &moved);
    assert_eq!((unknown.common[0].from.len(), unknown.common[0].cents), (0, None));
    assert!(
        unknown.warnings.iter().any(|words| words.contains("+7.8 cents") || words.contains("+7.9 cents"))
    );
}
