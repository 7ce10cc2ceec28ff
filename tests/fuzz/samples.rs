//! The analysis on any finite samples, any length, any rate: a reading or a reasoned refusal, never a NaN, in time.

use std::time::{Duration, Instant};

use platenote::analysis::{Expectation, read};
use platenote::record::ReadingLine;
use platenote::take::Take;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed, TestRunner};

/// For each second of samples at 48 kHz, and once for each take: in a build without optimisation on a busy machine.
/// In a release build a take of a few seconds is read in milliseconds (`cargo bench`).
const FOR_EACH_SECOND: Duration = Duration::from_secs(4);
const FOR_EACH_TAKE: Duration = Duration::from_secs(3);

/// One tone among several: pitch as a share of the rate, level, and whether it is square.
type Tone = (f64, f64, bool);

fn take() -> impl Strategy<Value = Take> {
    let tones = prop::collection::vec((0.0_f64..0.5, -140.0_f64..20.0, any::<bool>()), 0..4);
    let length = prop_oneof![0_usize..300, 300_usize..60_000];
    let rate = prop_oneof![Just(48_000_u32), 8_000_u32..=384_000, any::<u32>()];
    let odd = prop::collection::vec((any::<prop::sample::Index>(), any::<f32>()), 0..6);
    (tones, length, rate, odd, 0.0_f64..0.2, any::<u64>()).prop_map(
        |(tones, length, rate, odd, gate, seed)| {
            let mut samples = sound(&tones, length, gate, seed);
            for (at, value) in odd {
                if length > 0 && value.is_finite() {
                    samples[at.index(length)] = value;
                }
            }
            Take::new(samples, rate)
        },
    )
}

fn sound(tones: &[Tone], length: usize, gate: f64, seed: u64) -> Vec<f32> {
    let mut noise = seed;
    let silent = (gate * length as f64) as usize;
    (0..length)
        .map(|i| {
            noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let hiss = (noise >> 40) as f64 / f64::from(1 << 24) - 0.5;
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
                    // JSON writes what is no number as `null`, and then the line does not come back.
                    let line = ReadingLine::from(&reading);
                    let text = serde_json::to_string(&line).unwrap();
                    prop_assert!(serde_json::from_str::<ReadingLine>(&text).is_ok(), "{text}");
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
    assert!(counts.0 > 0 && counts.1 > 0, "both kinds come up: {counts:?}");
}
