//! Notes are found, and nothing else is taken for one.

use platenote::sweeping::{Found, Kind, Note, Splitter};

use crate::bench::chance::Chance;
use crate::bench::sitting::{Happens, Sitting};

/// Low, so that much sound takes little time; the splitter itself works at 14 to 28 kHz whatever comes.
const RATE_HZ: u32 = 16_000;

pub fn split(sound: &[f32], rate_hz: u32, channels: usize) -> Vec<Found> {
    let mut splitter = Splitter::new(rate_hz, channels);
    // In pieces of an odd length: where pieces begin must not matter.
    let mut found: Vec<Found> = sound.chunks(977 * channels).flat_map(|piece| splitter.hear(piece)).collect();
    found.extend(splitter.finish().0);
    found
}

fn notes(found: &[Found]) -> Vec<(&Found, &Note)> {
    found
        .iter()
        .filter_map(|one| match &one.kind {
            Kind::Note(note) => Some((one, note)),
            Kind::Other(_) => None,
        })
        .collect()
}

fn cents(hz: f64, reference: f64) -> f64 {
    1200.0 * (hz / reference).log2()
}

/// A block's worth of notes from 41 to 5000 Hz, soft ones among them, with anything between them.
fn events(seed: u64) -> Vec<Happens> {
    let chance = &mut Chance::split(seed, 7);
    let mut events = vec![Happens::Quiet { lasts_s: chance.between(0.8, 2.0) }];
    let n = 14;
    for idx in 0..n {
        let hz = 41.0 * (5000.0_f64 / 41.0).powf((idx as f64 + chance.unit()) / n as f64);
        let softest = if hz < 120.0 { -46.0 } else { -42.0 };
        let level_dbfs = chance.between(softest, -16.0);
        if chance.happens(0.6) {
            let level = chance.between(-40.0, -14.0);
            events.push(match (chance.unit() * 6.0) as u32 {
                0 => Happens::Speech { lasts_s: chance.between(0.5, 3.0), level_dbfs: level },
                1 => Happens::Cough { level_dbfs: level },
                2 => Happens::Knock { level_dbfs: level + 10.0 },
                3 => Happens::Scraping { lasts_s: chance.between(0.3, 1.5), level_dbfs: level - 8.0 },
                4 => Happens::Bellows { lasts_s: chance.between(0.5, 2.5), level_dbfs: level - 10.0 },
                _ => Happens::Blip { hz, lasts_s: chance.between(0.1, 0.45), level_dbfs },
            });
            events.push(Happens::Quiet { lasts_s: chance.between(0.4, 1.5) });
        }
        events.push(Happens::Note { hz, lasts_s: chance.between(1.5, 4.0), level_dbfs });
        events.push(Happens::Quiet { lasts_s: chance.between(0.25, 1.2) });
    }
    events
}

#[test]
fn every_note_is_found_once_and_nothing_else_is_a_note() {
    let (mut planted, mut missed, mut extra) = (0, Vec::new(), Vec::new());
    for seed in 0..12 {
        let sitting = Sitting::play(seed, RATE_HZ, -68.0, &events(seed));
        let found = split(&sitting.samples, RATE_HZ, 1);
        let notes = notes(&found);
        planted += sitting.notes.len();
        for truth in &sitting.notes {
            let fits = notes.iter().filter(|(one, note)| {
                (one.start_s - truth.start_s).abs() < 0.35
                    // The tongue rings on, and the room.
                    && (-0.25..0.6).contains(&(one.stop_s - truth.stop_s))
                    && cents(note.pitch.get(), truth.hz).abs() < 12.0
            });
            if fits.count() != 1 {
                let near: Vec<_> = found
                    .iter()
                    .filter(|one| one.stop_s > truth.start_s - 0.3 && one.start_s < truth.stop_s + 0.3)
                    .collect();
                missed.push(format!("seed {seed}: {truth:?}, found {near:?}"));
            }
        }
        for (one, note) in &notes {
            let middle = 0.5 * (one.start_s + one.stop_s);
            if !sitting.notes.iter().any(|truth| (truth.start_s..truth.stop_s).contains(&middle)) {
                extra.push(format!("seed {seed}: {one:?} {note:?}"));
            }
        }
    }
    println!("{planted} notes, {} missed, {} extra", missed.len(), extra.len());
    assert!(missed.is_empty() && extra.is_empty(), "missed {missed:#?}\nextra {extra:#?}");
}
