//! Sample kinds and header shapes.

use super::bytes::*;
use super::{assert_tone, read_bytes};

/// Half a step of quantisation, and as much again for storing the value as a 32-bit float.
fn step(bits: i32) -> f64 {
    0.5001 * 2_f64.powi(1 - bits) + 2_f64.powi(-25)
}

#[test]
fn integers_of_every_width() {
    let sound = tone(44_100, 1.0);
    for (bytes, bits) in [(1, 8), (2, 16), (3, 24), (4, 32)] {
        let data = integers(&sound, bytes, bits);
        let (wide, narrow) = (bytes as u16, bits as u16);
        for (shape, format) in [
            ("plain", format(1, 1, 44_100, wide, narrow)),
            ("extensible", extensible(1, 1, 44_100, wide, narrow)),
            ("18-byte format", [format(1, 1, 44_100, wide, narrow), vec![0, 0]].concat()),
            ("20-byte format", [format(1, 1, 44_100, wide, narrow), vec![0; 4]].concat()),
        ] {
            let what = format!("{bits} bits, {shape}");
            let take = read_bytes("take.wav", &wav(format, &data)).unwrap();
            assert_tone(&what, &take, &sound, step(bits as i32));
            assert_eq!((take.rate_hz, take.lossy, take.remarks.len()), (44_100, false, 0), "{what}");
        }
    }
}

#[test]
fn fewer_valid_bits_than_the_container_holds() {
    let sound = tone(44_100, 1.0);
    for (bytes, valid) in [(2, 12), (3, 20), (4, 24), (4, 20)] {
        let data = integers(&sound, bytes, valid);
        let file = wav(extensible(1, 1, 44_100, bytes as u16, valid as u16), &data);
        let take = read_bytes("take.wav", &file).unwrap();
        assert_tone(&format!("{valid} in {}", 8 * bytes), &take, &sound, step(valid as i32));
    }
    let take = read_bytes("take.wav", &wav(format(1, 1, 44_100, 2, 12), &integers(&sound, 2, 12))).unwrap();
    assert_tone("12 in 16, plain tag", &take, &sound, step(12));
}

#[test]
fn twenty_four_bits_in_four_bytes_under_the_plain_tag() {
    let sound = tone(44_100, 1.0);
    let mut data = Vec::new();
    for sample in &sound {
        data.extend(((sample * 8_388_608.0).round() as i32).to_le_bytes()); // The low three bytes count.
    }
    let take = read_bytes("take.wav", &wav(format(1, 1, 44_100, 4, 24), &data)).unwrap();
    assert_tone("24 in 4 bytes", &take, &sound, step(24));
}

#[test]
fn floats_of_both_widths() {
    let sound = tone(44_100, 1.0);
    let doubles: Vec<u8> = sound.iter().flat_map(|s| s.to_le_bytes()).collect();
    for (what, file) in [
        ("float32", wav(format(3, 1, 44_100, 4, 32), &floats(&sound))),
        ("float32 with size", wav([format(3, 1, 44_100, 4, 32), vec![0, 0]].concat(), &floats(&sound))),
        ("float32 extensible", wav(extensible(3, 1, 44_100, 4, 32), &floats(&sound))),
        ("float64", wav(format(3, 1, 44_100, 8, 64), &doubles)),
        ("float64 extensible", wav(extensible(3, 1, 44_100, 8, 64), &doubles)),
    ] {
        let take = read_bytes("take.wav", &file).unwrap();
        assert_tone(what, &take, &sound, 2_f64.powi(-24));
    }
}

#[test]
fn values_that_are_no_numbers_are_kept_for_the_analysis() {
    let odd = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 5.0];
    let data: Vec<u8> = odd.iter().flat_map(|s| s.to_le_bytes()).collect();
    let take = read_bytes("take.wav", &wav(format(3, 1, 48_000, 4, 32), &data)).unwrap();
    assert!(take.samples[0].is_nan());
    assert_eq!(take.samples[1..], odd[1..]);
}

#[test]
fn every_rate_from_8_to_384_khz() {
    for rate_hz in [8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 88_200, 96_000, 192_000, 384_000] {
        let sound = tone(rate_hz, 0.25);
        let file = wav(format(1, 1, rate_hz, 2, 16), &integers(&sound, 2, 16));
        let take = read_bytes("take.wav", &file).unwrap();
        assert_eq!(take.rate_hz, rate_hz);
        assert_tone("rate", &take, &sound, step(16));
    }
}

#[test]
fn rates_outside_are_refused_with_the_number() {
    for rate_hz in [0, 1, 7_999, 384_001, 4_000_000_000] {
        let file = wav(format(1, 1, rate_hz, 2, 16), &plain().1);
        let error = read_bytes("take.wav", &file).unwrap_err();
        assert!(error.to_string().contains(&format!("says {rate_hz} samples per second")), "{error}");
    }
}

