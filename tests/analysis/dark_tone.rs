//! The second tone in every colour: an opposite tongue driven softly sounds dark, and may end anywhere.
//!
//! Sounds from `bench::dark`, whose rules differ from those of `bench::tone`.

use crate::bench::chance::Chance;
use crate::bench::dark::{Made, Note, Tongue};
use crate::bench::statistics::{Rate, over_seeds, quantile, trials};
use platenote::analysis::{Expectation, Opposite, OppositeExpectation, Tail, read};
use platenote::take::Take;
use platenote::units::{Cents, Hz};

/// Trials a cell.
fn a_cell() -> u64 {
    trials(12, 4)
}

/// A distance in cents that makes so many beats a second, within 65 cents.
fn distance(c: &mut Chance, hz: f64) -> f64 {
    loop {
        let cents = 1200.0 * (1.0 + c.sign() * c.log_between(1.5, 8.0) / hz).log2();
        if cents.abs() < 65.0 {
            return cents;
        }
    }
}

/// What is told of the opposite reed; `known` is its distance as another take would have told it.
fn listen(made: &Made, hz: f64, known: Option<f64>) -> Option<Opposite> {
    let opposite = known.map_or(OppositeExpectation::Unknown, |cents| OppositeExpectation::Known {
        pitch: Hz::new(hz * (cents / 1200.0).exp2()).expect("a pitch"),
        within: Cents::new(1.0).expect("finite"),
    });
    let take = Take::new(made.samples.clone(), made.rate_hz);
    read(&take, &Expectation { opposite, ..Expectation::default() }).ok().map(|r| r.opposite)
}

#[derive(Clone)]
struct Trial {
    seed: u64,
    hz: f64,
    cents: f64,
    level: f64,
    state: Option<Opposite>,
}

impl Trial {
    fn found(&self) -> bool {
        matches!(&self.state, Some(Opposite::Sounding { offset, .. }) if (offset.get() - self.cents).abs() < 2.0)
    }
    fn level_error(&self) -> Option<f64> {
        match &self.state {
            Some(Opposite::Sounding { level, .. }) if self.found() => Some(level.get() - self.level),
            _ => None,
        }
    }
    fn limit_margin(&self) -> Option<f64> {
        match &self.state {
            Some(Opposite::Quiet { limit, .. }) => Some(limit.get() - self.level),
            _ => None,
        }
    }
}

fn cell(first: u64, count: u64, level_db: f64, slope_db: f64, last: usize) -> Vec<Trial> {
    over_seeds(first, count, |seed| {
        let c = &mut Chance::split(seed, 950);
        let mut note = Note::drawn(seed, 100.0, 1200.0);
        let cents = distance(c, note.hz);
        note.tongue = Some(Tongue { cents, level_db, slope_db, last });
        let made = note.made(seed);
        let known = (seed % 2 == 0).then(|| made.cents + (0.4 * c.normal()).clamp(-0.9, 0.9));
        Trial {
            seed,
            hz: note.hz,
            cents: made.cents,
            level: made.level_db,
            state: listen(&made, note.hz, known),
        }
    })
}

const COLOURS: [(f64, usize); 6] = [(0.0, 99), (-6.0, 99), (-12.0, 99), (0.0, 12), (0.0, 8), (0.0, 5)];

/// At −20 and −28 dB at least 11 of 12 in every colour, at −36 dB 9 of 12; the level within 1 dB in 68 % and 3 dB in 95 %.
#[test]
fn a_dark_tone_is_heard() {
    let mut all = Vec::new();
    let mut short = Vec::new();
    for (row, (level_db, missed)) in [(-20.0, 1), (-28.0, 1), (-36.0, 3)].into_iter().enumerate() {
        for (column, (slope, last)) in COLOURS.into_iter().enumerate() {
            let first = 1_000_000 + 10_000 * (6 * row + column) as u64;
            let found = cell(first, a_cell(), level_db, slope, last);
            let rate = Rate::of(found.iter().map(Trial::found));
            println!("{level_db:4} dB, {slope:4} dB/octave to {last:2}: {rate}");
            for trial in found.iter().filter(|t| !t.found()) {
                println!(
                    "   {} {:.1} Hz {:.2} cents {:.1} dB: {:?}",
                    trial.seed, trial.hz, trial.cents, trial.level, trial.state
                );
            }
            if rate.trials - rate.hits > missed {
                short.push((level_db, slope, last, rate.to_string()));
            }
            all.extend(found);
        }
    }
    let errors: Vec<f64> = all.iter().filter_map(Trial::level_error).collect();
    let within = |db: f64| Rate::of(errors.iter().map(|e| e.abs() <= db)).value();
    println!(
        "level: median {:+.2}, within 1 dB {:.2}, 3 dB {:.2}",
        quantile(&errors, 0.5),
        within(1.0),
        within(3.0)
    );
    let margins: Vec<f64> = all.iter().filter_map(Trial::limit_margin).collect();
    let untrue = Rate::of(margins.iter().map(|m| *m < 0.0));
    println!("limits under the truth: {untrue}");
    assert!(short.is_empty(), "{short:#?}");
    assert!(within(1.0) >= 0.68 && within(3.0) >= 0.95, "levels");
    assert!(untrue.hits * 50 <= all.len(), "{untrue}");
}

