//! Bench against instrument: offsets made by rules of their own, and how often their intervals hold the truth.

use platenote::tuning::{Offsets, Pair, bench_target};
use platenote::units::Measured;

use crate::bench::chance::Chance;
use crate::bench::statistics::{Rate, over_seeds, rms};
use crate::judgement::built::cents;

struct World {
    pairs: Vec<Pair>,
    truth: Vec<f64>,
    /// A reed that was measured on the bench only.
    other: (f64, f64),
}

/// A rank of 12 to 36 reeds: a chamber's resonance and a slope, reeds that depart from it, takes of unequal doubt.
fn world(seed: u64) -> World {
    let mut chance = Chance::new(seed);
    let n = 12 + (chance.unit() * 25.0) as usize;
    let (level, slope) = (chance.between(-15.0, 15.0), chance.between(-0.3, 0.3));
    let (height, at, width) =
        (chance.between(-4.0, 4.0), chance.between(50.0, 75.0), chance.between(5.0, 12.0));
    let own = chance.log_between(0.2, 2.0);
    let offset = |note: f64, chance: &mut Chance| {
        let x = (note - at) / width;
        level + slope * (note - 60.0) + height / (1.0 + x * x) + own * chance.normal()
    };
    let mut world = World { pairs: Vec::new(), truth: Vec::new(), other: (0.0, 0.0) };
    for k in 0..n {
        let note = 48.0 + k as f64;
        let truth = offset(note, &mut chance);
        let doubt = chance.log_between(0.1, 2.0);
        let value = truth + doubt / 1.96 * chance.normal();
        world.pairs.push(Pair { note, offset: Measured { value: cents(value), uncertainty: cents(doubt) } });
        world.truth.push(truth);
    }
    let note = 48.0 + (n as f64 * chance.unit()).floor();
    world.other = (note, offset(note, &mut chance));
    world
}

#[test]
fn offsets_lie_within_their_intervals_and_nearer_than_the_single_pair_tells() {
    let seen = over_seeds(1, 200, |seed| {
        let world = world(seed);
        let offsets = Offsets::learn(&world.pairs).expect("enough reeds");
        let (mut held, mut errors, mut raw) = (Vec::new(), Vec::new(), Vec::new());
        for (at, truth) in world.truth.iter().enumerate() {
            let told = offsets.of_pair(at).expect("a pair");
            let error = told.value.get() - truth;
            held.push(error.abs() <= told.uncertainty.get());
            errors.push(error);
            raw.push(world.pairs[at].offset.value.get() - truth);
        }
        let told = offsets.of_note(world.other.0);
        let other = (told.value.get() - world.other.1).abs() <= told.uncertainty.get();
        (held, errors, raw, other)
    });
    let held = Rate::of(seen.iter().flat_map(|one| one.0.iter().copied()));
    let others = Rate::of(seen.iter().map(|one| one.3));
    let pooled = rms(&seen.iter().flat_map(|one| one.1.iter().copied()).collect::<Vec<f64>>());
    let single = rms(&seen.iter().flat_map(|one| one.2.iter().copied()).collect::<Vec<f64>>());
    println!("held {held}; reeds measured once {others}; error {pooled:.3}, single pairs {single:.3} cents");
    assert!((0.93..=0.97).contains(&held.value()), "{held}");
    assert!(others.interval(0.01).1 >= 0.93, "{others}");
    assert!(pooled < 0.95 * single, "{pooled} {single}");
}

#[test]
fn a_sure_reed_keeps_its_own_and_a_doubtful_one_is_drawn_to_the_curve() {
    let pair = |k: usize, value: f64, doubt: f64| Pair {
        note: 50.0 + k as f64,
        offset: Measured { value: cents(value), uncertainty: cents(doubt) },
    };
    let with = |doubt: f64| {
        let scattered = [0.4, -0.5, 0.3, -0.2, 0.5, -0.4, 0.1, -0.3, 0.4, -0.1];
        let mut pairs: Vec<Pair> = (0..10).map(|k| pair(k, 5.0 + scattered[k], 0.1)).collect();
        pairs[4] = pair(4, 9.0, doubt);
        Offsets::learn(&pairs).unwrap().of_pair(4).unwrap()
    };
    let (sure, doubtful) = (with(0.1), with(6.0));
    assert!((sure.value.get() - 9.0).abs() < 0.2, "{sure:?}");
    assert!((doubtful.value.get() - 5.0).abs() < 0.6, "{doubtful:?}");
    let target = bench_target(sure);
    assert_eq!((target.value.get(), target.uncertainty), (-sure.value.get(), sure.uncertainty));
    assert!(Offsets::learn(&[pair(0, 1.0, 0.1), pair(1, 1.0, 0.1), pair(2, 1.0, 0.1)]).is_none());
}
