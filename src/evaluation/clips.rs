//! Which takes are to be heard in the report, as far as its size allows.

use super::clip::cut;
use super::{Evaluation, PassView};
use crate::analysis::Reading;
use crate::audio;
use crate::instrument::{Instrument, ReedPlace};
use crate::job::Job;
use crate::judgement::{Tune, Verdict};
use crate::report::Clip;

impl Evaluation {
    /// Clips of the takes that speak until `limit_bytes` are full, and how many were left out.
    pub fn clips(&self, job: &Job, limit_bytes: usize) -> (Vec<Clip>, usize) {
        of(job.instrument(), self, limit_bytes)
    }
}

/// Clips of the takes that speak, reeds of leaking and suspect valves first, then those to be tuned, then the rest, each
/// in both passes, until `limit_bytes` are full; and how many were left out.
fn of(instrument: &Instrument, told: &Evaluation, limit_bytes: usize) -> (Vec<Clip>, usize) {
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
