//! Headers that lie and bytes that make no sense: no panic, and memory stays with the file's size.

use super::bytes::*;
use super::{fixture, read_bytes};

#[cfg(target_os = "linux")]
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// All files here are below 1 MB, so 64 MB more is generous and 4 GB, or 65,535 channels' worth, is not.
#[test]
#[cfg(target_os = "linux")]
fn what_a_header_claims_is_not_allocated() {
    let before = peak_kb();
    let data = plain().1;
    for (what, file) in [
        ("4 GB of data", riff(&[chunk(b"fmt ", &plain().0), sized_chunk(b"data", 0x7FFF_0000, &data)])),
        ("4 GB of notes", riff(&[sized_chunk(b"LIST", 0xFFFF_FFF0, &data)])),
        ("4 GB of format", riff(&[sized_chunk(b"fmt ", 0xFFFF_FFF0, &plain().0), chunk(b"data", &data)])),
        ("65535 channels", wav(format(1, 65_535, 48_000, 2, 16), &data)),
        (
            "65535 channels of a lossy kind",
            wav([format(2, 65_535, 48_000, 2, 4), vec![0; 34]].concat(), &data),
        ),
        (
            "huge blocks of a lossy kind",
            wav([format(0x11, 1, 48_000, 65_535, 4), vec![2, 0, 255, 255]].concat(), &data),
        ),
        ("256 channels", wav(format(1, 256, 384_000, 2, 16), &data)),
    ] {
        let _ = read_bytes("take.wav", &file);
        let grown = peak_kb().saturating_sub(before);
        assert!(grown < 64_000, "{what}: {grown} kB more");
    }
}

#[test]
fn many_channels_are_refused_with_the_number() {
    let file = wav(format(1, 65_535, 48_000, 2, 16), &plain().1);
    let error = read_bytes("take.wav", &file).unwrap_err().to_string();
    assert!(error.contains("says 65535 channels, and 1 to 256 are read"), "{error}");
}

/// Seeded damage to every fixture: bytes changed, cut, doubled. Whatever comes of it, nothing panics.
#[test]
fn damaged_bytes_never_panic() {
    let mut seed = 20_251_125_u64;
    let mut dice = |sides: usize| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((seed >> 33) as usize) % sides.max(1)
    };
    let (format, data) = plain();
    let mut files = vec![("take.wav".to_owned(), wav(format, &data[..2_000]))];
    for entry in std::fs::read_dir(fixture("")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if name.starts_with("tone-") {
            files.push((name, std::fs::read(&path).unwrap()));
        }
    }
    files.sort();
    assert!(files.len() >= 9, "{} files", files.len());
    let dir = tempfile::tempdir().unwrap();
    let rounds = std::env::var("PLATENOTE_DAMAGE_ROUNDS").ok().and_then(|n| n.parse().ok()).unwrap_or(150);
    for (name, whole) in &files {
        let path = dir.path().join(name);
        for round in 0..rounds {
            let mut bytes = whole.clone();
            for _ in 0..=dice(8) {
                let reach = if dice(2) == 0 { 200.min(bytes.len()) } else { bytes.len() };
                let at = dice(reach);
                bytes[at] = if dice(3) == 0 { [0, 0xFF, 0x7F, 0x80][dice(4)] } else { dice(256) as u8 };
            }
            match dice(6) {
                0 => bytes.truncate(dice(whole.len()) + 1),
                1 => bytes.extend_from_within(dice(whole.len())..),
                _ => {}
            }
            std::fs::write(&path, &bytes).unwrap();
            let read = std::panic::catch_unwind(|| platenote::audio::read_file(&path).map(drop));
            assert!(read.is_ok(), "{name}, round {round}: panicked");
        }
    }
}
