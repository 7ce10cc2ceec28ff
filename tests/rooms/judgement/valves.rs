//! The verdicts.

use platenote::analysis::{NotMeasured, Opposite, Refusal, Tail, Warning};
use platenote::instrument::{Face, Stroke, Valve};
use platenote::judgement::{Missing, SignKind, Verdict, judge};
use platenote::units::Dbfs;

use super::built::{change, db, in_tune, instrument, reed, seconds, sounding, valve};

/// Common mounting, derived from the air's way: press tests the outer valve, draw the inner one; reversed mounting
/// the reverse.
#[test]
fn a_second_tone_names_the_valve_that_had_to_stay_shut() {
    for (outer_on, stroke, face) in [
        (Stroke::Press, Stroke::Press, Face::Outer),
        (Stroke::Press, Stroke::Draw, Face::Inner),
        (Stroke::Draw, Stroke::Press, Face::Inner),
        (Stroke::Draw, Stroke::Draw, Face::Outer),
    ] {
        let mut plan = instrument(12);
        plan.blocks[0].outer_tongue_sounds_on = outer_on;
        let mut pass = in_tune(&plan);
        change(&mut pass, &reed(7, stroke), |reading| reading.opposite = sounding(-31.0));
        let findings = judge(&plan, &pass);
        let leaking: Vec<_> =
            findings.valves.iter().filter(|valve| valve.verdict == Verdict::Leaks).collect();
        let [leak] = leaking.as_slice() else { panic!("one leak, not {leaking:?}") };
        assert_eq!((leak.place.plate.number, leak.place.face, leak.heard_on), (7, face, stroke));
        assert_eq!(leak.lift_plate(), face == Face::Inner);
        assert_eq!(leak.next.contains("lift the plate"), face == Face::Inner, "{}", leak.next);
        assert!(
            leak.reason.contains("consistent with a leak") && leak.reason.contains("-31 dB"),
            "{}",
            leak.reason
        );
    }
}

#[test]
fn the_block_s_limit_parts_leaks_from_suspects() {
    let mut plan = instrument(12);
    plan.blocks[0].leak_limit = db(-35.0);
    for (level, verdict) in [(-34.9, Verdict::Leaks), (-35.0, Verdict::Leaks), (-35.1, Verdict::Suspect)] {
        let mut pass = in_tune(&plan);
        change(&mut pass, &reed(2, Stroke::Draw), |reading| reading.opposite = sounding(level));
        let findings = judge(&plan, &pass);
        let found = valve(&findings, 2, Face::Inner);
        assert_eq!(found.verdict, verdict, "{level} dB");
        assert_eq!(found.signs[0].kind, SignKind::SecondTone);
        assert_eq!((found.signs[0].value, found.signs[0].limit), (Some(level), -35.0));
        if verdict == Verdict::Suspect {
            assert!(found.next.contains("softer"));
        }
    }
}

/// Two plates are no block to compare with, so all rests on the opposite reed.
#[test]
fn nothing_heard_gives_the_limit_and_only_where_it_is_low_enough() {
    let plan = instrument(2);
    for (limit, judged) in [(-52.0, true), (-31.0, true), (-29.0, false)] {
        let mut pass = in_tune(&plan);
        change(&mut pass, &reed(1, Stroke::Press), |reading| {
            reading.opposite = Opposite::Quiet { limit: db(limit), evidence: 0.3 };
        });
        let findings = judge(&plan, &pass);
        let found = valve(&findings, 1, Face::Outer);
        assert_eq!(found.verdict == Verdict::NoSign, judged, "{limit} dB: {:?}", found.verdict);
        assert!(found.reason.contains(&format!("{limit:.0} dB")), "{}", found.reason);
        if !judged {
            let cause = Some(NotMeasured::TooNoisy);
            assert_eq!(found.verdict, Verdict::NotJudged { cause, needs: None });
        }
    }
}

