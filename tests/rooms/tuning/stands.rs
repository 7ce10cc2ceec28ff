//! Where an instrument stands, and what a target costs.

use platenote::instrument::{Instrument, Stroke, Temperament, Tremolo};
use platenote::judgement::{PassReadings, judge};
use platenote::tuning::{Goal, cost, goals, stands};
use platenote::units::Cents;

use crate::bench::chance::Chance;
use crate::bench::statistics::{Rate, over_seeds};
use crate::judgement::built::{cents, detune, hz, in_tune, instrument};

/// 36 plates from E2, planned for 440, standing at 436.5 with a slope of −2 cents an octave and a scatter of 3 cents.
fn flat(seed: u64) -> (Instrument, PassReadings) {
    let plan = instrument(36);
    let mut pass = in_tune(&plan);
    let mut chance = Chance::new(seed);
    let whole = 1200.0 * (436.5_f64 / 440.0).log2();
    for (place, reed) in plan.reeds() {
        let octaves = f64::from(reed.note.number() - 58) / 12.0;
        detune(&mut pass, &place, whole - 2.0 * octaves + 3.0 * chance.normal());
    }
    (plan, pass)
}

#[test]
fn the_pitch_as_found_its_slope_and_its_scatter_lie_within_their_intervals() {
    let seen = over_seeds(1, 200, |seed| {
        let (plan, pass) = flat(seed);
        let all = stands(&plan, &judge(&plan, &pass));
        assert_eq!(all.len(), 1, "one rank is the whole");
        let stand = &all[0];
        // The middle note of the block lies at 57.5.
        let middle = 1200.0 * (436.5_f64 / 440.0).log2() - 2.0 * (57.5 - 58.0) / 12.0;
        let (slope, doubt) = stand.slope.unwrap();
        assert!((1.8..4.5).contains(&stand.scatter), "{}", stand.scatter);
        (
            (stand.offset.value.get() - middle).abs() <= stand.offset.uncertainty.get(),
            (slope + 2.0).abs() <= doubt,
        )
    });
    let offset = Rate::of(seen.iter().map(|one| one.0));
    let slope = Rate::of(seen.iter().map(|one| one.1));
    println!("offset held {offset}; slope held {slope}");
    assert!(offset.interval(0.01).1 >= 0.95 && slope.interval(0.01).1 >= 0.95, "{offset} {slope}");
}

#[test]
fn each_target_has_its_price_and_what_is_beyond_prudence_is_named() {
    let plan = instrument(60); // E2 to D#7
    let mut pass = in_tune(&plan);
    for (place, _) in plan.reeds() {
        detune(&mut pass, &place, -20.0);
    }
    let findings = judge(&plan, &pass);
    let at = |reference: f64| cost(&plan, &findings, &Goal { reference: hz(reference), ..Goal::of(&plan) });
    // As it stands nothing is to be done: 440 lowered by 20 cents is 434.946.
    assert_eq!((at(434.946).reeds, at(434.946).measured), (0, 120));
    let at_440 = at(440.0);
    assert!((at_440.at_tip - 120.0 * 20.0).abs() < 1e-6 && at_440.at_root == 0.0 && at_440.beyond.is_empty());
    // 446: 43.5 cents up, too much for the thin reeds from C6 (number 84) on; common practice, no source.
    let at_446 = at(446.0);
    assert_eq!((at_446.reeds, at_446.beyond.len()), (120, 2 * (40 + 60 - 84)));
    // Lower than it stands: root work.
    let at_430 = at(430.0);
    assert!(at_430.at_tip == 0.0 && (at_430.at_root - 120.0 * (at(430.0).at_root / 120.0)).abs() < 1e-9);
    assert!((at_430.at_root / 120.0 - 1200.0 * (434.946_f64 / 430.0).log2()).abs() < 0.01);
    // A stretch and a temperament are part of it.
    let stretched = Goal { reference: hz(434.946), stretch: cents(4.0), ..Goal::of(&plan) };
    let stretched = cost(&plan, &findings, &stretched);
    assert!(stretched.reeds > 60 && stretched.at_tip > 0.0 && stretched.at_root > 0.0, "{stretched:?}");
    let mut table = [0.0; 12];
    table[0] = 10.0;
    let tempered = Goal { reference: hz(434.946), temperament: Temperament(table), ..Goal::of(&plan) };
    assert_eq!(cost(&plan, &findings, &tempered).reeds, 2 * 5, "every C from C3 to C7");
    let all = goals(&plan, stands(&plan, &findings).first(), &[]);
    let references: Vec<f64> = all.iter().map(|goal| goal.reference.get()).collect();
    assert_eq!(references, [435.0, 440.0, 442.0]);
}

#[test]
fn each_rank_stands_for_itself_and_few_reeds_stand_for_nothing() {
    let mut plan = instrument(12);
    let mut second = plan.blocks[0].rows[0].clone();
    second.name = "B".into();
    second.tremolo = Tremolo::Even(Cents::ZERO);
    plan.blocks[0].rows.push(second);
    let mut pass = in_tune(&plan);
    for (place, _) in plan.reeds().filter(|(place, _)| place.plate.row == "B") {
        detune(&mut pass, &place, 14.0);
    }
    let all = stands(&plan, &judge(&plan, &pass));
    let offs: Vec<(Option<&str>, i64)> = all
        .iter()
        .map(|stand| {
            let rank = stand.rank.as_ref().map(|(_, row)| row.as_str());
            (rank, stand.offset.value.get().round() as i64)
        })
        .collect();
    assert_eq!(offs, [(None, 7), (Some("A"), 0), (Some("B"), 14)]);
    pass.readings.retain(|place, _| place.plate.number == 1 && place.stroke == Stroke::Press);
    assert!(stands(&plan, &judge(&plan, &pass)).is_empty());
}
