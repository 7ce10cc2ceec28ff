//! The takes whose readings are kept: one for each kind of sound, and for each turning the analysis can take.

use crate::bench::chance::Chance;
use crate::bench::natural::{natural_opposite, other_note, random_natural};
use crate::bench::tone::{Companion, Mains, Tail, ToneSpec, Tremor, Wander};
use platenote::analysis::{Clock, Expectation, OppositeExpectation};
use platenote::take::Take;
use platenote::units::{Cents, Hz};

/// A take by name, and what is known of it beforehand.
pub struct Kept {
    pub name: String,
    pub take: Take,
    pub expectation: Expectation,
}

/// Nothing is known beforehand, or the opposite reed's pitch is.
fn expecting(opposite_hz: Option<f64>) -> Expectation {
    let known = |hz| OppositeExpectation::Known {
        pitch: Hz::new(hz).expect("a pitch"),
        within: Cents::new(1.0).expect("finite"),
    };
    Expectation {
        opposite: opposite_hz.map_or(OppositeExpectation::Unknown, known),
        ..Expectation::default()
    }
}

fn above(hz: f64, cents: f64) -> f64 {
    hz * (cents / 1200.0).exp2()
}

/// All of them, always the same.
pub fn all() -> Vec<Kept> {
    let mut kept = Vec::new();
    clean(&mut kept);
    with_opposite(&mut kept);
    together(&mut kept);
    disturbed(&mut kept);
    at_the_edges(&mut kept);
    kept
}

/// A reed drawn at random between two pitches, played for at most 2.6 s to spare time.
fn drawn(seed: u64, lo_hz: f64, hi_hz: f64) -> ToneSpec {
    let mut spec = random_natural(seed, lo_hz, hi_hz);
    spec.steady_s = spec.steady_s.min(2.6);
    spec
}

fn push(kept: &mut Vec<Kept>, name: &str, seed: u64, spec: &ToneSpec, expectation: Expectation) {
    kept.push(Kept { name: name.into(), take: spec.render(seed).take(), expectation });
}

/// One reed alone, from 27 Hz to 4.6 kHz; half of them with the opposite pitch known, a third with their own.
fn clean(kept: &mut Vec<Kept>) {
    for idx in 0..8_u64 {
        let lo_hz = 27.5 * 2f64.powf(0.92 * idx as f64);
        let spec = drawn(900_000 + idx, lo_hz, 1.2 * lo_hz);
        let opposite = (idx % 2 == 1).then(|| above(spec.f0_hz, 5.0 * idx as f64 - 17.0));
        let mut expectation = expecting(opposite);
        if idx % 3 == 0 {
            expectation.pitch = Hz::new(above(spec.f0_hz, 30.0 * idx as f64 - 40.0));
            expectation.clock = Clock { error_ppm: 40.0, uncertainty_ppm: 3.0 };
        }
        push(kept, &format!("clean {idx}"), 900_000 + idx, &spec, expectation);
    }
}

