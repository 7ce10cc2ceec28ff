//! Breath, start, level and pitch against the block: what is enough to compare, which valve a departure is laid to,
//! and which signs belong together.

use platenote::instrument::{Face, Stroke};
use platenote::judgement::{Sign, SignKind, ValveFinding, Verdict, judge};
use platenote::units::Dbfs;

use super::built::{at, cents, change, db, in_tune, instrument, plate, reed, seconds, valve};

/// How a stroke differs from its neighbours: level in dB, start in times, breath in dB, pitch in cents.
#[derive(Clone, Copy, Debug)]
struct Off {
    level: f64,
    times: f64,
    breath: f64,
    pitch: f64,
}

const EVEN: Off = Off { level: 0.0, times: 1.0, breath: 0.0, pitch: 0.0 };
const WEAK: Off = Off { level: -6.0, ..EVEN };
const STRONG: Off = Off { level: 6.0, ..EVEN };

/// The draw stroke of plate 6 of 12 plays so: the finding of the valve that it tests.
fn heard(off: Off) -> ValveFinding {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(6, Stroke::Draw), |reading| {
        reading.level = Dbfs::new(reading.level.get() + off.level).expect("a level");
        reading.onset = Ok(seconds(0.2 * off.times));
        reading.breath = Ok(db(-50.0 + off.breath));
        reading.f0 = reading.f0.raised_by(cents(off.pitch));
    });
    valve(&judge(&plan, &pass), 6, Face::Inner).clone()
}

/// Two-reed model (`docs/method.md`): a leak behind a partner in unison makes a reed weak, slow and flat, one behind a
/// flatter partner makes it strong, fast and sharp, and both hiss. Weak and fast, say, is no one leak's doing.
#[test]
fn two_signs_make_a_leak_only_where_one_leak_can_make_both() {
    for (off, verdict) in [
        (Off { times: 1.6, ..WEAK }, Verdict::Leaks),
        (Off { pitch: -6.0, ..WEAK }, Verdict::Leaks),
        (Off { breath: 12.0, ..WEAK }, Verdict::Leaks),
        (Off { times: 1.6, pitch: -6.0, ..EVEN }, Verdict::Leaks),
        (Off { times: 1.0 / 1.6, ..STRONG }, Verdict::Leaks),
        (Off { pitch: 6.0, ..STRONG }, Verdict::Leaks),
        (Off { breath: 12.0, ..STRONG }, Verdict::Leaks),
        (Off { times: 1.0 / 1.6, ..WEAK }, Verdict::Suspect),
        (Off { pitch: 6.0, ..WEAK }, Verdict::Suspect),
        (Off { times: 1.6, ..STRONG }, Verdict::Suspect),
        (Off { pitch: -6.0, ..STRONG }, Verdict::Suspect),
    ] {
        let found = heard(off);
        assert_eq!(found.verdict, verdict, "{off:?}: {found:?}");
    }
}

#[test]
fn a_level_is_told_as_weaker_or_stronger_and_never_as_a_negative_figure() {
    for (off, told) in [(WEAK, "the tone is 6.0 dB weaker"), (STRONG, "the tone is 6.0 dB stronger")] {
        let reason = heard(off).reason;
        assert!(reason.contains(told), "{reason}");
        assert!(!reason.contains('-'), "{reason}");
    }
}

/// The limit is the figure from which the sign stands out (`docs/json.md`), so a strong, fast reed has limits below
/// 0 dB and below once the comparison. A reed on the trend has them where a common leak would show.
#[test]
fn a_limit_lies_on_the_side_of_its_figure() {
    let from_even =
        |sign: &Sign, figure: f64| figure - if sign.kind == SignKind::SlowStart { 1.0 } else { 0.0 };
    for (off, side) in [
        (Off { times: 1.6, breath: 12.0, pitch: 6.0, ..WEAK }, 1.0),
        (Off { times: 1.0 / 1.6, breath: -12.0, pitch: -6.0, ..STRONG }, -1.0),
        (EVEN, 1.0),
    ] {
        let signs = heard(off).signs;
        let compared: Vec<&Sign> = signs.iter().filter(|sign| sign.kind != SignKind::SecondTone).collect();
        assert_eq!(compared.len(), 4, "{signs:?}");
        for sign in compared {
            let value = from_even(sign, sign.value.expect("it was measured"));
            let limit = from_even(sign, sign.limit);
            assert!(side * limit > 0.0, "{off:?}: {sign:?}");
            // With these departures every figure but those of the even reed lies beyond its limit.
            assert_eq!(value.abs() >= limit.abs(), off.level != 0.0, "{off:?}: {sign:?}");
        }
    }
}

