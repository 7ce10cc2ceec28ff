//! Notes are found, and nothing else is taken for one.

use platenote::segmentation::{Detection, DetectionKind, Note, Splitter};

use crate::bench::chance::Chance;
use crate::bench::sitting::{Happens, Sitting};
use crate::bench::voice::add_sine;

/// Low, so that much sound takes little time; the splitter itself works at 14 to 28 kHz whatever comes.
const RATE_HZ: u32 = 16_000;

pub fn split(sound: &[f32], rate_hz: u32, channels: usize) -> Vec<Detection> {
    let mut splitter = Splitter::new(rate_hz, channels);
    // In pieces of an odd length: where pieces begin must not matter.
    let mut found: Vec<Detection> =
        sound.chunks(977 * channels).flat_map(|piece| splitter.hear(piece)).collect();
    found.extend(splitter.finish().0);
    found
}

fn notes(found: &[Detection]) -> Vec<(&Detection, &Note)> {
    found
        .iter()
        .filter_map(|one| match &one.kind {
            DetectionKind::Note(note) => Some((one, note)),
            DetectionKind::Other(_) => None,
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

/// The sitting with a mains hum of four lines under it, its first at this level, dBFS.
fn with_hum(sitting: &mut Sitting, mains_hz: f64, level_dbfs: f64) {
    let mut hum = vec![0.0; sitting.samples.len()];
    for (number, size) in [(1.0, 1.0), (2.0, 0.7), (3.0, 0.4), (5.0, 0.2)] {
        let amplitude = size * 2f64.sqrt() * 10f64.powf(level_dbfs / 20.0);
        let turn = number * mains_hz / f64::from(sitting.rate_hz);
        add_sine(&mut hum, turn, number / std::f64::consts::TAU, amplitude);
    }
    sitting.samples.iter_mut().zip(hum).for_each(|(sample, hum)| *sample += hum as f32);
}

/// What was planted is found, at its pitch, and nothing else.
fn assert_found(sitting: &Sitting, what: &str) {
    let found = split(&sitting.samples, sitting.rate_hz, 1);
    let notes = notes(&found);
    assert_eq!(notes.len(), sitting.notes.len(), "{what}: {found:#?}");
    for (truth, (one, note)) in sitting.notes.iter().zip(notes) {
        assert!(cents(note.pitch.get(), truth.hz).abs() < 15.0, "{what}: {truth:?} found as {one:?}");
        assert!((one.start_s - truth.start_s).abs() < 0.35, "{what}: {truth:?} found as {one:?}");
    }
}

#[test]
fn hum_before_the_first_note_is_no_note_and_does_not_hide_high_notes() {
    let note = |hz: f64| Happens::Note { hz, lasts_s: 1.8, level_dbfs: -34.0 };
    for mains_hz in [50.0, 60.0] {
        let events = [
            Happens::Quiet { lasts_s: 1.5 },
            note(2_100.0),
            Happens::Quiet { lasts_s: 0.9 },
            note(3_900.0),
            Happens::Quiet { lasts_s: 0.9 },
            note(147.0),
            Happens::Quiet { lasts_s: 0.6 },
        ];
        let mut sitting = Sitting::play(11, RATE_HZ, -66.0, &events);
        with_hum(&mut sitting, mains_hz, -46.0);
        assert_found(&sitting, &format!("{mains_hz} Hz"));
    }
}

#[test]
fn noise_that_swells_over_hum_is_no_note() {
    let events = [
        Happens::Quiet { lasts_s: 1.5 },
        Happens::Bellows { lasts_s: 4.0, level_dbfs: -34.0 },
        Happens::Quiet { lasts_s: 1.0 },
        Happens::Note { hz: 220.0, lasts_s: 1.8, level_dbfs: -26.0 },
        Happens::Quiet { lasts_s: 0.8 },
    ];
    let mut sitting = Sitting::play(12, RATE_HZ, -66.0, &events);
    with_hum(&mut sitting, 50.0, -44.0);
    assert_found(&sitting, "bellows over hum");
}

#[test]
fn a_blip_at_the_very_beginning_is_not_drawn_out_to_a_note() {
    let events = [
        Happens::Quiet { lasts_s: 0.35 },
        Happens::Blip { hz: 465.0, lasts_s: 0.4, level_dbfs: -24.0 },
        Happens::Quiet { lasts_s: 0.8 },
        Happens::Note { hz: 440.0, lasts_s: 1.8, level_dbfs: -26.0 },
        Happens::Quiet { lasts_s: 0.8 },
    ];
    assert_found(&Sitting::play(13, RATE_HZ, -68.0, &events), "a blip first");
}

/// The partials of the lower note lie among those of the one before, which has hardly rung out.
#[test]
fn notes_close_together_that_share_partials_are_all_found() {
    let mut events = vec![Happens::Quiet { lasts_s: 1.2 }];
    for hz in [166.0, 83.0, 166.2, 221.3, 110.6, 55.3, 110.6] {
        events.push(Happens::Note { hz, lasts_s: 1.6, level_dbfs: -24.0 });
        events.push(Happens::Quiet { lasts_s: 0.05 });
    }
    events.push(Happens::Quiet { lasts_s: 0.8 });
    assert_found(&Sitting::play(14, RATE_HZ, -68.0, &events), "close together");
}

/// A word with hardly a breath before the note: both are told of, and all of the time in which something stood out.
#[test]
fn what_stands_beside_a_note_without_a_pause_is_told_of_too() {
    let events = [
        Happens::Quiet { lasts_s: 1.0 },
        Happens::Scraping { lasts_s: 1.5, level_dbfs: -26.0 },
        Happens::Note { hz: 330.0, lasts_s: 2.0, level_dbfs: -24.0 },
        Happens::Quiet { lasts_s: 1.0 },
    ];
    let sitting = Sitting::play(15, RATE_HZ, -68.0, &events);
    assert_found(&sitting, "scraping and a note");
    let found = split(&sitting.samples, RATE_HZ, 1);
    let other: f64 = found
        .iter()
        .filter(|one| matches!(one.kind, DetectionKind::Other(_)) && one.start_s < 2.5)
        .map(|one| one.stop_s.min(2.5) - one.start_s.max(1.0))
        .sum();
    assert!(other > 0.9, "of 1.5 s of scraping {other:.1} s are told of: {found:#?}");
}