/// An opposite reed near by at −20 to −45 dB, farther and nearer than the take can tell apart, known and not.
fn with_opposite(kept: &mut Vec<Kept>) {
    let kinds =
        [(5.0, 40.0, -38.0), (1.0, 5.0, -32.0), (0.5, 1.0, -27.0), (2.0, 20.0, -20.0), (5.0, 40.0, -45.0)];
    for idx in 0..10_u64 {
        let seed = 901_000 + idx;
        let chance = &mut Chance::split(seed, 900);
        let mut spec = drawn(seed, 60.0, 1800.0);
        let (lo, hi, level_db) = kinds[idx as usize % kinds.len()];
        let apart_hz = chance.sign() * chance.log_between(lo, hi) / spec.steady_s;
        let cents = 1200.0 * (1.0 + apart_hz / spec.f0_hz).log2();
        spec.opposite = Some(natural_opposite(seed, &spec, cents, level_db));
        let expectation = expecting((idx >= 5).then(|| above(spec.f0_hz, cents)));
        push(kept, &format!("opposite {idx}"), seed, &spec, expectation);
    }
    let mut spec = drawn(904_000, 200.0, 400.0);
    let near = 1200.0 * (1.0 + 0.05 / (spec.steady_s * spec.f0_hz)).log2();
    spec.opposite = Some(natural_opposite(1, &spec, near, -30.0));
    push(kept, "too close", 1, &spec, expecting(Some(above(spec.f0_hz, near))));
    for (name, cents, level_db) in [("as full", 300.0, -3.0), ("on another note", -198.0, -45.0)] {
        let mut spec = drawn(904_001, 200.0, 800.0);
        spec.opposite = Some(natural_opposite(2, &spec, cents, level_db));
        push(kept, name, 2, &spec, expecting(Some(above(spec.f0_hz, cents))));
    }
    for (idx, (hz, decay_s, cents, level_db)) in [
        (90.0, 0.5, 12.0, -6.0),
        (230.0, 0.4, 9.0, -8.0),
        (450.0, 0.15, 25.0, -10.0),
        (900.0, 0.08, 40.0, -60.0),
    ]
    .into_iter()
    .enumerate()
    {
        let seed = 904_010 + idx as u64;
        let mut spec = drawn(seed, hz, 1.1 * hz);
        spec.tail = Tail::Ring { sharper_cents: 8.0, decay_s, length_s: 6.0 * decay_s };
        let ringing = natural_opposite(seed, &spec, cents, -60.0);
        spec.opposite = Some(Companion { tail_level_db: level_db, tail_sharper_cents: 12.0, ..ringing });
        push(kept, &format!("rings after {idx}"), seed, &spec, expecting(Some(above(spec.f0_hz, cents))));
    }
}

/// Two reeds that sound fully: tremolo and octave pairs.
fn together(kept: &mut Vec<Kept>) {
    for idx in 0..6_u64 {
        let seed = 902_000 + idx;
        let chance = &mut Chance::split(seed, 901);
        let mut spec = drawn(seed, 110.0, 900.0);
        let cents = chance.sign() * chance.between(10.0, 30.0) + if idx < 3 { 0.0 } else { 1200.0 };
        spec.opposite = Some(natural_opposite(seed, &spec, cents, chance.between(-6.0, 3.0)));
        push(kept, &format!("pair {idx}"), seed, &spec, expecting(None));
    }
    // The upper reed so strong that the octave may be heard first; and a pair of which the other pitch was known.
    for (idx, (hz, cents, level_db)) in
        [(130.0, 1212.0, 3.0), (220.0, 1185.0, 4.0), (80.0, 1216.0, 5.0)].into_iter().enumerate()
    {
        let mut spec = drawn(902_010 + idx as u64, hz, 1.2 * hz);
        spec.opposite = Some(natural_opposite(idx as u64, &spec, cents, level_db));
        push(kept, &format!("octave above {idx}"), idx as u64, &spec, expecting(None));
    }
    for (name, cents, level_db) in [("known pair", 19.0, -3.0), ("known stronger pair", -16.0, 2.0)] {
        let mut spec = drawn(902_020, 300.0, 400.0);
        spec.opposite = Some(natural_opposite(5, &spec, cents, level_db));
        push(kept, name, 5, &spec, expecting(Some(above(spec.f0_hz, cents))));
    }
}