/// In a well-tuned block of one note on both strokes no length parts the reeds: the valve is judged by the other signs,
/// the reason says what would have shown, and nobody is told to hold the note longer.
#[test]
fn reeds_of_one_note_are_judged_by_the_other_signs() {
    let reason = NotMeasured::TooClose { steady: 3.0 };
    for needs in [None, Some(seconds(7.5)), Some(seconds(60.0))] {
        let untold = |pass: &mut platenote::judgement::PassReadings, number| {
            for stroke in Stroke::BOTH {
                change(pass, &reed(number, stroke), |reading| {
                    reading.opposite = Opposite::Unresolved { evidence: 0.2, needs, reason };
                });
            }
        };
        let plan = instrument(12);
        let mut pass = in_tune(&plan);
        (1..=12).for_each(|number| untold(&mut pass, number));
        let findings = judge(&plan, &pass);
        for found in &findings.valves {
            assert_eq!(found.verdict, Verdict::NoSign, "{found:?}");
            assert!(found.reason.contains("does not test this valve"), "{}", found.reason);
            assert!(found.reason.contains("mm would have shown"), "{}", found.reason);
            assert!(!found.next.contains("hold"), "{}", found.next);
        }
        // Nothing to compare with: what was recorded cannot be used.
        let plan = instrument(2);
        let mut pass = in_tune(&plan);
        untold(&mut pass, 1);
        let findings = judge(&plan, &pass);
        let found = valve(&findings, 1, Face::Outer);
        assert_eq!(found.verdict, Verdict::NotJudged { cause: Some(reason), needs: None });
        assert!(found.next.contains("seal the valve") && !found.next.contains("hold"), "{}", found.next);
        // A tail in which the opposite reed would have rung tells all the same.
        change(&mut pass, &reed(1, Stroke::Press), |reading| {
            reading.tail = Tail::Quiet { limit: db(-38.0), evidence: 0.1 };
        });
        assert_eq!(valve(&judge(&plan, &pass), 1, Face::Outer).verdict, Verdict::NoSign);
    }
}

/// Nothing stands out, but something has to be looked at first.
#[test]
fn valves_that_are_not_cleared_are_told_their_place_in_the_order_to_look() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for (number, below) in [(3, 2.0), (7, 1.5), (10, 1.0)] {
        change(&mut pass, &reed(number, Stroke::Press), |reading| {
            reading.level = Dbfs::new(reading.level.get() - below).expect("a level");
        });
    }
    let findings = judge(&plan, &pass);
    for (rank, number) in [(1, 3), (2, 7), (3, 10)] {
        let found = valve(&findings, number, Face::Outer);
        assert_eq!(found.leak.and_then(|leak| leak.rank), Some(rank), "{found:?}");
        assert!(found.next.contains(&format!("number {rank} of 24")), "{}", found.next);
        assert!(found.next.contains("sealing test"), "{}", found.next);
    }
    let ranks: std::collections::BTreeSet<u32> =
        findings.valves.iter().filter_map(|valve| valve.leak?.rank).collect();
    assert_eq!(ranks.len(), ranks.last().copied().unwrap_or(0) as usize, "1, 2, 3 … without gaps");
}

#[test]
fn slots_without_a_valve_and_plates_with_one_reed_are_never_flagged() {
    let mut plan = instrument(12);
    plan.blocks[0].rows[0].plates[2].valves.outer = Valve::None;
    plan.blocks[0].rows[0].plates[3].reeds.draw = None;
    let mut pass = in_tune(&plan);
    for number in [3, 4] {
        change(&mut pass, &reed(number, Stroke::Press), |reading| {
            reading.opposite = sounding(-20.0);
            reading.onset = Ok(seconds(9.0));
            reading.level = Dbfs::new(-60.0).expect("a level");
        });
    }
    let findings = judge(&plan, &pass);
    assert_eq!(valve(&findings, 3, Face::Outer).verdict, Verdict::NoValve);
    assert_eq!(valve(&findings, 4, Face::Outer).verdict, Verdict::NoValve);
    let unheard = valve(&findings, 4, Face::Inner);
    assert_eq!(unheard.verdict, Verdict::NotJudged { cause: None, needs: None });
    assert!(unheard.reason.contains("no reed sounds on draw"), "{}", unheard.reason);
    assert!(findings.valves.iter().all(|valve| valve.verdict != Verdict::Leaks));
    assert!(valve(&findings, 3, Face::Outer).leak.is_none() && unheard.leak.is_none());
}

