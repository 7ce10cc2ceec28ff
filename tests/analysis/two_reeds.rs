//! Two reeds that sound fully together: tremolo pairs and octave pairs.

use crate::bench::chance::Chance;
use crate::bench::natural::{natural_opposite, random_natural};
use crate::bench::statistics::{Rate, over_seeds, trials};
use crate::bench::tone::{Rendered, ToneSpec, Wander};
use platenote::analysis::{Expectation, Opposite, OppositeExpectation, SoundingReed, read};
use platenote::units::{Cents, Hz};

/// The planted pair, low to high: pitch over the middle of the note, level re the stronger.
fn planted(spec: &ToneSpec, rendered: &Rendered) -> [(f64, f64); 2] {
    let (start, end) = (spec.lead_in_s + spec.attack_s + 0.1, rendered.truth.stop_s - 0.05);
    let main = rendered.truth.mean_pitch_hz(start, end);
    let other = main * (rendered.truth.opposite_offset_cents(start, end).unwrap_or(f64::NAN) / 1200.0).exp2();
    let level = rendered.truth.opposite_power_heard_db(start, end).unwrap_or(f64::NAN);
    let top = level.max(0.0);
    let pair = [(main, -top), (other, level - top)];
    if main < other { pair } else { [pair[1], pair[0]] }
}

/// Both within `cents` and `db` of what was planted.
fn is_right(reeds: &[SoundingReed], planted: [(f64, f64); 2], cents: f64, db: f64) -> bool {
    let [low, high] = reeds else { return false };
    [low, high].into_iter().zip(planted).all(|(reed, (hz, level))| {
        (1200.0 * (reed.f0.get() / hz).log2()).abs() <= cents && (reed.level.get() - level).abs() <= db
    })
}

fn pairs(first: u64, count: u64, cents: f64, spec: impl Fn(u64) -> ToneSpec + Sync + Send) -> Rate {
    let found = over_seeds(first, count, |seed| {
        let spec = spec(seed);
        let rendered = spec.render(seed);
        let reeds = read(&rendered.take(), &Expectation::default()).map(|r| r.reeds).unwrap_or_default();
        let planted = planted(&spec, &rendered);
        let right = is_right(&reeds, planted, cents, 2.0);
        if !right {
            let found: Vec<(f64, f64)> = reeds.iter().map(|r| (r.f0.get(), r.level.get())).collect();
            println!("seed {seed}: planted {planted:.3?}, found {found:.3?}");
        }
        right
    });
    let rate = Rate::of(found);
    println!("both reeds right: {rate}");
    rate
}

/// Tremolo pairs, 4 to 30 cents and at least 3 beats in the take: both pitches to 0.3 cents, levels to 2 dB, in 95 %.
#[test]
fn tremolo_pairs_are_told_apart() {
    let rate = pairs(500_000, trials(120, 0), 0.3, |seed| {
        let chance = &mut Chance::split(seed, 400);
        let mut spec = random_natural(seed, 110.0, 1800.0);
        let least = 1200.0 * (1.0 + 3.0 / (spec.f0_hz * spec.steady_s)).log2();
        let offset = chance.sign() * chance.between(least.max(4.0), 30.0);
        spec.opposite = Some(natural_opposite(seed, &spec, offset, chance.between(-6.0, 3.0)));
        spec
    });
    assert!(rate.value() >= 0.95, "{rate}");
}

/// Octave pairs, the upper reed some cents off the octave: both pitches to half a cent, levels to 2 dB, in 90 %. The low
/// reed is read from the odd partials.
#[test]
fn octave_pairs_are_told_apart() {
    let rate = pairs(510_000, trials(120, 0), 0.5, |seed| {
        let chance = &mut Chance::split(seed, 401);
        let mut spec = random_natural(seed, 60.0, 900.0);
        let least = (1200.0 * (1.0 + 3.0 / (2.0 * spec.f0_hz * spec.steady_s)).log2()).max(2.0);
        let offset = 1200.0 + chance.sign() * chance.between(least, (2.0 * least).max(10.0));
        spec.opposite = Some(natural_opposite(seed, &spec, offset, chance.between(-6.0, 3.0)));
        spec
    });
    assert!(rate.value() >= 0.9, "{rate}");
}

