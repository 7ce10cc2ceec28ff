//! Whatever the readings, findings come out, and the same ones.

use platenote::analysis::{NotMeasured, Opposite, Refusal, Tail, Warning};
use platenote::instrument::Valve;
use platenote::judgement::{Missing, PassReadings, Verdict, compare, judge};
use platenote::units::Dbfs;
use proptest::prelude::*;

use super::built::{cents, db, hz, instrument, reading, seconds, sounding};
use super::player::{Reeds, USUAL, planted};
use crate::bench::chance::Chance;

/// A pass of anything: extreme figures, missing takes, every state of the opposite reed and the tail.
fn anything(n: usize, seed: u64) -> (platenote::instrument::Instrument, PassReadings) {
    let mut chance = Chance::new(seed);
    let mut plan = instrument(n);
    for plate in &mut plan.blocks[0].rows[0].plates {
        if chance.unit() < 0.1 {
            plate.reeds.draw = None;
        }
        if chance.unit() < 0.1 {
            plate.valves.outer = Valve::None;
        }
    }
    let mut pass = PassReadings {
        name: "any".into(),
        temperature_c: None,
        measured_at: None,
        readings: Default::default(),
        sealings: Vec::new(),
        further: Default::default(),
    };
    if chance.unit() < 0.5 {
        pass.temperature_c = Some(chance.between(-1e9, 1e9));
    }
    for (place, _) in plan.reeds() {
        let number = place.plate.number as usize % 40;
        let kind = (chance.unit() * 8.0) as u32;
        if kind == 0 {
            continue;
        }
        let result = if kind == 1 {
            Err(Missing::Refused(Refusal::NotSteady))
        } else {
            let mut one = reading(hz(chance.log_between(1e-300, 1e300)));
            if kind > 4 {
                one.f0 = hz(80.0 * ((number as f64 + chance.between(-3.0, 3.0)) / 12.0).exp2());
            }
            one.uncertainty = cents(chance.between(0.0, 1e12));
            one.level = Dbfs::new(chance.between(-1e300, 1e300)).expect("finite");
            one.onset = if kind.is_multiple_of(2) {
                Ok(seconds(chance.between(-1.0, 1e9)))
            } else {
                Err(NotMeasured::AttackCut)
            };
            one.breath = if kind.is_multiple_of(3) {
                Ok(db(chance.between(-1e300, 1e300)))
            } else {
                Err(NotMeasured::TooNoisy)
            };
            one.opposite = match kind {
                2 => sounding(chance.between(-1e300, 1e300)),
                3 => Opposite::Quiet { limit: db(chance.between(-1e300, 1e300)), evidence: 0.0 },
                4 => Opposite::Unresolved {
                    evidence: 0.0,
                    needs: Some(seconds(-1.0)),
                    reason: NotMeasured::SeveralReeds,
                },
                5 => Opposite::NotLooked,
                _ => one.opposite,
            };
            one.tail = match kind {
                2 | 5 => Tail::Heard {
                    level: db(chance.between(-1e300, 1e300)),
                    offset: cents(0.0),
                    evidence: 1.0,
                },
                6 => Tail::Quiet { limit: db(chance.between(-90.0, 0.0)), evidence: 1.0 },
                _ => one.tail,
            };
            if kind == 7 {
                one.warnings = vec![Warning::Lossy, Warning::Clipped { count: 3 }];
            }
            Ok(one)
        };
        pass.readings.insert(place, result);
    }
    (plan, pass)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_readings_give_findings(n in 0usize..50, seed: u64) {
        let (plan, pass) = anything(n, seed);
        let findings = judge(&plan, &pass);
        prop_assert_eq!(findings.valves.len(), 2 * n);
        prop_assert_eq!(findings.reeds.len(), plan.reeds().count());
        for valve in &findings.valves {
            prop_assert_eq!(valve.reason.is_empty(), false);
            let stands_out = valve.signs.iter().any(|sign| sign.stands_out);
            let points = stands_out || valve.leak.is_some_and(|leak| leak.evidence > 0.0);
            prop_assert!(valve.verdict != Verdict::Leaks || points);
            prop_assert!(valve.verdict != Verdict::NoValve || valve.signs.is_empty());
        }
        let again = judge(&plan, &pass);
        prop_assert_eq!(format!("{findings:?}"), format!("{again:?}"));
        let comparison = compare(&plan, &pass, &pass);
        prop_assert_eq!(comparison.valves.len(), findings.valves.iter().filter(|valve| valve.verdict != Verdict::NoValve).count());
    }

    /// Turning the recording level up moves every level alike and no verdict.
    #[test]
    fn the_recording_level_moves_no_verdict(gain in -30.0f64..30.0, seed: u64) {
        let plan = instrument(24);
        let mut chance = Chance::new(seed);
        let mut pass = super::built::in_tune(&plan);
        for (index, reading) in pass.readings.values_mut().enumerate() {
            let one = reading.as_mut().expect("a reading");
            one.level = Dbfs::new(-25.0 + chance.normal() - if index == 9 { 8.0 } else { 0.0 }).expect("finite");
        }
        let mut louder = pass.clone();
        for reading in louder.readings.values_mut() {
            let one = reading.as_mut().expect("a reading");
            one.level = Dbfs::new(one.level.get() + gain).expect("finite");
        }
        let verdicts = |pass| judge(&plan, pass).valves.iter().map(|valve| valve.verdict).collect::<Vec<_>>();
        prop_assert_eq!(verdicts(&pass), verdicts(&louder));
    }

    /// The order of a reed's takes, and the same gain on all of them, change no verdict, no rank and no size.
    #[test]
    fn the_order_of_takes_and_the_gain_move_no_verdict(gain in -20.0f64..20.0, takes in 2usize..5, seed: u64) {
        let plan = instrument(12);
        let mut chance = Chance::new(seed);
        let reeds = Reeds::new(12, &USUAL, &mut chance);
        let truth = planted(12, &[1.0, 3.0], &mut chance);
        let pass = reeds.play(&plan, &USUAL, &truth, takes, &mut chance);
        let mut other = pass.clone();
        for (place, speaks) in &mut other.readings {
            let further = other.further.get_mut(place).expect("further takes");
            let turned = (chance.unit() * further.len() as f64) as usize;
            further.rotate_left(turned);
            std::mem::swap(speaks.as_mut().expect("a reading"), &mut further[0]);
            for reading in speaks.iter_mut().chain(further.iter_mut()) {
                reading.level = Dbfs::new(reading.level.get() + gain).expect("finite");
            }
        }
        let told = |pass| {
            let valves = judge(&plan, pass).valves;
            valves.iter().map(|valve| (valve.verdict.name(), valve.leak.and_then(|leak| leak.rank))).collect::<Vec<_>>()
        };
        prop_assert_eq!(told(&pass), told(&other));
    }
}
