//! False alarms of healthy blocks and detection of the leaks of the two-reed model, counted over random blocks.

use platenote::instrument::{Face, Instrument, Stroke};
use platenote::judgement::{PassReadings, Verdict, judge};
use platenote::units::Dbfs;

use super::built::{cents, change, db, in_tune, instrument, reed, seconds, valve};
use super::odds::{lower_bound, upper_bound};
use crate::bench::chance::Chance;

/// How a healthy block scatters.
#[derive(Clone, Copy, Debug)]
struct Habit {
    /// Reed to reed, dB, ln of times, dB of breath, cents; standard deviations.
    level: f64,
    onset: f64,
    breath: f64,
    pitch: f64,
    /// Share of the scatter that all of a take's signs have in common: the hand on the bellows.
    shared: f64,
    /// Wild tails instead of normal ones.
    wild: bool,
}

const EVEN: Habit = Habit { level: 0.5, onset: 0.06, breath: 1.0, pitch: 0.5, shared: 0.0, wild: false };
const NATURAL: Habit = Habit { level: 1.0, onset: 0.12, breath: 2.0, pitch: 2.0, shared: 0.5, wild: false };
const ROUGH: Habit = Habit { level: 2.0, onset: 0.25, breath: 3.0, pitch: 6.0, shared: 0.9, wild: true };

/// A pass of a healthy block: a trend along the row, the plate's own share on both strokes, the reed's scatter.
fn healthy(plan: &Instrument, habit: Habit, chance: &mut Chance) -> PassReadings {
    let mut pass = in_tune(plan);
    let plates = plan.plates().count() as u32;
    for number in 1..=plates {
        let along = f64::from(number) / f64::from(plates);
        let plate = [(); 4].map(|()| 1.5 * scatter(chance, false));
        for stroke in Stroke::BOTH {
            let hand = scatter(chance, habit.wild);
            let mut own = |sense: f64| {
                habit.shared.sqrt() * sense * hand + (1.0 - habit.shared).sqrt() * scatter(chance, habit.wild)
            };
            // A softer hand: weaker, slower, sharper.
            let (level, onset, breath, pitch) = (own(1.0), own(-1.0), own(-1.0), own(-1.0));
            change(&mut pass, &reed(number, stroke), |reading| {
                let bow = 4.0 * along * (1.0 - along);
                let dbfs = -20.0 + 5.0 * along + 3.0 * bow + habit.level * (level + plate[0]);
                reading.level = Dbfs::new(dbfs).expect("a level");
                let ln_onset = (0.5f64).ln() - along + habit.onset * (onset + plate[1]);
                reading.onset = Ok(seconds(ln_onset.exp()));
                reading.breath = Ok(db(-50.0 + 4.0 * along + habit.breath * (breath + plate[2])));
                reading.f0 = reading.f0.raised_by(cents(habit.pitch * (pitch + plate[3])));
            });
        }
    }
    pass
}

/// Unit variance, normal or Student's t with 5 degrees of freedom.
fn scatter(chance: &mut Chance, wild: bool) -> f64 {
    let normal = chance.normal();
    if !wild {
        return normal;
    }
    let chi: f64 = (0..5).map(|_| chance.normal().powi(2)).sum();
    normal / (chi / 5.0).sqrt() * 0.6f64.sqrt()
}

