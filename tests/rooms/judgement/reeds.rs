//! Pitch against the target.

use platenote::analysis::{Refusal, SoundingReed};
use platenote::instrument::{Stroke, Tremolo};
use platenote::judgement::{Missing, Tune, judge};

use super::built::{cents, change, db, detune, hz, in_tune, instrument, reed, reed_finding};

#[test]
fn a_reed_is_tuned_only_when_it_is_surely_outside_the_tolerance() {
    let plan = instrument(12);
    for (by, uncertainty, tune) in [
        (1.9, 0.2, Tune::Leave),
        (2.1, 0.2, Tune::Leave), // 2 cents lie inside the interval.
        (2.3, 0.2, Tune::Lower),
        (-2.3, 0.2, Tune::Raise),
        (-5.0, 3.5, Tune::Leave),
    ] {
        let mut pass = in_tune(&plan);
        detune(&mut pass, &reed(3, Stroke::Draw), by);
        change(&mut pass, &reed(3, Stroke::Draw), |reading| reading.uncertainty = cents(uncertainty));
        let findings = judge(&plan, &pass);
        let pitch = reed_finding(&findings, 3, Stroke::Draw).pitch.clone().expect("a pitch");
        assert_eq!(pitch.tune, Some(tune), "{by} ± {uncertainty} cents");
        assert!((pitch.deviation.value.get() - by).abs() < 1e-9);
    }
}

/// 14 cents at A4 beat 3.573 times a second (1200·log2, by hand).
#[test]
fn the_target_of_a_tremolo_rank_lies_off_the_straight_one() {
    let mut plan = instrument(30);
    plan.blocks[0].rows[0].tremolo = Tremolo::Even(cents(14.0));
    let pass = in_tune(&plan);
    let findings = judge(&plan, &pass);
    let a4 = reed_finding(&findings, 30, Stroke::Press);
    assert_eq!(a4.note.to_string(), "A4");
    assert!((a4.target.get() - 443.573).abs() < 0.001);
    assert!(
        findings
            .reeds
            .iter()
            .all(|reed| reed.pitch.as_ref().is_ok_and(|pitch| pitch.tune == Some(Tune::Leave)))
    );
}

#[test]
fn a_reed_without_a_reading_says_why() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    pass.readings.remove(&reed(1, Stroke::Press));
    pass.readings.insert(reed(2, Stroke::Press), Err(Missing::Refused(Refusal::Silent)));
    let findings = judge(&plan, &pass);
    assert_eq!(reed_finding(&findings, 1, Stroke::Press).pitch, Err("no take in this pass".into()));
    assert_eq!(reed_finding(&findings, 2, Stroke::Press).pitch, Err("the take is silent".into()));
    assert_eq!(findings.reeds.len(), 24);
}

#[test]
fn the_block_s_shift_is_the_median_and_no_reed_s() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    let places: Vec<_> = pass.readings.keys().cloned().collect();
    for place in &places {
        detune(&mut pass, place, 7.851); // 442 Hz against 440.
    }
    detune(&mut pass, &reed(5, Stroke::Press), 40.0);
    let findings = judge(&plan, &pass);
    let [(block, shift)] = findings.shifts.as_slice() else { panic!("one block") };
    assert_eq!(block, "bass");
    assert!((shift.get() - 7.851).abs() < 1e-6);
    assert!(findings.swaps.is_empty());
}

/// A semitone is more than anybody files (common practice, no source).
#[test]
fn a_reed_a_semitone_off_is_a_wrong_plan_or_place_and_never_raised_or_lowered() {
    let plan = instrument(12);
    for by in [100.0, -100.0, 117.0, -430.0, 1200.0] {
        let mut pass = in_tune(&plan);
        detune(&mut pass, &reed(3, Stroke::Draw), by);
        let findings = judge(&plan, &pass);
        let found = reed_finding(&findings, 3, Stroke::Draw);
        assert_eq!(found.pitch.clone().expect("a pitch").tune, None, "{by}");
        let told = found.warnings.join(" ");
        assert!(told.contains("plan or place is wrong") || told.contains("may belong at"), "{by}: {told}");
    }
    let mut pass = in_tune(&plan);
    detune(&mut pass, &reed(3, Stroke::Draw), 117.0);
    let told = reed_finding(&judge(&plan, &pass), 3, Stroke::Draw).warnings.join(" ");
    assert!(told.contains("note 3") && told.contains("row `A`"), "{told}");
}