#[test]
fn without_a_reading_the_reason_is_the_take_s() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    pass.readings.remove(&reed(1, Stroke::Press));
    let short = Refusal::TooShort { sounds: 0.31, needs: 0.5 };
    pass.readings.insert(reed(1, Stroke::Draw), Err(Missing::Refused(short)));
    let findings = judge(&plan, &pass);
    let (outer, inner) = (valve(&findings, 1, Face::Outer), valve(&findings, 1, Face::Inner));
    assert_eq!(outer.reason, "no take in this pass");
    assert_eq!(outer.next, "record bass A1 press");
    assert!(inner.reason.contains("0.31 s") && inner.next.contains("again"));
}

/// A leak of 10 mm² in the two-reed model, softly blown: 6.7 dB weaker, start twice as long, 2.4 cents lower.
#[test]
fn a_weak_reed_is_charged_to_its_own_valve_only() {
    let plan = instrument(12);
    let weak = |by: f64| Dbfs::new(-20.0 - by).expect("a level");
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(6, Stroke::Draw), |reading| {
        reading.level = weak(6.5);
        reading.onset = Ok(seconds(0.2 * 1.6));
        reading.f0 = reading.f0.raised_by(super::built::cents(-1.9));
    });
    change(&mut pass, &reed(9, Stroke::Press), |reading| reading.level = weak(3.2));
    let findings = judge(&plan, &pass);
    assert_eq!(valve(&findings, 6, Face::Inner).verdict, Verdict::Leaks);
    assert_eq!(valve(&findings, 9, Face::Outer).verdict, Verdict::Suspect);
    let flagged = findings.valves.iter().filter(|valve| valve.verdict != Verdict::NoSign).count();
    assert_eq!(flagged, 2, "the plate's other valve and the neighbours stay out of it");
    let weak_tone = valve(&findings, 9, Face::Outer).signs[0];
    assert_eq!(weak_tone.kind, SignKind::WeakTone);
    assert!((weak_tone.value.unwrap_or(0.0) - 3.2).abs() < 0.6, "{weak_tone:?}");
}

#[test]
fn a_reed_out_of_tune_is_no_suspect() {
    let plan = instrument(24);
    let mut pass = in_tune(&plan);
    super::built::detune(&mut pass, &reed(6, Stroke::Draw), -18.0);
    let findings = judge(&plan, &pass);
    assert!(findings.valves.iter().all(|valve| valve.verdict == Verdict::NoSign));
}

#[test]
fn a_plate_weak_on_both_strokes_is_a_matter_of_the_plate() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for stroke in Stroke::BOTH {
        change(&mut pass, &reed(6, stroke), |reading| reading.level = Dbfs::new(-32.0).expect("a level"));
    }
    let findings = judge(&plan, &pass);
    assert!(findings.valves.iter().all(|valve| valve.verdict != Verdict::Leaks));
    assert!(findings.warnings.iter().any(|text| text.starts_with("bass A6 is weak on both strokes")));
}

