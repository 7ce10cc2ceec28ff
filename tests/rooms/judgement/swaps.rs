//! Plates in each other's place.

use platenote::instrument::{Bellows, Instrument, PlatePlace, Stroke, Tremolo};
use platenote::judgement::{Findings, PassReadings, judge};

use super::built::{at, cents, change, detune, in_tune, instrument, plate, reed, reed_finding};
use crate::bench::chance::Chance;

/// Put the plates that belong at `from` where `to` says, both strokes.
fn put(pass: &mut PassReadings, moves: &[(u32, u32)]) {
    let whole = pass.clone();
    for (from, to) in moves {
        for stroke in Stroke::BOTH {
            let pitch = whole.readings[&reed(*from, stroke)].as_ref().expect("a reading").f0;
            change(pass, &reed(*to, stroke), |reading| reading.f0 = pitch);
        }
    }
}

fn places(findings: &Findings) -> Vec<(Vec<PlatePlace>, bool)> {
    findings.swaps.iter().map(|swap| (swap.places.clone(), swap.sure)).collect()
}

/// A badly tuned pass: every reed off by up to 30 cents, the block by `offset`.
fn rough(plan: &Instrument, offset: f64, seed: u64) -> PassReadings {
    let mut chance = Chance::new(seed);
    let mut pass = in_tune(plan);
    let places: Vec<_> = pass.readings.keys().cloned().collect();
    for place in places {
        detune(&mut pass, &place, offset + chance.between(-30.0, 30.0));
    }
    pass
}

#[test]
fn two_neighbours_interchanged_are_found_and_not_tuned() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    put(&mut pass, &[(3, 4), (4, 3)]);
    let findings = judge(&plan, &pass);
    assert_eq!(places(&findings), [(vec![at(3), at(4)], true)]);
    let moved = reed_finding(&findings, 3, Stroke::Press);
    assert_eq!(moved.pitch.clone().expect("a pitch").tune, None);
    assert!(moved.warnings.iter().any(|text| text.contains("bass A4")), "{:?}", moved.warnings);
}

#[test]
fn a_common_offset_up_to_80_cents_triggers_nothing_and_hides_nothing() {
    let plan = instrument(12);
    for offset in [-80.0, -50.0, 35.0, 50.0, 80.0] {
        let mut pass = in_tune(&plan);
        for place in pass.readings.keys().cloned().collect::<Vec<_>>() {
            detune(&mut pass, &place, offset);
        }
        assert!(judge(&plan, &pass).swaps.is_empty(), "{offset}");
        put(&mut pass, &[(2, 9), (9, 2)]);
        assert_eq!(places(&judge(&plan, &pass)), [(vec![at(2), at(9)], true)], "{offset}");
    }
}

#[test]
fn a_badly_tuned_block_is_not_a_swapped_one() {
    let plan = instrument(24);
    for seed in 0..200 {
        let findings = judge(&plan, &rough(&plan, [-60.0, 0.0, 45.0][(seed % 3) as usize], seed));
        assert!(findings.swaps.is_empty(), "seed {seed}: {:?}", findings.swaps);
    }
}

#[test]
fn a_swap_in_a_badly_tuned_block_is_found() {
    let plan = instrument(24);
    let mut chance = Chance::new(7);
    for seed in 0..200 {
        let mut pass = rough(&plan, 0.0, 1000 + seed);
        let a = 1 + (chance.unit() * 24.0) as u32;
        let b = 1 + (a + 2 + (chance.unit() * 20.0) as u32) % 24; // Another plate, mostly some notes away.
        if a.abs_diff(b) < 2 {
            continue;
        }
        put(&mut pass, &[(a, b), (b, a)]);
        assert_eq!(places(&judge(&plan, &pass)), [(vec![at(a.min(b)), at(a.max(b))], true)], "seed {seed}");
    }
}

/// Plate A2 sounds the note of A9 and, as nearly, of B9, which is tuned 15 cents above; both of those sound the note of
/// A2. The pair that fits better both ways together is named: 10 + 5 cents, not 5 + 33. A way there that fits to a cent
/// does not make up for a bad way back: 14 + 15 cents, not 1 + 36.
#[test]
fn of_two_plates_that_could_be_the_other_one_the_better_fit_both_ways_is_named() {
    let mut plan = instrument(12);
    let mut second = plan.blocks[0].rows[0].clone();
    (second.name, second.tremolo) = ("B".into(), Tremolo::Even(cents(15.0)));
    plan.blocks[0].rows.push(second);
    for (there, back, back_from_b) in [(10.0, 5.0, 33.0), (14.0, 15.0, 36.0)] {
        let mut pass = in_tune(&plan);
        for stroke in Stroke::BOTH {
            detune(&mut pass, &reed(2, stroke), 700.0 + there);
            detune(&mut pass, &reed(9, stroke), -700.0 + back);
            let mut other = reed(9, stroke);
            other.plate.row = "B".into();
            detune(&mut pass, &other, -700.0 - 15.0 + back_from_b);
        }
        assert_eq!(places(&judge(&plan, &pass)), [(vec![at(2), at(9)], true)], "{there} + {back} cents");
    }
}

#[test]
fn two_swaps_whose_plates_lie_between_each_other_are_both_named() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    put(&mut pass, &[(2, 9), (9, 2), (5, 12), (12, 5)]);
    let mut found = places(&judge(&plan, &pass));
    found.sort();
    assert_eq!(found, [(vec![at(2), at(9)], true), (vec![at(5), at(12)], true)]);
}

