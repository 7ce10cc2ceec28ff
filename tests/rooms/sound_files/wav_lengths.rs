//! Files cut short, streamed without a length, or without sound.

use super::bytes::*;
use super::{assert_tone, read_bytes};

fn claiming(size: u32, data: &[u8]) -> Vec<u8> {
    riff(&[chunk(b"fmt ", &plain().0), sized_chunk(b"data", size, data)])
}

#[test]
fn a_file_cut_short_is_used_and_remarked() {
    let sound = tone(44_100, 3.0);
    let whole = wav(plain().0, &integers(&sound, 2, 16));
    for (what, bytes) in [("whole frames", 2 * 55_125), ("mid-sample", 2 * 55_125 + 1)] {
        let take = read_bytes("take.wav", &whole[..44 + bytes]).unwrap();
        assert_tone(what, &take, &sound[..55_125], 1.0 / 32_768.0);
        assert_eq!(take.remarks, ["the file is cut short: it says 3.00 s, 1.25 s are there"], "{what}");
    }
}

#[test]
fn a_stereo_file_cut_mid_frame_keeps_its_channels_apart() {
    let left = tone(8_000, 1.0);
    let both: Vec<f64> = left.iter().flat_map(|&s| [s, 0.0]).collect();
    let whole = wav(format(1, 2, 8_000, 2, 16), &integers(&both, 2, 16));
    let take = read_bytes("take.wav", &whole[..44 + 4 * 4_000 + 2]).unwrap();
    assert_tone("left", &take, &left[..4_000], 1.0 / 32_768.0);
}

#[test]
fn streams_without_a_length_are_read_to_the_end() {
    let data = plain().1;
    for size in [0xFFFF_FFFF, 0x7FFF_F000, 0] {
        let take = read_bytes("take.wav", &claiming(size, &data)).unwrap();
        assert_tone("streamed", &take, &tone(44_100, 1.0), 1.0 / 32_768.0);
        assert_eq!(take.remarks, Vec::<String>::new(), "nothing is missing from a stream");
    }
}

#[test]
fn no_samples_give_an_empty_take() {
    let after = riff(&[chunk(b"fmt ", &plain().0), chunk(b"data", &[]), chunk(b"LIST", b"INFO")]);
    for file in [wav(plain().0, &[]), after] {
        let take = read_bytes("take.wav", &file).unwrap();
        assert_eq!((take.samples.len(), take.rate_hz), (0, 44_100));
    }
}

#[test]
fn a_last_part_of_a_frame_is_left_out() {
    let data = [plain().1, vec![1]].concat();
    let take = read_bytes("take.wav", &wav(plain().0, &data)).unwrap();
    assert_tone("odd byte", &take, &tone(44_100, 1.0), 1.0 / 32_768.0);
}

#[test]
fn a_file_of_doubles_cut_short_is_used_too() {
    let sound = tone(16_000, 1.0);
    let doubles: Vec<u8> = sound.iter().flat_map(|s| s.to_le_bytes()).collect();
    let whole = wav(format(3, 1, 16_000, 8, 64), &doubles);
    let take = read_bytes("take.wav", &whole[..44 + 8 * 8_000]).unwrap();
    assert!((7_000..=8_000).contains(&take.samples.len()), "{} frames", take.samples.len());
    assert_tone("the first half", &take, &sound[..take.samples.len()], 1.0 / 16_777_216.0);
    assert!(take.remarks[0].starts_with("the file is cut short: it says 1.00 s"), "{:?}", take.remarks);
}
