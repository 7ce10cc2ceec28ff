//! Inputs that once went wrong, or that were made to: each with what a person saw.

use platenote::audio::read_file;

fn read(name: &str, bytes: &[u8]) -> Result<platenote::take::Take, platenote::audio::SoundError> {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join(name);
    std::fs::write(&file, bytes).unwrap();
    read_file(&file)
}

/// A plain WAV of mono 16 bits with the rate and channels told.
fn wav(channels: u16, rate_hz: u32, told_bytes: u32) -> Vec<u8> {
    let mut bytes = b"RIFF".to_vec();
    bytes.extend(told_bytes.to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x01\0");
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate_hz.to_le_bytes());
    bytes.extend(rate_hz.wrapping_mul(2).to_le_bytes());
    bytes.extend(b"\x02\0\x10\0data");
    bytes.extend(told_bytes.to_le_bytes());
    bytes.extend([0, 1].repeat(500));
    bytes
}

#[test]
fn rates_of_1_hz_and_4_ghz_are_refused_by_number() {
    for rate_hz in [0, 1, 4_000_000_000, u32::MAX] {
        let error = read("take.wav", &wav(1, rate_hz, 1_000)).unwrap_err().to_string();
        assert!(error.contains(&format!("says {rate_hz} samples per second")), "{error}");
    }
}

#[test]
fn a_header_that_promises_4_gb_gives_what_is_there() {
    let take = read("take.wav", &wav(1, 48_000, 0xFFFF_0000)).unwrap();
    assert_eq!(take.samples.len(), 500);
}

/// Boxes of an MP4 that hold themselves, have no length, or go on for ever.
#[test]
fn an_m4a_that_leads_round_in_a_ring_comes_to_an_end() {
    let whole = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/tone-440hz.m4a")).unwrap();
    let begun = std::time::Instant::now();
    for name in
        [b"moov", b"trak", b"mdia", b"minf", b"stbl", b"stts", b"stsc", b"stsz", b"stco", b"mdat", b"free"]
    {
        let Some(at) = whole.windows(4).position(|four| four == name).filter(|&at| at >= 4) else { continue };
        for size in [0_u32, 1, 7, 8, 0x7FFF_FFFF, u32::MAX] {
            let mut bytes = whole.clone();
            bytes[at - 4..at].copy_from_slice(&size.to_be_bytes());
            let _ = read("take.m4a", &bytes);
            // Counts inside the box: of entries, of samples to each, of offsets.
            for field in [at + 8, at + 12, at + 16] {
                let mut bytes = whole.clone();
                if let Some(there) = bytes.get_mut(field..field + 4) {
                    there.copy_from_slice(&size.to_be_bytes());
                    let _ = read("take.m4a", &bytes);
                }
            }
        }
    }
    assert!(begun.elapsed() < std::time::Duration::from_secs(60), "{:?}", begun.elapsed());
}

/// A name of a sound file with dots that climb is only a name.
#[test]
fn a_file_name_that_climbs_is_only_a_name() {
    let plan = platenote::job::Template::Bass24.to_toml();
    let bass = platenote::job::Plan::parse(&plan, std::path::Path::new("p")).unwrap().instrument;
    for name in ["../../A7 press", "..", "/etc/A7 press", "A7 press/.."] {
        if let Ok(place) = platenote::alignment::place_by_name(name, &bass) {
            assert_eq!(place.to_string(), "bass A7 press");
        }
    }
}

/// The decoder made room for 8.6 GB for a file of 8 kB.
#[test]
fn a_caf_that_claims_packets_of_4_gb_is_refused() {
    let mut bytes = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/tone-440hz.caf")).unwrap();
    bytes[36..40].copy_from_slice(&[0xFF; 4]);
    let error = read("take.caf", &bytes).unwrap_err().to_string();
    assert!(error.contains("it says packets of 4294967295 bytes"), "{error}");
}
