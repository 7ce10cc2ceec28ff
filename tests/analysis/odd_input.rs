//! Odd input gives a reading or a reasoned refusal: never a panic, never a made-up number.

use crate::bench::chance::Chance;
use crate::bench::natural::{natural_opposite, other_note, random_natural};
use crate::bench::tone::{Tail, ToneSpec};
use platenote::analysis::{Expectation, Reading, Refusal, Warning, read};
use platenote::take::Take;

fn read_plainly(samples: Vec<f32>, rate_hz: u32) -> Result<Reading, Refusal> {
    read(&Take::new(samples, rate_hz), &Expectation::default())
}

fn a_note() -> Take {
    let mut spec = ToneSpec::plain(48_000, 330.0, vec![1.0, 0.6, 0.4, 0.3, 0.2], 2.0);
    spec.snr_db = Some(50.0);
    spec.render(11).take()
}

#[test]
fn nothing_at_all_is_refused() {
    assert_eq!(read_plainly(Vec::new(), 48_000), Err(Refusal::Empty));
}

#[test]
fn silence_and_a_constant_are_refused() {
    for value in [0.0, 0.5, -1.0] {
        let refused = read_plainly(vec![value; 96_000], 48_000);
        assert!(matches!(refused, Err(Refusal::Silent | Refusal::NoTone)), "{value}: {refused:?}");
    }
}

#[test]
fn noise_alone_is_refused() {
    for seed in 0..20 {
        let chance = &mut Chance::new(seed);
        let noise = (0..96_000).map(|_| (0.1 * chance.normal()) as f32).collect();
        let refused = read_plainly(noise, 48_000);
        assert!(matches!(refused, Err(Refusal::NoTone | Refusal::NotSteady)), "seed {seed}: {refused:?}");
    }
}

#[test]
fn constant_under_a_note_does_not_matter() {
    let take = a_note();
    let shifted: Vec<f32> = take.samples.iter().map(|x| x + 0.3).collect();
    let reading = read_plainly(shifted, 48_000).expect("a note");
    assert!((reading.f0.get() - 330.0).abs() < 0.01);
}

/// 50 ms of sound, and everything shorter down to one sample.
#[test]
fn too_short_is_refused_with_the_time_needed() {
    let note = a_note().samples;
    for n in [2_400, 1_000, 256, 17, 2, 1] {
        match read_plainly(note[..n].to_vec(), 48_000) {
            Err(Refusal::TooShort { sounds, needs }) => {
                assert!(sounds < needs && sounds <= 0.0501, "{n} samples")
            }
            // One sample or two are a constant.
            Err(Refusal::Silent) if n <= 2 => {}
            other => panic!("{n} samples: {other:?}"),
        }
    }
}

/// Values that are not numbers are counted, taken as silence, and do not reach the reading.
#[test]
fn values_that_are_not_numbers_are_counted() {
    let mut samples = a_note().samples;
    for (i, value) in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY].into_iter().enumerate() {
        samples[40_000 + 7 * i] = value;
    }
    let reading = read_plainly(samples, 48_000).expect("a note");
    assert!((reading.f0.get() - 330.0).abs() < 0.01, "{}", reading.f0.get());
    assert!(reading.warnings.contains(&Warning::NotFinite { count: 3 }), "{:?}", reading.warnings);
    let refused = read_plainly(vec![f32::NAN; 96_000], 48_000);
    assert!(matches!(refused, Err(Refusal::Silent | Refusal::NoTone)), "{refused:?}");
}

/// Clipping is counted and warned of; the pitch stays right, since clipping makes harmonics and moves none.
#[test]
fn clipping_is_counted() {
    for seed in 0..10 {
        let mut spec = random_natural(seed, 100.0, 800.0);
        spec.clip_at = Some(0.5);
        let rendered = spec.render(seed);
        let clipped = rendered.samples.iter().filter(|x| x.abs() >= 0.9999).count();
        let reading = read(&rendered.take(), &Expectation::default()).expect("a note");
        let (start, end) = (reading.steady.start.get(), reading.steady.end.get());
        let off = 1200.0 * (reading.f0.get() / rendered.truth.mean_pitch_as_read_hz(start, end)).log2();
        assert!(off.abs() < 0.1, "seed {seed}: {off}");
        let counted = reading.warnings.iter().find_map(|w| match w {
            Warning::Clipped { count } => Some(*count),
            _ => None,
        });
        assert!(counted.is_some_and(|c| 0 < c && c <= clipped), "seed {seed}: {counted:?} of {clipped}");
    }
}