/// Limits hold as powers, whatever the colour, from −80 to −40 dB: louder ones are found.
#[test]
fn limits_are_true_whatever_the_colour() {
    let all: Vec<Trial> = (0..6)
        .flat_map(|column| {
            let (slope, last) = [(0.0, 99), (-6.0, 99), (-12.0, 99), (-24.0, 99), (0.0, 8), (0.0, 3)][column];
            over_seeds(2_000_000 + 10_000 * column as u64, 3 * a_cell(), |seed| {
                let level = Chance::split(seed, 951).between(-80.0, -40.0);
                cell(seed, 1, level, slope, last).remove(0)
            })
        })
        .collect();
    let margins: Vec<f64> = all.iter().filter_map(Trial::limit_margin).collect();
    let rate = Rate::of(margins.iter().map(|m| *m >= 0.0));
    let limits: Vec<f64> = all
        .iter()
        .filter_map(|t| match &t.state {
            Some(Opposite::Quiet { limit, .. }) => Some(limit.get()),
            _ => None,
        })
        .collect();
    for t in all.iter().filter(|t| t.limit_margin().is_some_and(|m| m < 0.0)) {
        println!("   {} {:.1} Hz {:.2} cents {:.1} dB: {:?}", t.seed, t.hz, t.cents, t.level, t.state);
    }
    let open = Rate::of(all.iter().map(|t| matches!(t.state, Some(Opposite::Unresolved { .. }) | None)));
    println!("true: {rate}; median limit {:.1} dB; left open {open}", quantile(&limits, 0.5));
    assert!(rate.trials >= 20 && rate.value() >= 0.95, "{rate}");
}

/// Notes without a second tone; every second one told a pitch.
fn false_alarms(first: u64, count: u64, note: impl Fn(u64) -> Note + Sync + Send) -> Rate {
    let alarms = over_seeds(first, count, |seed| {
        let note = note(seed);
        let made = note.made(seed);
        let c = &mut Chance::split(seed, 952);
        let known = match seed % 3 {
            0 => None,
            1 => Some(c.between(-30.0, 30.0)),
            _ => Some(c.sign() * 100.0 * c.between(1.0, 5.0).round()),
        };
        let state = listen(&made, note.hz, known);
        if let Some(Opposite::Sounding { .. }) = state {
            println!("   false: {seed} {:.1} Hz, told {known:.1?}: {state:?}", note.hz);
        }
        matches!(state, Some(Opposite::Sounding { .. }))
    });
    let rate = Rate::of(alarms);
    println!("false: {rate}");
    rate
}

#[test]
fn a_lone_reed_has_no_second_tone() {
    let rate = false_alarms(3_000_000, 12 * a_cell(), |seed| Note::drawn(seed, 60.0, 2500.0));
    assert!(rate.hits * 500 <= rate.trials.max(500), "{rate}");
}

#[test]
fn a_swell_is_no_second_tone() {
    let rate = false_alarms(4_000_000, 12 * a_cell(), |seed| {
        let mut note = Note::drawn(seed, 60.0, 2000.0);
        let c = &mut Chance::split(seed, 953);
        note.swell_db = c.between(10.0, 20.0);
        note.lasts_s = c.between(3.5, 7.0);
        note
    });
    assert_eq!(rate.hits, 0, "{rate}");
}

#[test]
fn a_settling_pitch_is_no_second_tone() {
    let rate = false_alarms(5_000_000, 4 * a_cell(), |seed| {
        let mut note = Note::drawn(seed, 60.0, 2000.0);
        let c = &mut Chance::split(seed, 954);
        note.settling = (c.sign() * c.between(5.0, 25.0), c.between(0.04, 0.12));
        note
    });
    assert_eq!(rate.hits, 0, "{rate}");
}

/// The played reed's own ring in an echoing room, its pitch gliding as the air goes, is no opposite tongue. Wanted is none; of
/// the harshest rooms (sound from all around up to 2 dB stronger than the direct one) one in ten still misleads.
#[test]
fn a_ring_of_the_same_reed_is_no_opposite_tongue() {
    let heard = over_seeds(6_000_000, 8 * a_cell(), |seed| {
        let mut note = Note::drawn(seed, 60.0, 1500.0);
        let c = &mut Chance::split(seed, 955);
        note.lasts_s = 1.5;
        note.room = (c.between(0.3, 1.2), c.between(-2.0, 8.0));
        let made = note.made(seed);
        let cents = c.sign()
            * if c.happens(0.5) { c.between(5.0, 40.0) } else { 100.0 * c.between(1.0, 4.0).round() };
        let opposite = OppositeExpectation::Known {
            pitch: Hz::new(note.hz * (cents / 1200.0).exp2()).expect("a pitch"),
            within: Cents::new(1.0).expect("finite"),
        };
        let take = Take::new(made.samples, made.rate_hz);
        let tail = read(&take, &Expectation { opposite, ..Expectation::default() }).ok()?.tail;
        if matches!(tail, Tail::Heard { .. }) {
            println!("   heard: {seed} {:.1} Hz, told {cents:.1}: {tail:?}", note.hz);
        }
        Some((matches!(tail, Tail::Heard { .. }), matches!(tail, Tail::NotMeasured(_))))
    });
    let rate = Rate::of(heard.iter().flatten().map(|h| h.0));
    let open = Rate::of(heard.iter().flatten().map(|h| h.1));
    println!("tail heard: {rate}; not measured {open}");
    assert!(rate.hits * 6 <= rate.trials, "{rate}");
}
