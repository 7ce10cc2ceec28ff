//! Ranks beside each other: the curve a tremolo follows, and real pairs.

use platenote::analysis::{Expectation, read};
use platenote::audio::read_file;
use platenote::instrument::{Note, Temperament, Tremolo, Tuning};
use platenote::judgement::judge;
use platenote::tuning::{Beside, CurveUnit, Together, beats_of, departures, followed, rank_pairs};
use platenote::units::{Cents, Hz};
use serde_json::Value;

use crate::bench::chance::Chance;
use crate::bench::statistics::over_seeds;
use crate::judgement::built::{cents, detune, hz, in_tune, instrument};

/// A rank of 36 notes that follows beats rising from `low` to `high` per second, with scatter and wild notes.
fn rank(seed: u64, side: f64, scatter_hz: f64) -> (Vec<Beside>, impl Fn(i16) -> f64) {
    let mut chance = Chance::new(seed);
    let (low, high) = (chance.between(1.0, 2.5), chance.between(3.0, 6.0));
    // A tuner's curve: steeper at the top, no piece of it straight.
    let beats = move |number: i16| {
        let way = f64::from(number - 55) / 35.0;
        side * (low + (high - low) * (0.4 * way + 0.6 * way * way))
    };
    let tuning = Tuning { reference: hz(441.0), temperament: Temperament::EQUAL, stretch: Cents::ZERO };
    let notes = (55..91)
        .map(|number| {
            let note = Note::from_number(number).unwrap();
            let companion = tuning.target(note).raised_by(cents(chance.normal()));
            let wild = if chance.unit() < 0.1 { 3.0 } else { 0.0 };
            let rank = hz(companion.get() + beats(number) + scatter_hz * chance.normal() + wild);
            Beside { note, companion, rank, uncertainty: cents(0.2) }
        })
        .collect();
    (notes, beats)
}

#[test]
fn the_curve_that_the_instrument_follows_is_found_past_wild_notes() {
    for side in [1.0, -1.0] {
        let worst = over_seeds(1, 60, |seed| {
            let (notes, beats) = rank(seed, side, 0.1);
            let found = followed(&notes, CurveUnit::Beats).unwrap();
            assert!((0.05..0.2).contains(&found.evenness_hz), "{}", found.evenness_hz);
            let off = notes.iter().map(|beside| {
                let number = beside.note.number();
                (beats_of(&found.tremolo, beside.note, beside.companion) - beats(number)).abs()
            });
            off.fold(0.0, f64::max)
        });
        let mut sorted = worst;
        sorted.sort_by(f64::total_cmp);
        // Within the trade's 0.2 Hz of the neighbours' trend (common practice, no source) at the worst note.
        assert!(sorted[sorted.len() * 9 / 10] < 0.3 && sorted[sorted.len() / 2] < 0.2, "{sorted:?}");
    }
    let (notes, _) = rank(1, 1.0, 0.1);
    assert!(followed(&notes[..3], CurveUnit::Cents).is_none());
    // Against its own plan a rank's wild notes stand out, and nothing else does.
    let found = followed(&notes, CurveUnit::Beats).unwrap();
    let wild = departures(&found.tremolo, &notes).iter().filter(|(_, beats)| beats.abs() > 1.5).count();
    let planted = notes.iter().filter(|beside| {
        let (_, beats) = rank(1, 1.0, 0.1);
        beside.beats() - beats(beside.note.number()) > 1.5
    });
    assert_eq!(wild, planted.count());
}

/// Fritsch and Carlson's condition: between anchors a curve stays between their heights, and rises where they rise.
#[test]
fn anchors_are_joined_smoothly_without_overshoot() {
    let note = |number| Note::from_number(number).unwrap();
    let anchors = vec![(note(48), 1.0), (note(55), 1.2), (note(60), 4.0), (note(80), 4.1), (note(90), 3.0)];
    let tremolo = Tremolo::BeatsAt(anchors.clone());
    let at = |number: i16| beats_of(&tremolo, note(number), hz(440.0));
    for (number, beats) in [(48, 1.0), (55, 1.2), (60, 4.0), (80, 4.1), (90, 3.0), (40, 1.0), (99, 3.0)] {
        assert!((at(number) - beats).abs() < 1e-6, "{number}: {}", at(number));
    }
    let values: Vec<f64> = (48..=90).map(at).collect();
    for (k, pair) in values.windows(2).enumerate() {
        let rises = 48 + (k as i16) < 80;
        assert!(if rises { pair[1] >= pair[0] - 1e-9 } else { pair[1] <= pair[0] + 1e-9 }, "{k}: {pair:?}");
    }
    // Two anchors are joined straight, as they always were.
    let straight = Tremolo::CentsAt(vec![(note(50), cents(10.0)), (note(70), cents(20.0))]);
    assert!((straight.offset(note(55), hz(440.0)).get() - 12.5).abs() < 1e-9);
}