/// Even plates: both reeds share what a plate does, 1 dB beforehand and less by what twelve like plates show.
#[test]
fn a_plate_is_weak_on_both_strokes_from_a_limit_on() {
    let plan = instrument(12);
    for (below, told) in [(1.0, false), (6.0, true)] {
        let mut pass = in_tune(&plan);
        for stroke in Stroke::BOTH {
            change(&mut pass, &reed(6, stroke), |reading| {
                reading.level = Dbfs::new(reading.level.get() - below).expect("a level");
            });
        }
        let warnings = judge(&plan, &pass).warnings;
        let weak = warnings.iter().any(|text| text.contains("weak on both strokes"));
        assert_eq!(weak, told, "{below} dB: {warnings:?}");
    }
}

fn ring(level: f64) -> Tail {
    Tail::Heard { level: db(level), offset: super::built::cents(-9.0), evidence: 30.0 }
}

/// A tail that stands out of the block's is listed as a sign. It accuses nobody: with other signs that lean to a leak it
/// makes a suspect, alone nothing, and a ring louder than the played reed's is not the opposite tongue's.
#[test]
fn a_tail_alone_never_makes_a_leak() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for (index, place) in pass.readings.keys().cloned().collect::<Vec<_>>().iter().enumerate() {
        change(&mut pass, place, |reading| reading.tail = ring(-30.0 + 1.5 * (index as f64 * 2.4).sin()));
    }
    for level in [-15.0, -5.0, 8.0] {
        let mut pass = pass.clone();
        change(&mut pass, &reed(4, Stroke::Press), |reading| reading.tail = ring(level));
        let findings = judge(&plan, &pass);
        let found = valve(&findings, 4, Face::Outer);
        assert_eq!(found.verdict, Verdict::NoSign, "{level} dB: {found:?}");
        let tail = found.signs.iter().find(|sign| sign.kind == SignKind::TailTone).expect("a tail");
        assert_eq!(tail.stands_out, level < 0.0, "{tail:?}");
        change(&mut pass, &reed(4, Stroke::Press), |reading| {
            reading.level = Dbfs::new(reading.level.get() - 1.2).expect("a level");
        });
        let with = valve(&judge(&plan, &pass), 4, Face::Outer).verdict;
        assert_eq!(with == Verdict::Suspect, level < 0.0, "{level} dB and 1.2 dB weak: {with:?}");
    }
    // Without a block nothing but the tail speaks.
    let plan = instrument(2);
    for level in [-45.0, -30.0, -15.0, -2.0] {
        let mut pass = in_tune(&plan);
        change(&mut pass, &reed(1, Stroke::Press), |reading| reading.tail = ring(level));
        assert_eq!(valve(&judge(&plan, &pass), 1, Face::Outer).verdict, Verdict::NoSign, "{level} dB");
    }
}

/// The scatter of the block counts by its factor: with tails at -32, -30 and -28 dB the median distance from the median
/// is 2 dB, which stands for 1.4826 times as much (of a normal distribution, Hampel 1974, from memory), and four times
/// that above -30 dB is -18.1 dB.
#[test]
fn tails_that_scatter_widely_make_the_limit_lie_as_much_higher() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for (index, place) in pass.readings.keys().cloned().collect::<Vec<_>>().iter().enumerate() {
        change(&mut pass, place, |reading| reading.tail = ring([-32.0, -30.0, -28.0][index % 3]));
    }
    for (level, out) in [(-16.5, true), (-20.0, false), (-23.0, false)] {
        change(&mut pass, &reed(4, Stroke::Press), |reading| reading.tail = ring(level));
        let findings = judge(&plan, &pass);
        let judged = valve(&findings, 4, Face::Outer);
        let tail = judged.signs.iter().find(|sign| sign.kind == SignKind::TailTone).expect("a tail");
        assert_eq!(tail.stands_out, out, "{level} dB: {judged:?}");
        assert!((tail.limit - (-30.0 + 4.0 * 1.4826 * 2.0)).abs() < 0.05, "{tail:?}");
    }
}