/// Where both strokes depart, one third of the difference is enough to charge a stroke in the direction of a common
/// leak, and more than two thirds are needed in the reverse one (`docs/method.md`).
#[test]
fn a_difference_that_both_strokes_carry_is_laid_to_one_valve_only() {
    let plan = instrument(12);
    for (press, draw, outer, inner) in [
        (-2.0, 3.0, Verdict::Suspect, Verdict::NoSign),
        (-1.0, 4.0, Verdict::NoSign, Verdict::Suspect),
        (3.0, -2.0, Verdict::NoSign, Verdict::Suspect),
        (4.0, -1.0, Verdict::Suspect, Verdict::NoSign),
    ] {
        let mut pass = in_tune(&plan);
        for (stroke, by) in [(Stroke::Press, press), (Stroke::Draw, draw)] {
            change(&mut pass, &reed(6, stroke), |reading| {
                reading.level = Dbfs::new(reading.level.get() + by).expect("a level");
            });
        }
        let findings = judge(&plan, &pass);
        let verdicts = [Face::Outer, Face::Inner].map(|face| valve(&findings, 6, face).verdict);
        assert_eq!(verdicts, [outer, inner], "press {press:+} dB, draw {draw:+} dB");
    }
}

/// A pitch that both strokes carry is laid to the flat one from a third of it on: a leak pulls the pitch down.
#[test]
fn a_pull_that_both_strokes_carry_is_laid_to_the_flat_one() {
    let plan = instrument(12);
    let mut pass = in_tune(&plan);
    for (stroke, cents_off, level) in [(Stroke::Press, 4.0, 0.0), (Stroke::Draw, -6.0, -6.0)] {
        change(&mut pass, &reed(6, stroke), |reading| {
            reading.f0 = reading.f0.raised_by(cents(cents_off));
            reading.level = Dbfs::new(reading.level.get() + level).expect("a level");
        });
    }
    let findings = judge(&plan, &pass);
    let found = valve(&findings, 6, Face::Inner);
    assert_eq!(found.verdict, Verdict::Leaks, "weak and flat together: {found:?}");
    assert_eq!(valve(&findings, 6, Face::Outer).verdict, Verdict::NoSign);
}

#[test]
fn eight_plates_are_a_block_to_compare_with_and_seven_are_none() {
    for (plates, verdict) in [(8, Verdict::Suspect), (7, Verdict::NoSign)] {
        let plan = instrument(plates);
        let mut pass = in_tune(&plan);
        change(&mut pass, &reed(4, Stroke::Press), |reading| {
            reading.level = Dbfs::new(-26.0).expect("a level");
        });
        let findings = judge(&plan, &pass);
        let found = valve(&findings, 4, Face::Outer);
        assert_eq!(found.verdict, verdict, "{plates} plates");
        let compared = found.signs.iter().any(|sign| sign.kind == SignKind::WeakTone);
        assert_eq!(compared, plates == 8, "{:?}", found.signs);
    }
}

/// A treble block often has short rows: five naturals and five accidentals make ten plates to compare with.
#[test]
fn rows_too_short_for_themselves_are_compared_with_each_other() {
    let mut plan = instrument(5);
    let mut second = plan.blocks[0].rows[0].clone();
    second.name = "B".into();
    second.plates = [61, 63, 66, 68, 70].map(|number| plate(number, number)).into();
    plan.blocks[0].rows.push(second);
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(2, Stroke::Press), |reading| {
        reading.level = Dbfs::new(-26.0).expect("a level");
    });
    let findings = judge(&plan, &pass);
    let flagged: Vec<_> = findings
        .valves
        .iter()
        .filter(|valve| valve.verdict == Verdict::Suspect)
        .map(|valve| &valve.place)
        .collect();
    let [place] = flagged.as_slice() else { panic!("one valve, not {flagged:?}") };
    assert_eq!((&place.plate, place.face), (&at(2), Face::Outer));
}
