//! The test bench itself: does the signal model plant what it says?

use crate::bench::chance::Chance;
use crate::bench::natural::{natural_opposite, random_natural};
use crate::bench::tone::ToneSpec;
use crate::bench::voice::{STEP, add_sine, turns};
use std::f64::consts::TAU;

/// A 440 Hz cosine stays one: 440 turns in a second, and the samples project on it and on nothing beside it.
#[test]
fn plain_tone_is_what_it_says() {
    let rendered = ToneSpec::plain(48_000, 440.0, vec![1.0, 0.5], 1.0).render(1);
    assert!((rendered.truth.mean_pitch_hz(0.1, 0.9) - 440.0).abs() < 1e-9);
    let amplitude = |hz: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, x) in rendered.samples.iter().enumerate() {
            let angle = TAU * hz * i as f64 / 48_000.0;
            re += f64::from(*x) * angle.cos();
            im += f64::from(*x) * angle.sin();
        }
        2.0 * (re * re + im * im).sqrt() / rendered.samples.len() as f64
    };
    // Power −20 dBFS over amplitudes 1 and 0.5.
    let first = (0.01 / 0.625f64).sqrt();
    assert!((amplitude(440.0) - first).abs() < 1e-6);
    assert!((amplitude(880.0) - 0.5 * first).abs() < 1e-6);
    assert!(amplitude(660.0) < 1e-6 && amplitude(1320.0) < 1e-6);
}

/// A card that runs 100 ppm fast reads a tone 0.17311 cents low (science of clocks: 1200 log2(1 + 1e-4)).
#[test]
fn fast_card_reads_low() {
    let mut spec = ToneSpec::plain(48_000, 440.0, vec![1.0], 1.0);
    spec.clock_ppm = 100.0;
    let truth = spec.render(1).truth;
    let cents = 1200.0 * (truth.mean_pitch_as_read_hz(0.0, 1.0) / truth.mean_pitch_hz(0.0, 1.0)).log2();
    assert!((cents + 0.17311).abs() < 1e-5, "{cents}");
}

/// Noise has the power asked for, an opposite reed the level and the distance.
#[test]
fn levels_are_as_asked() {
    let mut spec = ToneSpec::plain(48_000, 300.0, vec![1.0, 0.7, 0.3], 1.0);
    let clean = spec.render(3);
    spec.snr_db = Some(20.0);
    let noisy = spec.render(3);
    let power = |f: &dyn Fn(usize) -> f64| (0..48_000).map(|i| f(i).powi(2)).sum::<f64>() / 48_000.0;
    let noise = power(&|i| f64::from(noisy.samples[i]) - f64::from(clean.samples[i]));
    // Deviation of a power of 48 000 normal numbers: 0.03 dB; 5 times that.
    assert!((10.0 * (noise / 0.01).log10() + 20.0).abs() < 0.15);

    spec.opposite = Some(natural_opposite(5, &spec, 12.0, -40.0));
    spec.snr_db = None;
    let with = spec.render(3);
    let added = power(&|i| f64::from(with.samples[i]) - f64::from(clean.samples[i]));
    assert!((10.0 * (added / 0.01).log10() + 40.0).abs() < 0.1);
    assert!((with.truth.opposite_level_db().unwrap() + 40.0).abs() < 1e-9);
    let offset = with.truth.opposite_offset_cents(0.0, 1.0).unwrap();
    assert!((offset - 12.0).abs() < 0.1, "{offset}");
}

/// Natural takes: finite, unclipped, the onset as stated, the same from the same seed.
#[test]
fn natural_takes_are_sound() {
    for seed in 0..20 {
        let spec = random_natural(seed, 27.5, 5000.0);
        let rendered = spec.render(seed);
        assert!(rendered.samples.iter().all(|x| x.is_finite() && x.abs() < 1.0));
        assert_eq!(rendered.samples, spec.render(seed).samples);
        let (from, to) = (spec.lead_in_s + spec.attack_s, rendered.truth.stop_s);
        let cents = 1200.0 * (rendered.truth.mean_pitch_hz(from, to) / spec.f0_hz).log2();
        assert!(cents.abs() < 6.0, "seed {seed}: {cents}");
    }
}