#[test]
fn two_reeds_together_give_no_tuning_work_and_the_rank_is_named() {
    let mut plan = instrument(12);
    // A second rank, 14 cents higher.
    let mut rank = plan.blocks[0].rows[0].clone();
    (rank.name, rank.tremolo) = ("M".into(), Tremolo::Even(cents(14.0)));
    plan.blocks[0].rows.push(rank);
    let mut pass = in_tune(&plan);
    let place = reed(5, Stroke::Press);
    detune(&mut pass, &place, 8.0);
    let with = |pass: &mut _, by: f64| {
        change(pass, &place, |reading| {
            let sounding = |f0, level| SoundingReed { f0, uncertainty: cents(0.2), level: db(level) };
            let other = reading.f0.raised_by(cents(by));
            reading.reeds = vec![sounding(reading.f0, 0.0), sounding(other, -4.0)];
        });
    };
    with(&mut pass, 6.5);
    let findings = judge(&plan, &pass);
    let found = reed_finding(&findings, 5, Stroke::Press);
    assert_eq!(found.pitch.clone().expect("a pitch").tune, None);
    let told = found.warnings.join(" ");
    assert!(told.contains("bass M5 press") && told.contains("record the reed alone"), "{told}");
    // The plate's own opposite reed is the sign of a leak, and its pitch may still be told.
    let mut pass = in_tune(&plan);
    detune(&mut pass, &place, 8.0);
    with(&mut pass, -8.0);
    let findings = judge(&plan, &pass);
    assert_eq!(
        reed_finding(&findings, 5, Stroke::Press).pitch.clone().expect("a pitch").tune,
        Some(Tune::Lower)
    );
}

/// In German the note a semitone below C is H, and B is the one below that (DIN 1311 and any German primer, from memory).
#[test]
fn german_note_names_in_the_plan_are_named() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    let of_b: Vec<_> =
        plan.reeds().filter(|(_, reed)| reed.note.pitch_class() == 11).map(|(place, _)| place).collect();
    assert!(!of_b.is_empty());
    for place in &of_b {
        detune(&mut pass, place, -97.0);
    }
    let told = judge(&plan, &pass).warnings.join(" ");
    assert!(told.contains("German"), "{told}");
    // One other reed that lies a note off, and it is another story.
    detune(&mut pass, &reed(1, Stroke::Press), 104.0);
    assert!(!judge(&plan, &pass).warnings.join(" ").contains("German"));
    assert!(!judge(&plan, &in_tune(&plan)).warnings.join(" ").contains("German"));
}

/// 1200·log2(44100/48000) = -146.71 cents: a file labelled with the other common rate.
#[test]
fn a_wrong_sample_rate_is_named_and_no_tuning_is_asked_for() {
    let plan = instrument(12);
    for ratio in [44_100.0 / 48_000.0, 48_000.0 / 44_100.0] {
        let mut pass = in_tune(&plan);
        let places: Vec<_> = pass.readings.keys().cloned().collect();
        for (index, place) in places.iter().enumerate() {
            change(&mut pass, place, |reading| {
                reading.f0 = hz(reading.f0.get() * ratio).raised_by(cents(4.0 * (index as f64).sin()));
            });
        }
        let findings = judge(&plan, &pass);
        assert!(findings.warnings.iter().any(|text| text.contains("sample rate")), "{:?}", findings.warnings);
        assert!(
            findings.reeds.iter().all(|reed| reed.pitch.as_ref().is_ok_and(|pitch| pitch.tune.is_none()))
        );
        assert!(findings.swaps.is_empty());
    }
    assert!(judge(&plan, &in_tune(&plan)).warnings.is_empty());
}
