//! The analysis on any finite samples, any length, any rate: a reading or a reasoned refusal, never a NaN, in time.

use std::time::{Duration, Instant};

use platenote::analysis::{Expectation, read};
use platenote::job::ReadingLine;
use platenote::take::Take;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed, TestRunner};

/// For each second of samples at 48 kHz, and once for each take: in a build without optimisation on a busy machine.
/// In a release build a take of a few seconds is read in milliseconds (`cargo bench`).
const FOR_EACH_SECOND: Duration = Duration::from_secs(4);
const FOR_EACH_TAKE: Duration = Duration::from_secs(3);

/// One tone among several: pitch as a share of the rate, level, and whether it is square.
type Tone = (f64, f64, bool);

/// Three of four are notes of some kind, so that the whole of the analysis is reached; the others are anything.
fn take() -> impl Strategy<Value = Take> {
    prop_oneof![3 => note(), 1 => anything()]
}

/// A note that begins and ends, with one or two series of partials, at any pitch, rate and loudness; then harmed.
fn note() -> impl Strategy<Value = Take> {
    let rate = prop_oneof![
        4 => prop::sample::select(vec![8_000_u32, 11_025, 22_050, 44_100, 48_000]),
        1 => 8_000_u32..=384_000
    ];
    // Pitch, Hz; how much weaker each partial is; a second series so many cents off, at this level, dB.
    let voice = (5.0_f64..11.0, 0.3_f64..1.0, 0_usize..14, -60.0_f64..60.0, -80.0_f64..6.0);
    // Length, s; where the note begins and ends and steps, as shares of it; the step, dB; the noise, dB.
    let course = (0.4_f64..3.0, 0.0_f64..0.3, 0.7_f64..1.1, 0.0_f64..1.0, -9.0_f64..9.0, -120.0_f64..-20.0);
    // Loudness in powers of ten, from denormal numbers to far beyond full scale; mostly as recorded.
    let gain = prop_oneof![6 => -4.0_f64..0.5, 1 => -44.0_f64..38.0];
    let harm = prop_oneof![
        4 => Just(Harm::None),
        1 => (0.05_f64..1.0).prop_map(Harm::Clipped),
        1 => (-2.0_f64..2.0).prop_map(Harm::Offset),
        1 => (1_u32..16).prop_map(Harm::Coarse),
        1 => prop::collection::vec((any::<prop::sample::Index>(), any::<f32>()), 1..4).prop_map(Harm::Odd),
    ];
    (rate, voice, course, gain, harm, any::<u64>()).prop_map(|(rate_hz, voice, course, gain, harm, seed)| {
        let (octave, weaker, n_partials, cents, second_db) = voice;
        let (length_s, begins, ends, steps, step_db, noise_db) = course;
        let rate = f64::from(rate_hz);
        let length = ((length_s * rate) as usize).min(120_000);
        let pitch_hz = octave.exp2();
        let turn = std::f64::consts::TAU * pitch_hz / rate;
        let (second, ratio) = (10f64.powf(second_db / 20.0), (cents / 1200.0).exp2());
        let (step, hiss) = (10f64.powf(step_db / 20.0), 10f64.powf(noise_db / 20.0));
        let mut noise = seed;
        let samples = (0..length).map(|i| {
            let at = i as f64 / length as f64;
            let series = |turn: f64| -> f64 {
                let partials = (1..=1 + n_partials).map(|k| k as f64).filter(|k| k * turn < 3.1);
                partials.map(|k| weaker.powf(k - 1.0) * (k * turn * i as f64).sin()).sum()
            };
            let level = if at < begins || at > ends {
                0.0
            } else if at > steps {
                step
            } else {
                1.0
            };
            let sum = level * (series(turn) + second * series(turn * ratio)) + hiss * hissed(&mut noise);
            10f64.powf(gain) * sum
        });
        let mut samples: Vec<f32> = samples.map(|x| (x as f32).clamp(f32::MIN, f32::MAX)).collect();
        harm.do_to(&mut samples, 10f64.powf(gain));
        Take::new(samples, rate_hz)
    })
}

/// What happened to a sound on its way.
#[derive(Debug, Clone)]
enum Harm {
    None,
    /// Cut off at this share of its strength.
    Clipped(f64),
    /// Moved by so many times its strength.
    Offset(f64),
    /// Held in so few bits.
    Coarse(u32),
    /// Some samples are anything.
    Odd(Vec<(prop::sample::Index, f32)>),
}

impl Harm {
    fn do_to(&self, samples: &mut [f32], strength: f64) {
        let each = |samples: &mut [f32], change: &dyn Fn(f64) -> f64| {
            let changed = |x: f32| (change(f64::from(x)) as f32).clamp(f32::MIN, f32::MAX);
            samples.iter_mut().for_each(|x| *x = changed(*x));
        };
        match self {
            Self::None => {}
            Self::Clipped(share) => each(samples, &|x| x.clamp(-share * strength, share * strength)),
            Self::Offset(times) => each(samples, &|x| x + times * strength),
            Self::Coarse(bits) => {
                let step = strength * 2.0 / f64::from(1_u32 << bits);
                each(samples, &|x| (x / step).round() * step);
            }
            Self::Odd(odd) => {
                for (at, value) in odd.iter().filter(|(_, value)| value.is_finite()) {
                    if !samples.is_empty() {
                        samples[at.index(samples.len())] = *value;
                    }
                }
            }
        }
    }
}