/// A plain fit by hand at the Cramér–Rao bound: phase slope of one strong partial, 200 takes.
#[test]
fn noise_bound_holds_for_a_plain_phase_fit() {
    let n_takes = 200;
    let mut sum = 0.0;
    let mut bound = 0.0;
    for seed in 0..n_takes {
        let mut spec = ToneSpec::plain(8_000, 440.0, vec![1.0], 0.5);
        spec.snr_db = Some(20.0);
        let rendered = spec.render(seed);
        bound = rendered.truth.crlb_hz(0.0, 0.5);
        // Newton's step on the periodogram from the true pitch.
        let n = rendered.samples.len();
        let derivative = |order: i32| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, x) in rendered.samples.iter().enumerate() {
                let t = (i as f64 - 0.5 * (n - 1) as f64) / 8_000.0;
                let angle = TAU * 440.0 * t;
                let weight = f64::from(*x) * (TAU * t).powi(order);
                re += weight * angle.cos();
                im -= weight * angle.sin();
            }
            (re, im)
        };
        // X′ = −i Σ 2πt x e^…, X″ = −Σ (2πt)² x e^…
        let ((a, b), (c, d), (e, f)) = (derivative(0), derivative(1), derivative(2));
        let first = 2.0 * (a * d - b * c);
        let second = 2.0 * (c * c + d * d) - 2.0 * (a * e + b * f);
        sum += (first / second).powi(2);
    }
    let rms = (sum / n_takes as f64).sqrt();
    // 200 trials: deviation of the rms 5 %; four times that.
    assert!((rms / bound - 1.0).abs() < 0.2, "rms {rms}, bound {bound}");
}

/// First outputs of splitmix64 from seed 0, as its authors' reference program gives them (from memory).
#[test]
fn chance_is_the_published_one() {
    let mut state = 0;
    assert_eq!(crate::bench::chance::splitmix(&mut state), 0xE220_A839_7B1D_CDAF);
    let mut chance = Chance::new(1);
    let mean: f64 = (0..100_000).map(|_| chance.normal()).sum::<f64>() / 100_000.0;
    assert!(mean.abs() < 0.015);
}

/// A sine by a table of rotations and pitch by products are what their formulas say, within rounding.
#[test]
fn the_quick_ways_give_the_sound_of_the_plain_ones() {
    let largest =
        |a: &[f64], b: &[f64]| a.iter().zip(b).fold(0.0_f64, |most, (a, b)| most.max((a - b).abs()));
    let (n, turn, phase) = (200_001, 0.012_345_6, 0.37);
    let mut sine = vec![0.0; n];
    add_sine(&mut sine, turn, phase, 0.5);
    let plain: Vec<f64> = (0..n).map(|i| 0.5 * (TAU * (turn * i as f64 + phase).fract()).sin()).collect();
    assert!(largest(&sine, &plain) < 1e-11, "{}", largest(&sine, &plain));

    let mut chance = Chance::split(7, 0);
    let cents: Vec<f64> = (0..n / STEP + 2).map(|_| chance.between(-30.0, 30.0)).collect();
    let mut sum = 0.25;
    let plain: Vec<f64> = (0..n)
        .map(|i| {
            let (at, part) = (i / STEP, ((i % STEP) as f64 + 0.5) / STEP as f64);
            let here = cents[at] + (cents[at + 1] - cents[at]) * part;
            sum += 440.0 / 48_000.0 * (here / 1200.0).exp2();
            sum
        })
        .collect();
    let quick = turns(&cents, 440.0, 48_000.0, n, 0.25);
    assert_eq!(quick.len(), n + 1);
    // Turns: a thousandth of a degree would be 3e-6.
    assert!(largest(&quick[1..], &plain) < 1e-9, "{}", largest(&quick[1..], &plain));
}
