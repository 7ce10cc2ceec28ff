//! Short pieces of the takes, to be played from the report.

use super::{Evaluation, PassView};
use crate::analysis::Reading;
use crate::audio;
use crate::instrument::{Instrument, ReedPlace};
use crate::judgement::{Tune, Verdict};
use crate::report::Clip;
use crate::take::Take;

/// How long a clip is, s: long enough to hear the tone, short enough for a telephone.
const LENGTH_S: f64 = 1.0;
/// Faded in and out over this, s, so that it does not click.
const FADE_S: f64 = 0.01;

/// Clips of the takes that speak, reeds of leaking and suspect valves first, then those to be tuned, then the rest, each
/// in both passes, until `limit_bytes` are full; and how many were left out.
pub(super) fn of(instrument: &Instrument, told: &Evaluation, limit_bytes: usize) -> (Vec<Clip>, usize) {
    let mut reeds: Vec<(u8, ReedPlace)> =
        instrument.reeds().map(|(reed, _)| (rank(instrument, told, &reed), reed)).collect();
    reeds.sort_by_key(|(rank, _)| *rank);
    let mut clips = Vec::new();
    let (mut bytes, mut left_out) = (0, 0);
    for (_, reed) in reeds {
        for pass in told.shown() {
            let Some(Ok(reading)) = pass.readings.readings.get(&reed) else { continue };
            if bytes >= limit_bytes {
                left_out += 1;
                continue;
            }
            match clip(pass, &reed, reading) {
                Some(wav) if bytes + wav.len() <= limit_bytes => {
                    bytes += wav.len();
                    clips.push(Clip { reed: reed.clone(), pass: pass.name().to_owned(), wav });
                }
                _ => left_out += 1,
            }
        }
    }
    (clips, left_out)
}

/// 0 where a leak is to be heard, 1 where the reed is to be tuned, 2 else.
fn rank(instrument: &Instrument, told: &Evaluation, reed: &ReedPlace) -> u8 {
    let findings = || told.shown().map(|view| &view.findings);
    let tested = instrument.valve_tested_by(reed).map(|(valve, _)| valve);
    let leaks = findings().flat_map(|found| &found.valves).any(|valve| {
        Some(&valve.place) == tested.as_ref() && matches!(valve.verdict, Verdict::Leaks | Verdict::Suspect)
    });
    let is_off = findings().flat_map(|found| &found.reeds).any(|found| {
        found.place == *reed
            && found.pitch.as_ref().is_ok_and(|pitch| !matches!(pitch.tune, Some(Tune::Leave)))
    });
    if leaks { 0 } else { 2 - u8::from(is_off) }
}

/// The one that came of decoding for another reason, or the take is decoded for it.
fn clip(pass: &PassView, reed: &ReedPlace, reading: &Reading) -> Option<Vec<u8>> {
    if let Some(wav) = pass.clips.get(reed) {
        return Some(wav.clone());
    }
    cut(&audio::read_file(&pass.takes.get(reed)?.path).ok()?, reading)
}

/// The middle of the steady stretch, as a whole WAV file.
pub(super) fn cut(take: &Take, reading: &Reading) -> Option<Vec<u8>> {
    let rate = f64::from(take.rate_hz);
    let (from, to) = (reading.steady.start.get(), reading.steady.end.get());
    let start = (0.5 * (from + to - LENGTH_S)).max(0.0);
    let first = (start * rate) as usize;
    let last = first + (LENGTH_S * rate) as usize;
    let mut samples = take.samples.get(first..last.min(take.samples.len()))?.to_vec();
    let n_fade = (FADE_S * rate) as usize;
    let n_samples = samples.len();
    for (k, sample) in samples.iter_mut().enumerate() {
        let from_edge = k.min(n_samples - 1 - k);
        if from_edge < n_fade {
            *sample *= from_edge as f32 / n_fade as f32;
        }
    }
    audio::clip_bytes(&samples, take.rate_hz).ok()
}