/// A restorer begins with what is certain, whichever block it is in.
#[test]
fn swaps_heard_on_both_plates_come_before_guesses() {
    let mut plan = instrument(12);
    let mut second = plan.blocks[0].clone();
    second.name = "treble".into();
    plan.blocks.push(second);
    let mut pass = in_tune(&plan);
    // In the first block plate 3 is heard at place 4 and nothing at place 3.
    put(&mut pass, &[(3, 4)]);
    for stroke in Stroke::BOTH {
        pass.readings.remove(&reed(3, stroke));
        for (number, by) in [(7, 200.0), (9, -200.0)] {
            let mut treble = reed(number, stroke);
            treble.plate.block = "treble".into();
            detune(&mut pass, &treble, by);
        }
    }
    let found: Vec<(String, bool)> =
        judge(&plan, &pass).swaps.iter().map(|swap| (swap.places[0].block.clone(), swap.sure)).collect();
    assert_eq!(found, [("treble".to_string(), true), ("bass".to_string(), false)]);
}

#[test]
fn three_plates_round_in_a_ring_are_named_together() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    put(&mut pass, &[(2, 5), (5, 9), (9, 2)]);
    assert_eq!(places(&judge(&plan, &pass)), [(vec![at(2), at(5), at(9)], true)]);
}

/// Half a semitone beside every note of the block no place is the plate's own, so none is named.
#[test]
fn three_plates_that_sound_between_the_notes_of_each_other_s_places_are_no_ring() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    put(&mut pass, &[(2, 5), (5, 9), (9, 2)]);
    for number in [2, 5, 9] {
        for stroke in Stroke::BOTH {
            detune(&mut pass, &reed(number, stroke), 50.0);
        }
    }
    assert_eq!(places(&judge(&plan, &pass)), []);
}

#[test]
fn one_plate_heard_out_of_its_place_names_the_likely_other_one() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    put(&mut pass, &[(3, 4)]);
    for stroke in Stroke::BOTH {
        pass.readings.remove(&reed(3, stroke));
    }
    assert_eq!(places(&judge(&plan, &pass)), [(vec![at(3), at(4)], false)]);
}

#[test]
fn a_note_heard_twice_is_a_misfiled_take_and_no_swap() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    put(&mut pass, &[(3, 4)]);
    let findings = judge(&plan, &pass);
    assert!(findings.swaps.is_empty());
    assert!(findings.warnings.iter().any(|text| text.contains("bass A4") && text.contains("bass A3")));
}

#[test]
fn one_stroke_out_of_place_is_no_swapped_plate() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    detune(&mut pass, &reed(3, Stroke::Press), 100.0);
    detune(&mut pass, &reed(4, Stroke::Press), -100.0);
    assert!(judge(&plan, &pass).swaps.is_empty());
}

#[test]
fn interchanged_strokes_of_a_bisonoric_plate_are_told_from_a_swap() {
    let mut plan = instrument(0);
    plan.bellows = Bellows::Bisonoric;
    plan.blocks[0].rows[0].plates = [(60, 62), (64, 65), (67, 69), (72, 71), (76, 74), (79, 77)]
        .map(|(press, draw)| plate(press, draw))
        .into();
    let mut pass = in_tune(&plan);
    detune(&mut pass, &reed(2, Stroke::Press), 100.0);
    detune(&mut pass, &reed(2, Stroke::Draw), -100.0);
    let findings = judge(&plan, &pass);
    assert!(findings.swaps.is_empty());
    assert!(findings.warnings.iter().any(|text| text.contains("interchanged")), "{:?}", findings.warnings);

    let mut pass = in_tune(&plan);
    put(&mut pass, &[(4, 5), (5, 4)]);
    assert_eq!(places(&judge(&plan, &pass)), [(vec![at(4), at(5)], true)]);
}

#[test]
fn a_block_numbered_from_the_wrong_plate_gives_one_word_and_no_swaps() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for place in pass.readings.keys().cloned().collect::<Vec<_>>() {
        detune(&mut pass, &place, 100.0);
    }
    let findings = judge(&plan, &pass);
    assert!(findings.swaps.is_empty());
    let said = |text: &String| text.contains("+100 cents off as a whole");
    assert!(findings.warnings.iter().any(said), "{:?}", findings.warnings);
}

/// 1200·log2(48000/44100) = 146.7 cents: the files' rate is wrong, and not the block.
#[test]
fn a_block_off_by_the_ratio_of_two_usual_rates_is_told_so() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for place in pass.readings.keys().cloned().collect::<Vec<_>>() {
        detune(&mut pass, &place, 146.7);
    }
    let warnings = judge(&plan, &pass).warnings;
    assert!(warnings.iter().any(|text| text.contains("sample rate is probably wrong")), "{warnings:?}");
}

/// Far off, each by another amount: nothing is common to the block, and nothing is said of it as a whole.
#[test]
fn reeds_that_are_off_each_by_another_amount_share_no_offset() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for (index, place) in pass.readings.keys().cloned().collect::<Vec<_>>().iter().enumerate() {
        detune(&mut pass, place, 65.0 + 15.0 * index as f64);
    }
    let warnings = judge(&plan, &pass).warnings;
    assert!(!warnings.iter().any(|text| text.contains("as a whole")), "{warnings:?}");
}