/// A valve that is missing lets the opposite reed sound as loud as the one that is played, or louder: which of the two is
/// which follows from the opposite reed's own take.
#[test]
fn a_loud_opposite_reed_is_told_from_the_one_that_is_played() {
    let right = over_seeds(550_000, trials(60, 0), |seed| {
        let chance = &mut Chance::split(seed, 404);
        let mut spec = random_natural(seed, 110.0, 1500.0);
        let least = 1200.0 * (1.0 + 3.0 / (spec.f0_hz * spec.steady_s)).log2();
        let offset = chance.sign() * chance.between(least.max(5.0), 30.0);
        spec.opposite = Some(natural_opposite(seed, &spec, offset, chance.between(-5.0, 6.0)));
        let rendered = spec.render(seed);
        let [low, high] = planted(&spec, &rendered).map(|reed| reed.0);
        let (played, other) = if offset > 0.0 { (low, high) } else { (high, low) };
        let known = OppositeExpectation::Known { pitch: Hz::new(other)?, within: Cents::new(1.0)? };
        let expectation = Expectation { opposite: known, ..Expectation::default() };
        let reading = read(&rendered.take(), &expectation).ok()?;
        let own = (1200.0 * (reading.f0.get() / played).log2()).abs() <= 0.5;
        let told = match reading.opposite {
            Opposite::Sounding { offset: found, .. } => (found.get() - offset).abs() <= 0.5,
            _ => false,
        };
        if !(own && told) {
            println!(
                "seed {seed}: {played:.2} Hz with {offset:+.2}: {:?} {:?}",
                reading.f0, reading.opposite
            );
        }
        Some(own && told)
    });
    let rate = Rate::of(right.into_iter().flatten());
    println!("loud opposite reeds told: {rate}");
    assert!(rate.value() >= 0.95, "{rate}");
}

/// The upper reed of an octave pair is told as such, and never taken for the opposite reed that leaks.
#[test]
fn an_octave_reed_is_not_the_opposite_reed() {
    let alarms = over_seeds(540_000, 150, |seed| {
        let chance = &mut Chance::split(seed, 403);
        let mut spec = random_natural(seed, 60.0, 900.0);
        let offset = 1200.0 + chance.sign() * chance.log_between(1.0, 20.0);
        let level_db = chance.between(-15.0, 8.0);
        spec.opposite = Some(natural_opposite(seed, &spec, offset, level_db));
        let reading = read(&spec.render(seed).take(), &Expectation::default()).ok()?;
        let Opposite::Sounding { level, offset: found, evidence, .. } = reading.opposite else {
            return Some(false);
        };
        println!(
            "seed {seed}, {:.1} Hz, read as {:.1} Hz, {} reeds: octave {:+.1} cents at {level_db:.1} dB taken for {:+.1} cents at {:.1} dB, evidence {evidence:.0}",
            spec.f0_hz,
            reading.f0.get(),
            reading.reeds.len(),
            offset - 1200.0,
            found.get(),
            level.get()
        );
        Some(true)
    });
    let rate = Rate::of(alarms.into_iter().flatten());
    println!("octave reeds taken for the opposite one: {rate}");
    assert!(rate.value() <= 0.01, "{rate}");
}

/// One reed whose pitch swings slowly by 4 to 25 cents dwells at two places, and is still one reed: nothing beats.
#[test]
fn one_reed_that_swings_is_not_split() {
    let split = over_seeds(530_000, trials(100, 0), |seed| {
        let chance = &mut Chance::split(seed, 402);
        let mut spec = random_natural(seed, 60.0, 2000.0);
        spec.wander = Wander {
            range_cents: chance.log_between(4.0, 25.0),
            correlation_s: chance.log_between(0.2, 1.5),
            slope_cents_per_s: 0.0,
            db_per_cent: chance.between(0.0, 0.1),
        };
        let reading = read(&spec.render(seed).take(), &Expectation::default());
        reading.is_ok_and(|r| !r.reeds.is_empty())
    });
    let rate = Rate::of(split);
    println!("swinging, split: {rate}");
    assert_eq!(rate.hits, 0, "{rate}");
}

/// One reed alone is never split into two.
#[test]
fn one_reed_is_not_split() {
    let split = over_seeds(520_000, trials(160, 0), |seed| {
        let rendered = random_natural(seed, 40.0, 3000.0).render(seed);
        read(&rendered.take(), &Expectation::default()).is_ok_and(|r| !r.reeds.is_empty())
    });
    let rate = Rate::of(split);
    println!("split: {rate}");
    assert_eq!(rate.hits, 0, "{rate}");
}