/// What is no reed: tremor, a tongue that is forced, hum, another note, a bellows that swings; and coders, clipping, noise.
fn disturbed(kept: &mut Vec<Kept>) {
    let mut one = |name: &str, seed: u64, lo_hz: f64, change: &dyn Fn(&mut ToneSpec)| {
        let mut spec = drawn(903_000 + seed, lo_hz, 4.0 * lo_hz);
        change(&mut spec);
        push(kept, name, seed, &spec, expecting(None));
    };
    one("tremor", 0, 100.0, &|spec| {
        spec.tremor = Some(Tremor { rate_hz: 5.5, depth: 0.2, cents: 2.0, spread: 1.0 });
    });
    one("forced", 1, 100.0, &|spec| {
        spec.opposite = Some(Companion { forced: true, ..natural_opposite(1, spec, 14.0, -25.0) });
    });
    one("hum", 2, 60.0, &|spec| spec.mains = Some(Mains { hz: 50.01, level_db: -15.0, harmonics: 12 }));
    one("another note", 3, 200.0, &|spec| spec.others.push(other_note(4, spec, 704.0, -22.0)));
    one("a loud other note", 4, 200.0, &|spec| spec.others.push(other_note(4, spec, 704.0, -6.0)));
    let swing =
        |db_per_cent| Wander { range_cents: 12.0, correlation_s: 0.6, slope_cents_per_s: 1.0, db_per_cent };
    one("swinging", 5, 200.0, &|spec| spec.wander = swing(0.1));
    one("swinging with its level", 6, 200.0, &|spec| spec.wander = swing(0.4));
    one("clipped", 7, 200.0, &|spec| spec.clip_at = Some(0.7));
    one("noisy", 8, 200.0, &|spec| spec.snr_db = Some(14.0));
    one("drowned", 9, 200.0, &|spec| spec.snr_db = Some(-6.0));
    one("rumble", 10, 40.0, &|spec| spec.rumble_db = Some(-8.0));
}

/// Short, cut, dying away, rising slowly; values that are no numbers; two notes after each other; no tone at all.
fn at_the_edges(kept: &mut Vec<Kept>) {
    let mut one = |name: &str, seed: u64, change: &dyn Fn(&mut ToneSpec)| {
        let mut spec = drawn(905_000 + seed, 150.0, 600.0);
        change(&mut spec);
        push(kept, name, seed, &spec, expecting(None));
    };
    one("22 kHz", 5, &|spec| spec.rate_hz = 22_050);
    one("96 kHz", 6, &|spec| (spec.rate_hz, spec.steady_s) = (96_000, 1.5));
    one("six seconds", 7, &|spec| spec.steady_s = 6.0);
    one("half a second", 0, &|spec| spec.steady_s = 0.5);
    one("a tenth of a second", 1, &|spec| spec.steady_s = 0.1);
    one("cut at both ends", 2, &|spec| {
        (spec.attack_s, spec.lead_in_s, spec.tail) = (0.0, 0.0, Tail::CutOff);
    });
    one("dying away", 3, &|spec| spec.tail = Tail::Fade(0.8));
    one("starting slowly", 4, &|spec| spec.attack_s = 0.9);

    let mut take = drawn(905_010, 100.0, 300.0).render(10).take();
    take.samples.iter_mut().skip(20_000).step_by(701).take(9).for_each(|sample| *sample = f32::NAN);
    take.lossy = true;
    take.remarks.push("a remark".into());
    let expectation = Expectation { opposite: OppositeExpectation::None, ..expecting(None) };
    kept.push(Kept { name: "no numbers in it".into(), take, expectation });

    let mut take = drawn(905_011, 300.0, 400.0).render(11).take();
    let mut second = drawn(905_012, 500.0, 600.0);
    (second.rate_hz, second.steady_s) = (take.rate_hz, 1.2);
    take.samples.extend(second.render(12).samples);
    kept.push(Kept { name: "two notes".into(), take, expectation: expecting(None) });

    let mut chance = Chance::split(905_013, 1);
    let hiss = (0..96_000).map(|_| 0.1 * chance.normal() as f32).collect();
    kept.push(Kept { name: "hiss".into(), take: Take::new(hiss, 48_000), expectation: expecting(None) });
    let silence = Take::new(vec![0.25; 48_000], 48_000);
    kept.push(Kept { name: "a constant".into(), take: silence, expectation: expecting(None) });
}
