//! The same answers by a slow, plain road: least squares on the whole signal, done by scipy.
//!
//! `cross_check.py` beside this file makes `fixtures/cross_check.csv`; signals are formulas that both repeat.

use crate::bench::statistics::Rate;
use platenote::analysis::{Expectation, Opposite, OppositeExpectation, read};
use platenote::take::Take;
use platenote::units::{Cents, Hz};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// A signal as in `CASES` of `cross_check.py`.
struct Case {
    name: &'static str,
    rate_hz: u32,
    seconds: f64,
    f0_hz: f64,
    n_partials: usize,
    fall: f64,
    first: f64,
    second: Option<(f64, f64)>,
}

const CASES: [Case; 6] = [
    Case {
        name: "middle",
        rate_hz: 48_000,
        seconds: 2.0,
        f0_hz: 440.7,
        n_partials: 12,
        fall: 1.0,
        first: 1.0,
        second: None,
    },
    Case {
        name: "bass",
        rate_hz: 44_100,
        seconds: 3.0,
        f0_hz: 55.3,
        n_partials: 30,
        fall: 0.5,
        first: 0.05,
        second: None,
    },
    Case {
        name: "high",
        rate_hz: 48_000,
        seconds: 1.5,
        f0_hz: 1760.9,
        n_partials: 8,
        fall: 1.5,
        first: 1.0,
        second: None,
    },
    Case {
        name: "near",
        rate_hz: 48_000,
        seconds: 3.0,
        f0_hz: 392.1,
        n_partials: 12,
        fall: 1.0,
        first: 1.0,
        second: Some((9.3, 0.03)),
    },
    Case {
        name: "flat",
        rate_hz: 44_100,
        seconds: 3.0,
        f0_hz: 220.4,
        n_partials: 16,
        fall: 0.7,
        first: 1.0,
        second: Some((-14.2, 0.02)),
    },
    Case {
        name: "other",
        rate_hz: 48_000,
        seconds: 2.5,
        f0_hz: 262.2,
        n_partials: 14,
        fall: 1.0,
        first: 1.0,
        second: Some((203.1, 0.01)),
    },
];

impl Case {
    fn take(&self) -> Take {
        let n = (f64::from(self.rate_hz) * self.seconds) as usize;
        let mut state: u64 = 1;
        let samples = (0..n).map(|i| {
            let t = i as f64 / f64::from(self.rate_hz);
            state = (1_664_525 * state + 1_013_904_223) % (1 << 32);
            let noise = 1e-3 * (state as f64 / (1u64 << 31) as f64 - 1.0);
            let second = self.second.map_or(0.0, |(cents, part)| {
                part * self.series(t, self.f0_hz * (cents / 1200.0).exp2(), 1.1)
            });
            (0.1 * (self.series(t, self.f0_hz, 0.7) + noise + second)) as f32
        });
        Take::new(samples.collect(), self.rate_hz)
    }

    fn series(&self, t: f64, f0_hz: f64, twist: f64) -> f64 {
        (1..=self.n_partials)
            .map(|k| {
                let order = k as f64;
                let amplitude = order.powf(-self.fall) * if k == 1 { self.first } else { 1.0 };
                amplitude * (TAU * order * f0_hz * t + twist * order * order).cos()
            })
            .sum()
    }

    /// With the second tone's pitch known as another take would tell it, 0.6 cents off.
    fn expectation(&self) -> Expectation {
        let opposite = self.second.map_or(OppositeExpectation::Unknown, |(cents, _)| {
            let pitch = self.f0_hz * ((cents + 0.6) / 1200.0).exp2();
            OppositeExpectation::Known {
                pitch: Hz::new(pitch).expect("a pitch"),
                within: Cents::new(1.0).expect("finite"),
            }
        });
        Expectation { opposite, ..Expectation::default() }
    }
}

/// What scipy found: case and quantity to value.
fn reference() -> BTreeMap<(String, String), f64> {
    include_str!("../../fixtures/cross_check.csv")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            ((cells[0].to_owned(), cells[1].to_owned()), cells[2].parse().expect("a number"))
        })
        .collect()
}

fn value(reference: &BTreeMap<(String, String), f64>, case: &str, quantity: &str) -> f64 {
    *reference
        .get(&(case.to_owned(), quantity.to_owned()))
        .unwrap_or_else(|| panic!("no {quantity} of {case}"))
}

/// Pitch within 0.0005 cents: noise of −60 dB allows less than a tenth of that, the rest is that a reading may leave out
/// the ends of the signal.
#[test]
fn pitch_agrees_with_least_squares() {
    let reference = reference();
    for case in &CASES {
        let reading = read(&case.take(), &case.expectation()).expect("a steady tone");
        let off = 1200.0 * (reading.f0.get() / value(&reference, case.name, "f0_hz")).log2();
        println!("{:8} {off:+.6} cents", case.name);
        // A second tone pulls a fit that does not know of it, so the bound is wider there.
        let allowed = if case.second.is_some() { 0.02 } else { 0.0005 };
        assert!(off.abs() < allowed, "{}: {off}", case.name);
    }
}

/// Levels of the partials within 0.05 dB, the take's level within 0.02 dB.
#[test]
fn levels_agree_with_least_squares() {
    let reference = reference();
    for case in CASES.iter().filter(|case| case.second.is_none()) {
        let reading = read(&case.take(), &case.expectation()).expect("a steady tone");
        let level_off = reading.level.get() - value(&reference, case.name, "level_dbfs");
        assert!(level_off.abs() < 0.02, "{}: level {level_off} dB off", case.name);
        assert!(
            reading.partials.len() >= case.n_partials,
            "{}: {} partials",
            case.name,
            reading.partials.len()
        );
        for partial in reading.partials.iter().filter(|p| p.number as usize <= case.n_partials) {
            let wanted = value(&reference, case.name, &format!("partial_{}_db", partial.number));
            let off = partial.level.get() - wanted;
            assert!(off.abs() < 0.05, "{}, partial {}: {off} dB off", case.name, partial.number);
        }
    }
}

/// The second tone's offset within 0.02 cents and its level within 0.3 dB of a joint fit of both series.
#[test]
fn second_tone_agrees_with_a_joint_fit() {
    let reference = reference();
    for case in CASES.iter().filter(|case| case.second.is_some()) {
        let reading = read(&case.take(), &case.expectation()).expect("a steady tone");
        let Opposite::Sounding { level, offset, .. } = reading.opposite else {
            panic!("{}: {:?}", case.name, reading.opposite)
        };
        let level_off = level.get() - value(&reference, case.name, "second_level_db");
        let offset_off = offset.get() - value(&reference, case.name, "offset_cents");
        println!("{:8} {level_off:+.3} dB, {offset_off:+.4} cents", case.name);
        assert!(
            level_off.abs() < 0.3 && offset_off.abs() < 0.02,
            "{}: {level_off} dB, {offset_off} cents",
            case.name
        );
    }
}

/// The bench's exact intervals against scipy's beta distribution.
#[test]
fn exact_intervals_agree_with_the_beta_distribution() {
    let reference = reference();
    for (hits, trials) in [(0, 59), (18, 20), (97, 100), (488, 500), (3, 1500), (500, 500)] {
        let (low, high) = Rate { hits, trials }.interval(0.05);
        let of = |side: &str| value(&reference, "binomial", &format!("{hits}_of_{trials}_{side}"));
        assert!((low - of("low")).abs() < 1e-9 && (high - of("high")).abs() < 1e-9, "{hits} of {trials}");
    }
}