/// Of 48 healthy valves at most 0.1 get `leaks`, at most 1 any flag, in every habit of play.
#[test]
fn healthy_blocks_give_few_false_alarms() {
    for habit in [EVEN, NATURAL, ROUGH] {
        for (n, blocks) in [(8, 750), (12, 500), (24, 250), (41, 150)] {
            let plan = instrument(n);
            let mut chance = Chance::new(0x5EED + n as u64);
            let (mut leaks, mut flags, mut trials) = (0, 0, 0);
            for _ in 0..blocks {
                let findings = judge(&plan, &healthy(&plan, habit, &mut chance));
                assert!(findings.swaps.is_empty());
                trials += findings.valves.len() as u64;
                leaks +=
                    findings.valves.iter().filter(|valve| valve.verdict == Verdict::Leaks).count() as u64;
                flags +=
                    findings.valves.iter().filter(|valve| valve.verdict != Verdict::NoSign).count() as u64;
            }
            let (leaks_bound, flags_bound) = (upper_bound(leaks, trials), upper_bound(flags, trials));
            println!(
                "{n} plates, {habit:?}: {leaks} leaks, {flags} flags of {trials}; at most {leaks_bound:.5}, {flags_bound:.5}"
            );
            assert!(leaks_bound < 0.1 / 48.0, "{n} plates, {habit:?}: {leaks} of {trials}");
            assert!(flags_bound < 1.0 / 48.0, "{n} plates, {habit:?}: {flags} of {trials}");
        }
    }
}

/// The leak table of the two-reed model (A4, unison partner): level, pitch and start at 800 and at 300 Pa.
#[test]
fn leaks_of_the_two_reed_model_are_found_as_often_as_stated() {
    struct Leak {
        name: &'static str,
        level_db: f64,
        cents: f64,
        times: f64,
        /// Least rate of `leaks`, and of `leaks` or `suspect`, in an evenly played block.
        leaks: f64,
        flags: f64,
    }
    let table = [
        Leak {
            name: "1 mm², 800 Pa",
            level_db: -0.2,
            cents: 0.0,
            times: 0.31 / 0.30,
            leaks: 0.0,
            flags: 0.0,
        },
        Leak {
            name: "3 mm², 800 Pa",
            level_db: -0.9,
            cents: -0.2,
            times: 0.33 / 0.30,
            leaks: 0.0,
            flags: 0.0,
        },
        Leak {
            name: "3 mm², 300 Pa",
            level_db: -1.3,
            cents: -0.3,
            times: 0.57 / 0.49,
            leaks: 0.0,
            flags: 0.0,
        },
        Leak {
            name: "10 mm², 800 Pa",
            level_db: -4.8,
            cents: -1.9,
            times: 0.40 / 0.30,
            leaks: 0.25,
            flags: 0.9,
        },
        Leak {
            name: "10 mm², 300 Pa",
            level_db: -6.7,
            cents: -2.4,
            times: 1.05 / 0.49,
            leaks: 0.95,
            flags: 0.97,
        },
    ];
    let plan = instrument(24);
    for leak in &table {
        let mut chance = Chance::new(0xB10C);
        let (mut leaks, mut flags, trials) = (0, 0, 400);
        for trial in 0..trials {
            let mut pass = healthy(&plan, EVEN, &mut chance);
            let number = 1 + (trial % 24) as u32;
            let stroke = Stroke::BOTH[(trial / 24 % 2) as usize];
            change(&mut pass, &reed(number, stroke), |reading| {
                reading.level = Dbfs::new(reading.level.get() + leak.level_db).expect("a level");
                reading.onset = Ok(seconds(reading.onset.expect("a start").get() * leak.times));
                reading.f0 = reading.f0.raised_by(cents(leak.cents));
            });
            let findings = judge(&plan, &pass);
            let face = if stroke == Stroke::Press { Face::Outer } else { Face::Inner };
            let verdict = valve(&findings, number, face).verdict;
            leaks += u64::from(verdict == Verdict::Leaks);
            flags += u64::from(matches!(verdict, Verdict::Leaks | Verdict::Suspect));
        }
        let (leaks_bound, flags_bound) = (lower_bound(leaks, trials), lower_bound(flags, trials));
        println!(
            "{}: leaks {leaks}, any {flags} of {trials}; at least {leaks_bound:.3}, {flags_bound:.3}",
            leak.name
        );
        assert!(leaks_bound >= leak.leaks, "{}: leaks {leaks} of {trials}", leak.name);
        assert!(flags_bound >= leak.flags, "{}: any {flags} of {trials}", leak.name);
    }
}