#[test]
fn chunks_around_and_in_odd_order() {
    let (format, data) = plain();
    let (fmt, sound) = (chunk(b"fmt ", &format), chunk(b"data", &data));
    let note = chunk(b"LIST", b"INFOISFT\x06\0\0\0bench\0");
    let odd = chunk(b"junk", b"odd size");
    let unpadded = sized_chunk(b"junk", 7, b"seven b");
    assert_eq!(odd.len() % 2, 0);
    let odd_padded = chunk(b"note", b"five!");
    for (what, file) in [
        ("LIST before", riff(&[fmt.clone(), note.clone(), sound.clone()])),
        ("JUNK first", riff(&[odd.clone(), fmt.clone(), sound.clone()])),
        ("bext before", riff(&[chunk(b"bext", &[0; 602]), fmt.clone(), sound.clone()])),
        ("chunks after", riff(&[fmt.clone(), sound.clone(), note.clone(), odd_padded.clone()])),
        ("odd size, padded", riff(&[fmt.clone(), odd_padded.clone(), sound.clone()])),
        ("odd size, not padded", riff(&[fmt.clone(), unpadded, sound.clone()])),
        ("data before fmt", riff(&[sound.clone(), fmt.clone()])),
        (
            "chunk past the end, after",
            riff(&[fmt.clone(), sound.clone(), sized_chunk(b"LIST", 4_000, b"short")]),
        ),
    ] {
        let take = read_bytes("take.wav", &file).unwrap_or_else(|e| panic!("{what}: {e}"));
        assert_tone(what, &take, &tone(44_100, 1.0), step(16));
        assert_eq!(take.remarks, Vec::<String>::new(), "{what}");
    }
}

#[test]
fn wrong_figures_that_do_no_harm() {
    let (right, data) = plain();
    let with = |at: usize, bytes: &[u8]| {
        let mut format = right.clone();
        format[at..at + bytes.len()].copy_from_slice(bytes);
        wav(format, &data)
    };
    let mut small = wav(right.clone(), &data);
    small[4..8].copy_from_slice(&1_000_u32.to_le_bytes());
    for (what, file) in [
        ("byte rate wrong", with(8, &12_345_u32.to_le_bytes())),
        ("block align too large", with(12, &8_u16.to_le_bytes())),
        ("block align 0", with(12, &0_u16.to_le_bytes())),
        ("RIFF size too small", small),
    ] {
        let take = read_bytes("take.wav", &file).unwrap_or_else(|e| panic!("{what}: {e}"));
        assert_tone(what, &take, &tone(44_100, 1.0), step(16));
    }
}

#[test]
fn a_second_data_chunk_is_left_out_and_remarked() {
    let (format, data) = plain();
    let file = riff(&[chunk(b"fmt ", &format), chunk(b"data", &data), chunk(b"data", &data)]);
    let take = read_bytes("take.wav", &file).unwrap();
    assert_tone("first stretch", &take, &tone(44_100, 1.0), step(16));
    assert_eq!(take.remarks, ["the file holds a second stretch of sound, which was left out"]);
}

#[test]
fn kinds_not_read_here_are_named_with_what_to_do() {
    let (fmt, data) = plain();
    let like = |head: &[u8]| [head, &wav(fmt.clone(), &data)[head.len()..]].concat();
    let opus = std::fs::read(super::fixture("tone-440hz.opus")).unwrap();
    for (name, file, kind) in [
        ("take.wav", like(b"RF64"), "an RF64 file"),
        ("take.wav", like(b"BW64"), "a BW64 file"),
        ("take.wav", like(b"RIFX"), "a big-endian WAV file"),
        ("take.w64", like(b"riff\x2E\x91\xCF\x11"), "a Wave64 file"),
        ("take.au", like(b".snd"), "an AU file"),
        ("take.amr", b"#!AMR\n\x3C\x08".to_vec(), "an AMR file"),
        ("take.wma", like(b"\x30\x26\xB2\x75\x8E\x66\xCF\x11"), "a Windows Media file"),
        ("take.opus", opus, "a file coded with Opus"),
        ("take.wav", wav(format(1, 1, 44_100, 8, 64), &data), "a WAV file with samples of 64 bits"),
        ("take.wav", wav(format(3, 1, 44_100, 2, 16), &data), "a WAV file with samples of 16 bits"),
    ] {
        let error = read_bytes(name, &file).unwrap_err();
        let words = error.to_string();
        assert!(words.contains(kind) && words.contains(name), "{kind}: {words}");
        assert!(error.next().contains("convert it to WAV"), "{kind}: {}", error.next());
    }
}

#[test]
fn what_is_no_sound_is_refused_in_words() {
    let (fmt, data) = plain();
    for (what, file, words) in [
        ("empty", vec![], "is empty: 0 bytes"),
        ("text", b"Buy valves, leather, 38 mm.\n".repeat(50), "cannot be read as sound"),
        ("12 bytes", riff(&[]), "without a format chunk"),
        ("no data", riff(&[chunk(b"fmt ", &fmt)]), "without a data chunk"),
        ("no format", riff(&[chunk(b"data", &data)]), "without a format chunk"),
        (
            "short format",
            riff(&[chunk(b"fmt ", &fmt[..10]), chunk(b"data", &data)]),
            "without a format chunk",
        ),
        ("0 channels", wav(format(1, 0, 44_100, 2, 16), &data), "0 channels"),
        (
            "MP3 in WAV",
            wav([format(0x55, 1, 44_100, 1, 0), vec![0, 0]].concat(), &data),
            "cannot be read as sound",
        ),
        (
            "GSM in WAV",
            wav([format(0x31, 1, 8_000, 1, 0), vec![0, 0]].concat(), &data),
            "cannot be read as sound",
        ),
    ] {
        let error = read_bytes("take.wav", &file).expect_err(what).to_string();
        assert!(error.contains(words), "{what}: {error}");
    }
}

#[test]
fn a_folder_and_a_missing_file_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let error = platenote::audio::read_file(dir.path()).unwrap_err().to_string();
    assert!(error.contains("is not a file"), "{error}");
    let error = platenote::audio::read_file(&dir.path().join("gone.wav")).unwrap_err().to_string();
    assert!(error.contains("cannot read") && error.contains("gone.wav"), "{error}");
}