#[test]
fn reeds_that_pull_each_other_are_told() {
    let single = [(hz(440.0), cents(0.2)), (hz(443.5), cents(0.2))];
    let pulled = [(hz(440.3), cents(0.2)), (hz(443.2), cents(0.2))];
    assert!((Together::of(pulled, single).pull().unwrap() + 0.6).abs() < 1e-9);
    assert_eq!(Together::of(single, single).pull(), None);
    // One below and one above beat alike.
    let below = [(hz(436.5), cents(0.2)), (hz(440.0), cents(0.2))];
    assert!((Together::of(below, below).heard - 3.5).abs() < 1e-9);
}

/// Real tremolo pairs: the beats of the two reeds heard together are the difference of the two pitches that another method
/// measured (the manifest's), within both doubts.
#[test]
fn real_pairs_beat_as_their_two_pitches_differ() {
    let Some(folder) = std::env::var_os("PLATENOTE_RECORDINGS").map(std::path::PathBuf::from) else {
        eprintln!(
            "skipped: real pairs need PLATENOTE_RECORDINGS, a folder with recordings and their manifest.json"
        );
        return;
    };
    let manifest: Value =
        serde_json::from_str(&std::fs::read_to_string(folder.join("manifest.json")).unwrap()).unwrap();
    let mut pairs = 0;
    for note in manifest["notes"].as_array().unwrap() {
        if note["reeds"]["kind"].as_str() != Some("two near unison") {
            continue;
        }
        let measured: Vec<(f64, f64)> = note["reeds"]["measured"]
            .as_array()
            .unwrap()
            .iter()
            .map(|reed| (reed["f0_hz"].as_f64().unwrap(), reed["u_cents"].as_f64().unwrap()))
            .collect();
        let file = note["file"].as_str().unwrap();
        let reading = read(&read_file(&folder.join(file)).unwrap(), &Expectation::default()).unwrap();
        let ([(low, u_low), (high, u_high)], [a, b]) = (measured.as_slice(), reading.reeds.as_slice()) else {
            panic!("{file}: {} reeds heard, {} measured", reading.reeds.len(), measured.len());
        };
        let pitch = |hz: f64, u: f64| (Hz::new(hz).unwrap(), cents(1.96 * u));
        let together = Together::of(
            [(a.f0, a.uncertainty), (b.f0, b.uncertainty)],
            [pitch(*low, *u_low), pitch(*high, *u_high)],
        );
        println!(
            "{file}: {:.3} and {:.3} ± {:.3} beats/s",
            together.heard, together.computed, together.uncertainty
        );
        assert_eq!(together.pull(), None, "{file}: {together:?}");
        pairs += 1;
    }
    assert!(pairs > 0, "no pair in the recordings");
}

/// Of three pitches heard the two that belong to the ranks; a rank an octave above beats with the lower one's second harmonic.
#[test]
fn the_two_reeds_are_found_among_those_that_sound() {
    let pitch = |of: f64| (hz(of), cents(0.2));
    let heard = [pitch(220.2), pitch(440.1), pitch(442.0)];
    let beside = Together::among(&heard, [pitch(440.0), pitch(442.4)]).unwrap();
    assert!((beside.heard - 1.9).abs() < 1e-9 && (beside.computed - 2.4).abs() < 1e-9, "{beside:?}");
    let octave = Together::among(&heard[..2], [pitch(440.0), pitch(220.0)]).unwrap();
    assert!((octave.heard - 0.3).abs() < 1e-9 && octave.computed.abs() < 1e-9, "{octave:?}");
    assert_eq!(Together::among(&heard[..1], [pitch(440.0), pitch(442.4)]), None);
    assert_eq!(Together::among(&heard, [pitch(440.0), pitch(523.0)]), None);
}

/// A rank an octave from its companion and 3 cents off on purpose: beats at the rank's own pitch, and what is off the plan.
#[test]
fn an_octave_rank_set_off_is_told_beside_its_companion() {
    for octave in [12, -12] {
        let mut plan = instrument(6);
        let mut rank = plan.blocks[0].rows[0].clone();
        rank.name = "B".to_owned();
        rank.tremolo = Tremolo::Even(cents(3.0));
        for plate in &mut rank.plates {
            for reed in [&mut plate.reeds.press, &mut plate.reeds.draw].into_iter().flatten() {
                reed.note = Note::from_number(reed.note.number() + octave).unwrap();
            }
        }
        plan.blocks[0].rows.push(rank);
        let mut pass = in_tune(&plan);
        let wild = plan.reeds().map(|(place, _)| place).find(|place| place.plate.row == "B").unwrap();
        detune(&mut pass, &wild, 20.0);
        let pairs = rank_pairs(&plan, &judge(&plan, &pass));
        let [pair] = pairs.as_slice() else { panic!("{pairs:?}") };
        assert_eq!(pair.notes.len(), 12);
        for ((place, off), (_, beside)) in pair.departures().into_iter().zip(&pair.notes) {
            let cents_off = beside.rank.cents_above(beside.companion).get();
            let wanted = if *place == wild { 23.0 } else { 3.0 };
            assert!((cents_off - wanted).abs() < 1e-6, "{place}: {cents_off}");
            assert_eq!(off.abs() > 1e-6, *place == wild, "{place}: {off}");
        }
        assert_eq!(pair.worst().first().map(|(place, _)| (*place).clone()), Some(wild));
    }
}