/// From -0.5 to 0.5 (constants of Knuth's MMIX generator, from memory).
fn hissed(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 40) as f64 / f64::from(1 << 24) - 0.5
}

/// Tones and noise of any kind, length and rate.
fn anything() -> impl Strategy<Value = Take> {
    let tones = prop::collection::vec((0.0_f64..0.5, -140.0_f64..20.0, any::<bool>()), 0..4);
    let length = prop_oneof![0_usize..300, 300_usize..60_000];
    let rate = prop_oneof![Just(48_000_u32), 8_000_u32..=384_000, any::<u32>()];
    let odd = prop::collection::vec((any::<prop::sample::Index>(), any::<f32>()), 0..6);
    (tones, length, rate, odd, 0.0_f64..0.2, any::<u64>()).prop_map(
        |(tones, length, rate, odd, gate, seed)| {
            let mut samples = sound(&tones, length, gate, seed);
            Harm::Odd(odd).do_to(&mut samples, 1.0);
            Take::new(samples, rate)
        },
    )
}

fn sound(tones: &[Tone], length: usize, gate: f64, seed: u64) -> Vec<f32> {
    let mut noise = seed;
    let silent = (gate * length as f64) as usize;
    (0..length)
        .map(|i| {
            let hiss = hissed(&mut noise);
            let sum: f64 = tones
                .iter()
                .map(|&(share, level_db, square)| {
                    let wave = (std::f64::consts::TAU * share * i as f64).sin();
                    10f64.powf(level_db / 20.0) * if square { wave.signum() } else { wave }
                })
                .sum();
            if i < silent { 0.0 } else { (sum + 1e-4 * hiss) as f32 }
        })
        .collect()
}

#[test]
fn any_finite_samples_give_a_reading_or_a_reason() {
    let cases = std::env::var("PLATENOTE_FUZZ_SAMPLES").ok().and_then(|n| n.parse().ok()).unwrap_or(60);
    let seed = std::env::var("PLATENOTE_FUZZ_SEED").ok().and_then(|n| n.parse().ok()).unwrap_or(20_260_430);
    let config =
        Config { cases, rng_seed: RngSeed::Fixed(seed), failure_persistence: None, ..Config::default() };
    let mut counts = (0, 0);
    let seen = std::cell::RefCell::new(&mut counts);
    TestRunner::new(config)
        .run(&take(), |take| {
            let begun = Instant::now();
            let outcome = read(&take, &Expectation::default());
            let limit = FOR_EACH_TAKE + FOR_EACH_SECOND.mul_f64(take.samples.len() as f64 / 48_000.0);
            prop_assert!(
                begun.elapsed() < limit,
                "{} samples took {:?}",
                take.samples.len(),
                begun.elapsed()
            );
            match outcome {
                Ok(reading) => {
                    seen.borrow_mut().0 += 1;
                    let shown = format!("{reading:?}");
                    prop_assert!(!shown.contains("NaN") && !shown.contains("inf"), "{shown}");
                    // JSON writes what is no number as `null`, and then another line comes back.
                    let line = ReadingLine::from(&reading);
                    let text = serde_json::to_string(&line).unwrap();
                    prop_assert_eq!(serde_json::from_str::<ReadingLine>(&text).ok(), Some(line), "{}", text);
                }
                Err(refusal) => {
                    seen.borrow_mut().1 += 1;
                    prop_assert!(!refusal.to_string().is_empty() && !refusal.to_string().contains("NaN"));
                }
            }
            Ok(())
        })
        .unwrap();
    println!("samples: {} readings, {} refusals", counts.0, counts.1);
    assert!(2 * counts.0 >= counts.1 + counts.0 && counts.1 > 0, "readings and refusals: {counts:?}");
}

/// Eight times the length takes eight times the time, as nearly as a busy machine lets that be seen: the square of it
/// would be 64.
#[test]
fn time_grows_with_the_length_and_not_with_its_square() {
    let of = |seconds: usize| {
        let turn = std::f64::consts::TAU * 220.0 / 24_000.0;
        let at =
            |i: usize| (1..=8).map(|k| 0.1 / f64::from(k) * (f64::from(k) * turn * i as f64).sin()).sum();
        let sound: Vec<f64> = (0..24_000 * seconds).map(at).collect();
        Take::new(sound.into_iter().map(|x| x as f32).collect(), 24_000)
    };
    let (short, long) = (of(3), of(24));
    let time_of = |take: &Take| {
        let begun = Instant::now();
        assert!(read(take, &Expectation::default()).is_ok());
        begun.elapsed()
    };
    // The quickest of each, by turns: what else the machine does only adds.
    let (mut quick, mut slow) = (Duration::MAX, Duration::MAX);
    for _ in 0..5 {
        (quick, slow) = (quick.min(time_of(&short)), slow.min(time_of(&long)));
    }
    let ratio = slow.as_secs_f64() / quick.as_secs_f64();
    println!("eight times the length: {ratio:.1} times the time, {quick:?} and {slow:?}");
    assert!(ratio < 24.0, "{ratio:.1}: {quick:?} and {slow:?}");
}
