//! The channel that is used, and what is said about it.

use super::bytes::*;
use super::{assert_tone, read_bytes};
use platenote::take::Take;

fn read_channels(channels: &[Vec<f64>]) -> Take {
    let frames = channels[0].len();
    let woven: Vec<f64> = (0..frames).flat_map(|n| channels.iter().map(move |channel| channel[n])).collect();
    let file = wav(format(3, channels.len() as u16, 16_000, 4, 32), &floats(&woven));
    read_bytes("take.wav", &file).unwrap()
}

fn scaled(sound: &[f64], factor: f64) -> Vec<f64> {
    sound.iter().map(|s| s * factor).collect()
}

/// Seeded noise, even between -1 and 1.
fn noise(len: usize, mut seed: u64) -> Vec<f64> {
    let mut next = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    };
    (0..len).map(|_| next()).collect()
}

fn added(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

const EXACT: f64 = 1.0 / 16_777_216.0;

#[test]
fn opposite_channels_do_not_cancel() {
    let sound = tone(16_000, 1.0);
    let take = read_channels(&[sound.clone(), scaled(&sound, -1.0)]);
    assert_tone("left as it is", &take, &sound, EXACT);
    assert_eq!(take.remarks, ["2 of 2 channels carry sound of their own; channel 1, the clearest, was used"]);
}

#[test]
fn a_silent_channel_is_passed_over_without_a_word() {
    let sound = tone(16_000, 1.0);
    let take = read_channels(&[vec![0.0; sound.len()], sound.clone()]);
    assert_tone("right", &take, &sound, EXACT);
    assert_eq!(take.remarks, Vec::<String>::new());
}

#[test]
fn a_channel_that_copies_another_is_nothing_to_remark() {
    let sound = tone(16_000, 1.0);
    let take = read_channels(&[sound.clone(), sound.clone()]);
    assert_tone("left", &take, &sound, EXACT);
    assert_eq!(take.remarks, Vec::<String>::new());
}

#[test]
fn the_louder_of_two_equally_clear_channels() {
    let sound = tone(16_000, 1.0);
    let take = read_channels(&[scaled(&sound, 0.2), sound.clone(), scaled(&sound, 0.5)]);
    assert_tone("second", &take, &sound, EXACT);
    assert_eq!(take.remarks.len(), 1);
}

#[test]
fn the_tone_before_louder_noise() {
    let sound = scaled(&tone(16_000, 1.0), 0.1);
    let take = read_channels(&[noise(sound.len(), 7), sound.clone()]);
    assert_tone("the tone", &take, &sound, EXACT);
}

#[test]
fn the_clearer_of_two_noisy_channels_though_softer() {
    let sound = tone(16_000, 1.0);
    let far = added(&sound, &scaled(&noise(sound.len(), 3), 0.1));
    let near = added(&scaled(&sound, 0.5), &scaled(&noise(sound.len(), 4), 0.001));
    let take = read_channels(&[far, near.clone()]);
    assert_tone("the near one", &take, &near, EXACT);
}

#[test]
fn an_unclipped_channel_before_a_louder_clipped_one() {
    let sound = tone(16_000, 1.0);
    let hum = scaled(&noise(sound.len(), 5), 0.001);
    let clipped: Vec<f64> = added(&scaled(&sound, 4.0), &hum).iter().map(|s| s.clamp(-1.0, 1.0)).collect();
    let clean = added(&scaled(&sound, 0.3), &hum);
    let take = read_channels(&[clipped, clean.clone()]);
    assert_tone("the unclipped one", &take, &clean, EXACT);
}

#[test]
fn channels_of_noise_alone_give_the_loudest() {
    let channels = [scaled(&noise(8_000, 1), 0.1), scaled(&noise(8_000, 2), 0.3)];
    assert_tone("the loudest", &read_channels(&channels), &channels[1], EXACT);
}

#[test]
fn six_channels_at_96_khz() {
    let sound = tone(96_000, 0.5);
    let woven: Vec<f64> = sound.iter().flat_map(|&s| [0.0, 0.0, 0.0, s, 0.0, 0.0]).collect();
    let file = wav(extensible(1, 6, 96_000, 3, 24), &integers(&woven, 3, 24));
    assert_tone("the fourth", &read_bytes("take.wav", &file).unwrap(), &sound, 1.0 / 8_388_608.0);
}

#[test]
fn a_stereo_file_shorter_than_one_spectrum_block() {
    let sound = tone(16_000, 0.02);
    let take = read_channels(&[vec![0.0; sound.len()], sound.clone()]);
    assert_tone("right", &take, &sound, EXACT);
}
