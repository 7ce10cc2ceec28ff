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

fn evidence(off: Off) -> f64 {
    heard(off).leak.expect("it was compared").evidence
}

/// Two-reed model (`docs/method.md`): a leak behind a partner in unison makes a reed weak, slow and flat. What fits the
/// weak tone adds to it, what contradicts it takes away, and the level says most.
#[test]
fn signs_that_one_leak_makes_add_up_and_others_take_away() {
    let soft = Off { level: -3.0, ..EVEN };
    for more in [Off { times: 1.35, ..soft }, Off { pitch: -1.5, ..soft }, Off { level: -4.5, ..soft }] {
        assert!(evidence(more) > evidence(soft) + 0.2, "{more:?}: {} and {}", evidence(more), evidence(soft));
    }
    for less in [Off { times: 0.8, ..soft }, Off { pitch: 3.0, ..soft }, Off { level: -2.0, ..soft }] {
        assert!(evidence(less) < evidence(soft) - 0.2, "{less:?}: {} and {}", evidence(less), evidence(soft));
    }
    assert_eq!(heard(Off { times: 1.5, pitch: -3.0, ..WEAK }).verdict, Verdict::Leaks);
    assert_eq!(heard(soft).verdict, Verdict::Suspect, "weak, but neither late nor flat");
    for small in
        [Off { times: 3.0, ..EVEN }, Off { pitch: -30.0, ..EVEN }, Off { breath: 30.0, ..EVEN }, STRONG]
    {
        let found = heard(small);
        assert_ne!(found.verdict, Verdict::Leaks, "{small:?}: {found:?}");
    }
    assert_eq!(heard(STRONG).verdict, Verdict::NoSign, "nothing but a flatter partner makes a leak loud");
}

/// A leak of size 1 takes 2.8 dB, one of size 3 takes 5 and half again the start (two-reed model); twelve like plates leave
/// little doubt.
#[test]
fn the_size_comes_with_an_interval_in_shares_and_millimetres() {
    for (level, times, pitch, size) in [(-2.8, 1.25, -1.4, 1.0), (-5.0, 1.5, -2.5, 3.0)] {
        let found = heard(Off { level, times, pitch, breath: 0.0 });
        let leak = found.leak.expect("it was compared");
        let (low, high) = (leak.low.expect("a bound"), leak.high.unwrap_or(f64::MAX));
        assert!(low < size && size < high, "{leak:?}");
        assert!((leak.size.expect("a size") / size).ln().abs() < 0.4, "{leak:?}");
        assert_eq!(leak.rank, Some(1));
        assert!(
            found.reason.contains("as if the valve stood off by") && found.reason.contains(" mm"),
            "{}",
            found.reason
        );
    }
    let even = heard(EVEN).leak.expect("it was compared");
    assert_eq!((even.low, even.evidence < 0.0), (Some(0.0), true));
    assert!(even.high.is_some_and(|high| high < 3.0), "a leak of size 3 would have shown: {even:?}");
}

#[test]
fn a_weak_tone_is_told_as_weaker_and_never_as_a_negative_figure() {
    let reason = heard(WEAK).reason;
    assert!(reason.contains("the tone is 6.") && reason.contains("dB weaker"), "{reason}");
    assert!(!reason.contains('-'), "{reason}");
}

/// The limit is the figure from which the sign stands out (`docs/json.md`), so a strong, fast reed has limits below
/// 0 dB and below once the comparison.
#[test]
fn a_limit_lies_on_the_side_of_its_figure() {
    let from_even =
        |sign: &Sign, figure: f64| figure - if sign.kind == SignKind::SlowStart { 1.0 } else { 0.0 };
    for (off, side) in [
        (Off { times: 1.6, breath: 30.0, pitch: 6.0, ..WEAK }, 1.0),
        (Off { times: 1.0 / 1.6, breath: -30.0, pitch: -6.0, ..STRONG }, -1.0),
    ] {
        let signs = heard(off).signs;
        let compared: Vec<&Sign> = signs.iter().filter(|sign| sign.kind != SignKind::SecondTone).collect();
        assert_eq!(compared.len(), 4, "{signs:?}");
        for sign in compared {
            let value = from_even(sign, sign.value.expect("it was measured"));
            let limit = from_even(sign, sign.limit);
            assert!(side * limit > 0.0, "{off:?}: {sign:?}");
            // With these departures every figure lies beyond its limit but the pitch, which goes the other way.
            if sign.kind != SignKind::PitchPull {
                assert!(value.abs() >= limit.abs(), "{off:?}: {sign:?}");
            }
        }
    }
}

