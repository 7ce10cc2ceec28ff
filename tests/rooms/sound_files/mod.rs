//! Sound files as recorders, phones and pipes write them, and as damage leaves them: each row one assertion.

mod bytes;
mod channels;
mod coded;
mod hostile;
mod wav_kinds;
mod wav_lengths;

use std::path::PathBuf;

use platenote::audio::{self, SoundError, read_file};
use platenote::take::Take;

/// Write `bytes` as a file and read it as a take.
fn read_bytes(name: &str, bytes: &[u8]) -> Result<Take, SoundError> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    read_file(&path)
}

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

/// Every sample within `step` of the tone.
#[track_caller]
fn assert_tone(what: &str, take: &Take, wanted: &[f64], step: f64) {
    assert_eq!(take.samples.len(), wanted.len(), "{what}: length");
    let worst =
        take.samples.iter().zip(wanted).map(|(&got, want)| (f64::from(got) - want).abs()).fold(0.0, f64::max);
    assert!(worst <= step, "{what}: off by {worst}, allowed {step}");
}

#[test]
fn a_written_take_comes_back_bit_for_bit() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("take.wav");
    let mut samples: Vec<f32> = bytes::tone(48_000, 0.1).iter().map(|&s| s as f32).collect();
    samples.extend([f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 5.0, -0.0, f32::MIN_POSITIVE]);
    let take = Take::new(samples, 48_000);
    audio::write_wav(&path, &take).unwrap();
    let back = read_file(&path).unwrap();
    let bits = |take: &Take| take.samples.iter().map(|s| s.to_bits()).collect::<Vec<_>>();
    assert_eq!((bits(&take), take.rate_hz), (bits(&back), back.rate_hz));
    assert_eq!((back.remarks, back.lossy), (vec![], false));
}

#[test]
fn a_take_without_samples_comes_back_too() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("take.wav");
    audio::write_wav(&path, &Take::new(vec![], 44_100)).unwrap();
    assert_eq!(read_file(&path).unwrap(), Take::new(vec![], 44_100));
}

#[test]
fn a_take_that_cannot_be_written_says_where() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("no-such-folder").join("take.wav");
    let error = audio::write_wav(&path, &Take::new(vec![0.5], 44_100)).unwrap_err();
    assert!(error.to_string().contains("no-such-folder"), "{error}");
}
