//! Phone and recorder formats; the fixtures' origin stands in fixtures/README.md.

use super::bytes::*;
use super::{assert_tone, fixture, read_bytes};
use platenote::audio::read_file;
use platenote::take::Take;

/// Pitch near 440 Hz by counting the turn of the phase between two windows; a slow, plain road of its own.
fn pitch_hz(take: &Take) -> f64 {
    let rate = f64::from(take.rate_hz);
    let (len, hop) = ((0.1 * rate) as usize, (0.05 * rate) as usize);
    let start = (take.samples.len() - len - hop) / 2;
    let phase = |from: usize| {
        let (mut re, mut im) = (0.0, 0.0);
        for n in 0..len {
            let window = 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / len as f64).cos();
            let turn = std::f64::consts::TAU * 440.0 * (from + n) as f64 / rate;
            let sample = window * f64::from(take.samples[from + n]);
            re += sample * turn.cos();
            im -= sample * turn.sin();
        }
        im.atan2(re)
    };
    let turned = (phase(start + hop) - phase(start)).rem_euclid(std::f64::consts::TAU);
    let turned = if turned > std::f64::consts::PI { turned - std::f64::consts::TAU } else { turned };
    440.0 + turned / std::f64::consts::TAU / (hop as f64 / rate)
}

#[test]
fn lossless_files_give_every_sample() {
    for (name, rate_hz, seconds) in [
        ("tone-440hz.flac", 16_000, 0.5),
        ("tone-440hz-alac.m4a", 16_000, 0.25),
        ("tone-440hz.aiff", 8_000, 0.5),
        ("tone-440hz.caf", 8_000, 0.5),
    ] {
        let take = read_file(&fixture(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
        // 16 bits, and the resampler that made the 8 kHz ones leaves a ripple of a few per cent and a short run-in.
        if rate_hz == 16_000 {
            assert_tone(name, &take, &tone(rate_hz, seconds), 1.5 / 32_768.0);
        }
        assert_eq!(
            (take.rate_hz, take.samples.len()),
            (rate_hz, (f64::from(rate_hz) * seconds) as usize),
            "{name}"
        );
        assert!((pitch_hz(&take) - 440.0).abs() < 0.01, "{name}: {} Hz", pitch_hz(&take));
        assert_eq!((take.lossy, &take.remarks), (false, &vec![]), "{name}");
    }
}

/// Length: a coder's delay and padding may add up to 2,112 frames of priming and one packet of 1,024 (AAC; from memory).
#[test]
fn lossy_files_are_read_and_marked() {
    for name in ["tone-440hz.m4a", "tone-440hz.mp3", "tone-440hz.ogg", "tone-440hz-adpcm.wav"] {
        let take = read_file(&fixture(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(take.rate_hz, 16_000, "{name}");
        let extra = take.samples.len() as i64 - 8_000;
        assert!((-64..=3_136).contains(&extra), "{name}: {extra} frames more than were put in");
        // 0.1 Hz is 0.4 cents: so low a bit rate bends the phase of so short a tone a little.
        assert!((pitch_hz(&take) - 440.0).abs() < 0.1, "{name}: {} Hz", pitch_hz(&take));
        assert_eq!((take.lossy, &take.remarks), (true, &vec![]), "{name}");
    }
}

#[test]
fn the_wrong_extension_does_no_harm() {
    let bytes = std::fs::read(fixture("tone-440hz.m4a")).unwrap();
    let right = read_file(&fixture("tone-440hz.m4a")).unwrap();
    assert_eq!(read_bytes("take.mp3", &bytes).unwrap(), right);
    let (format, data) = plain();
    assert_tone(
        "wav named m4a",
        &read_bytes("take.m4a", &wav(format, &data)).unwrap(),
        &tone(44_100, 1.0),
        1e-4,
    );
}

#[test]
fn a_law_and_mu_law_are_lossy() {
    // 0xD5 is A-law's smallest positive step, 0xFF is mu-law's zero (G.711, from memory).
    for (tag, byte) in [(6, 0xD5), (7, 0xFF)] {
        let take =
            read_bytes("take.wav", &wav([format(tag, 1, 8_000, 1, 8), vec![0, 0]].concat(), &[byte; 800]))
                .unwrap();
        assert_eq!((take.samples.len(), take.lossy), (800, true));
        assert!(take.samples.iter().all(|s| s.abs() < 0.001), "{:?}", take.samples.first());
    }
}

#[test]
fn coded_files_cut_short_give_what_is_there() {
    for name in ["tone-440hz.mp3", "tone-440hz.flac", "tone-440hz.ogg", "tone-440hz.aiff"] {
        let bytes = std::fs::read(fixture(name)).unwrap();
        let whole = read_bytes(name, &bytes).unwrap();
        let take =
            read_bytes(name, &bytes[..bytes.len() * 85 / 100]).unwrap_or_else(|e| panic!("{name}: {e}"));
        let share = take.samples.len() as f64 / whole.samples.len() as f64;
        assert!((0.2..0.95).contains(&share), "{name}: {share}");
        // Ogg and MP3 without their end do not say how long they were; the others do.
        let says = name.ends_with("flac") || name.ends_with("aiff");
        let remarked = take.remarks.iter().any(|remark| remark.contains("cut short"));
        assert!(remarked || !says, "{name}: {:?}", take.remarks);
    }
    // The decoder does not get into these without their end: refused in words.
    for name in ["tone-440hz.m4a", "tone-440hz.caf"] {
        let bytes = std::fs::read(fixture(name)).unwrap();
        let error = read_bytes(name, &bytes[..bytes.len() / 2]).unwrap_err();
        assert!(error.to_string().contains("cannot be read as sound"), "{name}: {error}");
    }
}
