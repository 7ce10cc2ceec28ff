//! Real reeds joined at random, as somebody may play them: some twice, some passed over, a row backwards, words and knocks
//! and the noise of a room between.

use platenote::alignment::{Observation, align, said_order};
use platenote::instrument::{Instrument, Stroke};
use platenote::segmentation::DetectionKind;
use platenote::take::Take;
use platenote::units::Hz;

use super::splitting::split;
use crate::bench::chance::Chance;
use crate::bench::player::row_of_notes;
use crate::bench::sitting::{Happens, Sitting};

/// Joinings of each sample rate.
const JOININGS: u64 = 4;

/// Those long enough for a note, from low to high.
fn recordings() -> Option<Vec<(f64, Take)>> {
    let folder = std::path::PathBuf::from(std::env::var_os("PLATENOTE_RECORDINGS")?);
    let text = std::fs::read_to_string(folder.join("manifest.json")).expect("a manifest.json");
    let manifest: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let notes = manifest["notes"].as_array().expect("notes").iter();
    let take = |note: &serde_json::Value| {
        let file = folder.join(note["file"].as_str().expect("a file"));
        (
            note["f0"]["hz"].as_f64().expect("a pitch"),
            platenote::audio::read_file(&file).expect("a recording"),
        )
    };
    let mut takes: Vec<(f64, Take)> = notes.map(take).filter(|(_, take)| take.length_s() > 0.85).collect();
    takes.sort_by(|a, b| a.0.total_cmp(&b.0));
    Some(takes)
}

/// A joined recording: its samples, and for each note the plate and its first and last second.
fn join(chance: &mut Chance, takes: &[&(f64, Take)], rate_hz: u32) -> (Vec<f32>, Vec<(u32, f64, f64)>) {
    let rate = f64::from(rate_hz);
    let mut played: Vec<usize> = Vec::new();
    for idx in 0..takes.len() {
        if chance.happens(0.1) {
            continue;
        }
        let goes = if chance.happens(0.2) { 2 } else { 1 };
        played.extend(std::iter::repeat_n(idx, goes));
    }
    if chance.happens(0.4) {
        played.reverse();
    }
    let noise = 10f64.powf(chance.between(-78.0, -62.0) / 20.0);
    let (mut samples, mut spans): (Vec<f64>, Vec<(u32, f64, f64)>) = (Vec::new(), Vec::new());
    let quiet = |samples: &mut Vec<f64>, lasts_s: f64| {
        samples.resize(samples.len() + (lasts_s * rate) as usize, 0.0);
    };
    quiet(&mut samples, chance.between(0.6, 1.5));
    for idx in played {
        if chance.happens(0.3) {
            let level_dbfs = chance.between(-40.0, -20.0);
            let event = match (chance.unit() * 3.0) as u32 {
                0 => Happens::Speech { lasts_s: chance.between(0.5, 1.5), level_dbfs },
                1 => Happens::Knock { level_dbfs },
                _ => Happens::Bellows { lasts_s: chance.between(0.5, 1.5), level_dbfs: level_dbfs - 10.0 },
            };
            let between = Sitting::play(chance.bits(), rate_hz, -100.0, &[event]).samples;
            samples.extend(between.into_iter().map(f64::from));
            quiet(&mut samples, chance.between(0.4, 0.9));
        }
        let from_s = samples.len() as f64 / rate;
        samples.extend(takes[idx].1.samples.iter().map(|x| f64::from(*x)));
        spans.push((idx as u32 + 1, from_s, samples.len() as f64 / rate));
        quiet(&mut samples, chance.between(0.4, 1.0));
    }
    (samples.into_iter().map(|x| (x + noise * chance.normal()) as f32).collect(), spans)
}

#[test]
fn real_reeds_joined_at_random_are_placed_and_nothing_wrong_is_unmarked() {
    let Some(takes) = recordings() else {
        eprintln!(
            "skipped: real reeds joined at random need recordings, and PLATENOTE_RECORDINGS is not set"
        );
        return;
    };
    let (mut all, mut right, mut unmarked) = (0, 0, Vec::new());
    for rate_hz in [44_100, 48_000] {
        let of_rate: Vec<&(f64, Take)> = takes.iter().filter(|(_, take)| take.rate_hz == rate_hz).collect();
        let pitches: Vec<Hz> = of_rate.iter().map(|(hz, _)| Hz::new(*hz).expect("a pitch")).collect();
        let instrument: Instrument = row_of_notes(&pitches);
        let orders = [said_order(&format!("A1..A{} press", of_rate.len()), &instrument).expect("an order")];
        for seed in 0..JOININGS {
            let chance = &mut Chance::split(seed, u64::from(rate_hz));
            let (samples, spans) = join(chance, &of_rate, rate_hz);
            let found = split(&samples, rate_hz, 1);
            let (times, notes): (Vec<f64>, Vec<Observation>) = found
                .iter()
                .filter_map(|one| match &one.kind {
                    DetectionKind::Note(note) => {
                        let heard = Observation { pitch: note.pitch, level: note.level, is_good: true };
                        Some((0.5 * (one.start_s + one.stop_s), heard))
                    }
                    DetectionKind::Other(_) => None,
                })
                .unzip();
            let alignment = align(&instrument, &orders, &notes, None).expect("notes");
            for (plate, from_s, to_s) in &spans {
                let at = times.iter().position(|middle| (*from_s..*to_s).contains(middle));
                let placing = at.and_then(|at| alignment.placings.get(at));
                let is_right = placing
                    .and_then(|placing| placing.place.as_ref())
                    .is_some_and(|place| place.plate.number == *plate && place.stroke == Stroke::Press);
                all += 1;
                right += usize::from(is_right);
                if !is_right && placing.is_none_or(|placing| placing.doubts.is_empty()) {
                    unmarked
                        .push(format!("{rate_hz} Hz, seed {seed}, A{plate} at {from_s:.1} s: {placing:?}"));
                }
            }
            let is_planted =
                |middle: &&f64| spans.iter().any(|(_, from_s, to_s)| (*from_s..*to_s).contains(*middle));
            let planted = times.iter().filter(is_planted).count();
            assert_eq!(planted, times.len(), "{rate_hz} Hz, seed {seed}: nothing else is a note");
        }
    }
    println!("{all} real notes, {right} at their reed");
    assert!(unmarked.is_empty(), "wrong or lost, unmarked: {unmarked:#?}");
    assert!(all >= 60 && right * 100 >= 97 * all, "{right} of {all}");
}