/// The scatter of few tails is no measure: up to seven others the limit of a plate alone holds, with eight the block's.
#[test]
fn eight_other_tails_are_a_block_to_compare_with_and_seven_are_none() {
    let plan = instrument(12);
    for (others, out) in [(7, false), (8, true)] {
        let mut pass = in_tune(&plan);
        for number in 1..=others {
            change(&mut pass, &reed(number, Stroke::Draw), |reading| reading.tail = ring(-45.0));
        }
        change(&mut pass, &reed(10, Stroke::Press), |reading| reading.tail = ring(-30.0));
        let findings = judge(&plan, &pass);
        let signs = &valve(&findings, 10, Face::Outer).signs;
        let tail = signs.iter().find(|sign| sign.kind == SignKind::TailTone).expect("a tail");
        assert_eq!(tail.stands_out, out, "{others} others");
    }
}

/// In a noisy room the tail, which rings alone, can still tell what the steady tone hides.
#[test]
fn a_quiet_tail_tells_where_the_steady_tone_is_too_noisy() {
    let plan = instrument(2);
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(1, Stroke::Press), |reading| {
        reading.opposite = Opposite::Quiet { limit: db(-25.0), evidence: 0.3 };
        reading.tail = Tail::Quiet { limit: db(-38.0), evidence: 0.1 };
    });
    let findings = judge(&plan, &pass);
    let found = valve(&findings, 1, Face::Outer);
    assert_eq!(found.verdict, Verdict::NoSign);
    assert!(
        found.reason.contains("after the air stops the opposite reed lies below -38 dB"),
        "{}",
        found.reason
    );
}

#[test]
fn a_lossy_file_and_a_clipped_one_lower_what_is_said() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(4, Stroke::Press), |reading| reading.warnings = vec![Warning::Lossy]);
    change(&mut pass, &reed(5, Stroke::Press), |reading| {
        reading.warnings = vec![Warning::Clipped { count: 900 }];
        reading.level = Dbfs::new(-5.0).expect("a level");
        reading.opposite = Opposite::Unresolved { evidence: 0.0, needs: None, reason: NotMeasured::Clipped };
    });
    let findings = judge(&plan, &pass);
    assert!(valve(&findings, 4, Face::Outer).reason.contains("lossy"));
    let clipped = valve(&findings, 5, Face::Outer);
    assert_eq!(clipped.verdict, Verdict::NotJudged { cause: Some(NotMeasured::Clipped), needs: None });
    assert!(clipped.signs.iter().all(|sign| sign.kind != SignKind::WeakTone));
    assert!(clipped.next.contains("turned down"));
}

/// A start that lies on the very first sample was not measured, and takes no other reed's measure away.
#[test]
fn a_start_of_no_time_at_all_is_compared_with_nothing() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(6, Stroke::Press), |reading| reading.onset = Ok(seconds(0.0)));
    let findings = judge(&plan, &pass);
    for valve in &findings.valves {
        assert!(valve.signs.iter().all(|sign| sign.value.is_none_or(f64::is_finite)), "{valve:?}");
        assert_eq!(valve.verdict, Verdict::NoSign, "{valve:?}");
    }
}

/// The words of the findings in JSON are those that `docs/json.md` explains, each with its unit.
#[test]
fn every_sign_has_its_word_and_unit_in_the_description_of_the_json() {
    let page = include_str!("../../../docs/json.md");
    let signs = [
        SignKind::SecondTone,
        SignKind::TailTone,
        SignKind::Breath,
        SignKind::SlowStart,
        SignKind::WeakTone,
        SignKind::PitchPull,
    ];
    for sign in signs {
        assert!(!sign.name().is_empty() && page.contains(&format!("`{}`:", sign.name())), "{sign:?}");
        let (_, after) = page.split_once(&format!("`{}`:", sign.name())).expect("found above");
        let explained = after.split(". ").next().unwrap_or("");
        let has_unit = explained.split_whitespace().any(|word| word == sign.unit());
        assert!(has_unit, "{sign:?} in {}: {explained}", sign.unit());
    }
}