/// A tone that slides all the time has no steady part: refused, or at least warned of, with the slide in the interval.
#[test]
fn note_without_a_steady_part_is_refused_or_doubted() {
    let mut phase = 0.0f64;
    let slide: Vec<f32> = (0..96_000)
        .map(|i| {
            phase += 330.0 * (0.5 * i as f64 / 48_000.0).exp2() / 48_000.0;
            (0.1 * (std::f64::consts::TAU * phase).sin()) as f32
        })
        .collect();
    match read_plainly(slide, 48_000) {
        Err(Refusal::NotSteady | Refusal::NoTone | Refusal::TooShort { .. }) => {}
        Err(other) => panic!("{other:?}"),
        Ok(reading) => assert!(
            reading.warnings.iter().any(|w| matches!(w, Warning::Wandering { .. }))
                && reading.uncertainty.get() > 5.0,
            "{:?}",
            reading.warnings
        ),
    }
}

/// Two unrelated notes as loud as each other: the reading says that another tone, or several reeds, sound.
#[test]
fn two_unrelated_notes_are_noticed() {
    for seed in 0..10 {
        let mut spec = random_natural(seed, 150.0, 600.0);
        spec.others.push(other_note(seed, &spec, 630.0, 0.0));
        let noticed = match read(&spec.render(seed).take(), &Expectation::default()) {
            Err(_) => true,
            Ok(reading) => {
                let is_warned =
                    |w: &Warning| matches!(w, Warning::OtherTone { .. } | Warning::SeveralReeds { .. });
                reading.reeds.len() > 1 || reading.warnings.iter().any(is_warned)
            }
        };
        assert!(noticed, "seed {seed}");
    }
}

/// Every rate: what the card cannot mean is refused, what it can is read.
#[test]
fn rates_out_of_range_are_refused() {
    let samples = a_note().samples;
    for rate_hz in [0, 1, 7_999, 384_001, u32::MAX] {
        assert_eq!(read_plainly(samples.clone(), rate_hz), Err(Refusal::Rate { rate_hz }));
    }
    for rate_hz in [8_000, 11_025, 22_050, 96_000, 192_000, 384_000] {
        let spec =
            ToneSpec { snr_db: Some(50.0), ..ToneSpec::plain(rate_hz, 330.0, vec![1.0, 0.5, 0.3], 1.5) };
        let reading = read(&spec.render(3).take(), &Expectation::default()).expect("a note");
        assert!((reading.f0.get() - 330.0).abs() < 0.01, "{rate_hz} Hz: {}", reading.f0.get());
    }
}

/// Anything at all, as long as it is samples: 300 wild inputs, none panics, none gives a number that is not finite.
#[test]
fn wild_samples_never_panic() {
    for seed in 0..300 {
        let chance = &mut Chance::new(seed);
        let n = chance.log_between(1.0, 60_000.0) as usize;
        let scale = 10f64.powf(chance.between(-40.0, 38.0));
        let period = chance.log_between(2.0, 4_000.0) as usize;
        let kind = seed % 6;
        let samples: Vec<f32> = (0..n)
            .map(|i| match kind {
                0 => f32::from_bits(chance.bits() as u32),
                1 => (scale * chance.normal()) as f32,
                2 => {
                    if i % period == 0 {
                        1.0
                    } else {
                        0.0
                    }
                }
                3 => {
                    if (i / period.max(1)).is_multiple_of(2) {
                        1.0
                    } else {
                        -1.0
                    }
                }
                4 => (scale * (i as f64 / period as f64).sin()) as f32,
                _ => {
                    if i < n / 2 {
                        0.0
                    } else {
                        (i as f32 * 0.05).sin()
                    }
                }
            })
            .collect();
        if let Ok(reading) = read_plainly(samples, 8_000 + (seed as u32 * 977) % 90_000) {
            assert!(reading.f0.get().is_finite() && reading.uncertainty.get().is_finite(), "seed {seed}");
            assert!(reading.uncertainty.get() >= 0.0 && reading.level.get().is_finite(), "seed {seed}");
        }
    }
}

/// A slow stop has no free ring: the tail says so and is no sign of a leak.
#[test]
fn slow_stop_gives_no_tail_tone() {
    for seed in 0..20 {
        let mut spec = random_natural(seed, 80.0, 1000.0);
        spec.tail = Tail::Fade(0.8);
        let tail = read(&spec.render(seed).take(), &Expectation::default()).expect("a note").tail;
        assert!(matches!(tail, platenote::analysis::Tail::NotMeasured(_)), "seed {seed}: {tail:?}");
    }
}

/// Only a tail, only an attack, a note cut in the middle: read or refused, but finite.
#[test]
fn pieces_of_a_take_are_read_or_refused() {
    for seed in 0..10 {
        let mut spec = random_natural(seed, 80.0, 1000.0);
        spec.opposite = Some(natural_opposite(seed, &spec, 10.0, -20.0));
        let take = spec.render(seed).take();
        let n = take.samples.len();
        for (from, to) in [(0, n / 3), (n / 3, n / 2), (n / 2, n), (9 * n / 10, n), (n / 20, n / 8)] {
            if let Ok(reading) = read_plainly(take.samples[from..to].to_vec(), take.rate_hz) {
                assert!(reading.f0.get().is_finite() && reading.uncertainty.get().is_finite(), "seed {seed}");
            }
        }
    }
}