/// Where one stroke is weak and the other strong, the weak one is asked about.
#[test]
fn of_a_weak_and_a_strong_stroke_the_weak_one_is_pointed_to() {
    let plan = instrument(12);
    for (press, draw) in [(-4.0, 3.0), (3.0, -4.0), (-5.0, 1.0), (0.0, -5.0)] {
        let mut pass = in_tune(&plan);
        for (stroke, by) in [(Stroke::Press, press), (Stroke::Draw, draw)] {
            change(&mut pass, &reed(6, stroke), |reading| {
                reading.level = Dbfs::new(reading.level.get() + by).expect("a level");
            });
        }
        let findings = judge(&plan, &pass);
        let [outer, inner] = [Face::Outer, Face::Inner].map(|face| valve(&findings, 6, face).clone());
        let (weak, strong) = if press < draw { (outer, inner) } else { (inner, outer) };
        assert!(
            matches!(weak.verdict, Verdict::Leaks | Verdict::Suspect),
            "press {press:+} dB, draw {draw:+} dB: {weak:?}"
        );
        assert_eq!(strong.verdict, Verdict::NoSign, "press {press:+} dB, draw {draw:+} dB");
        assert_eq!(weak.leak.and_then(|leak| leak.rank), Some(1));
    }
}

#[test]
fn four_plates_are_a_block_to_compare_with_and_three_are_none() {
    for (plates, compared) in [(4, true), (3, false)] {
        let plan = instrument(plates);
        let mut pass = in_tune(&plan);
        change(&mut pass, &reed(2, Stroke::Press), |reading| {
            reading.level = Dbfs::new(-32.0).expect("a level");
        });
        let findings = judge(&plan, &pass);
        let found = valve(&findings, 2, Face::Outer);
        assert_eq!(found.leak.and_then(|leak| leak.size).is_some(), compared, "{plates} plates: {found:?}");
        assert_eq!(found.signs.iter().any(|sign| sign.kind == SignKind::WeakTone), compared, "{found:?}");
    }
}

/// A treble block often has short rows: four naturals and four accidentals make eight plates to compare with.
#[test]
fn rows_too_short_for_themselves_are_compared_with_each_other() {
    let mut plan = instrument(4);
    let mut second = plan.blocks[0].rows[0].clone();
    second.name = "B".into();
    second.plates = [61, 63, 66, 68].map(|number| plate(number, number)).into();
    plan.blocks[0].rows.push(second);
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(2, Stroke::Press), |reading| {
        reading.level = Dbfs::new(-28.0).expect("a level");
    });
    let findings = judge(&plan, &pass);
    let flagged: Vec<_> = findings
        .valves
        .iter()
        .filter(|valve| matches!(valve.verdict, Verdict::Suspect | Verdict::Leaks))
        .map(|valve| &valve.place)
        .collect();
    let [place] = flagged.as_slice() else { panic!("one valve, not {flagged:?}") };
    assert_eq!((&place.plate, place.face), (&at(2), Face::Outer));
}

/// The same weak level three times is more than once, and once weak among three is less.
#[test]
fn every_take_of_a_reed_counts() {
    let plan = instrument(12);
    let with = |levels: &[f64]| {
        let mut pass = in_tune(&plan);
        let place = reed(6, Stroke::Draw);
        let one = pass.readings[&place].clone().expect("a reading");
        let takes: Vec<_> = levels
            .iter()
            .map(|level| {
                let mut take = one.clone();
                take.level = Dbfs::new(take.level.get() + level).expect("a level");
                take
            })
            .collect();
        let (first, further) = takes.split_first().expect("a take");
        pass.readings.insert(place.clone(), Ok(first.clone()));
        pass.further.insert(place, further.to_vec());
        valve(&judge(&plan, &pass), 6, Face::Inner).leak.expect("it was compared")
    };
    let (one, again, contrary) = (with(&[-3.5]), with(&[-3.5, -3.5, -3.5]), with(&[-3.5, 0.0, 0.0]));
    assert!(again.evidence > one.evidence + 0.2, "{again:?} and {one:?}");
    assert!(contrary.evidence < one.evidence - 0.2, "{contrary:?} and {one:?}");
}

/// A flatter partner behind a large leak makes the reed louder and sharper (two-reed model: 1.7 dB, 5.8 cents at 50 cents).
#[test]
fn the_reverse_signs_count_where_the_partner_is_flatter() {
    for (partner, counts) in [(-50.0, true), (0.0, false), (50.0, false)] {
        let plan = instrument(24);
        let mut pass = in_tune(&plan);
        super::built::detune(&mut pass, &reed(6, Stroke::Press), partner);
        change(&mut pass, &reed(6, Stroke::Draw), |reading| {
            reading.level = Dbfs::new(-18.3).expect("a level");
            reading.f0 = reading.f0.raised_by(cents(5.8));
        });
        let leak = valve(&judge(&plan, &pass), 6, Face::Inner).leak.expect("it was compared");
        assert_eq!(leak.evidence > 0.5, counts, "partner at {partner} cents: {leak:?}");
    }
}
