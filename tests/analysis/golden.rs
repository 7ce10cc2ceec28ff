//! Published and handbook values, the source beside each.

use crate::bench::statistics::Rate;
use crate::bench::tone::ToneSpec;
use platenote::analysis::{Clock, Expectation, read, steady_to_tell_apart};
use platenote::instrument::{Block, Face, Note, Stroke, Temperament, Tremolo, Tuning};
use platenote::units::{Cents, Decibels, Hz};

fn assert_within(found: f64, wanted: f64, tolerance: f64, unit: &str) {
    assert!((found - wanted).abs() <= tolerance, "found {found} {unit}, wanted {wanted} ± {tolerance}");
}

fn hz(value: f64) -> Hz {
    Hz::new(value).expect("a pitch")
}

fn note(name: &str) -> Note {
    name.parse().expect("a note")
}

fn at(reference: f64) -> Tuning {
    Tuning {
        reference: hz(reference),
        temperament: Temperament::EQUAL,
        stretch: platenote::units::Cents::ZERO,
    }
}

/// ISO 16:1975: the A in the treble stave is 440 Hz.
#[test]
fn a4_is_440_hz() {
    assert_eq!(at(440.0).target(note("A4")).get(), 440.0);
    assert_eq!(note("A4").number(), 69);
}

/// CRC Handbook of Chemistry and Physics (online), section 14, "Frequency of the tones of the musical scale",
/// equal-tempered chromatic scale, A4 = 440 Hz. Tolerance: half the last printed digit.
#[test]
fn equal_temperament_matches_the_crc_handbook() {
    let printed = [
        ("C0 16.352 C#0 17.324 D0 18.354 D#0 19.445 E0 20.602 F0 21.827", 0.0005),
        ("C2 65.406 C#2 69.296 D2 73.416 D#2 77.782 E2 82.407 F2 87.307", 0.0005),
        ("C4 261.63 C#4 277.18 D4 293.66 D#4 311.13 E4 329.63 F4 349.23", 0.005),
        ("C6 1046.50 C#6 1108.73 D6 1174.66 D#6 1244.51 E6 1318.51 F6 1396.91", 0.005),
    ];
    for (row, tolerance) in printed {
        let words: Vec<&str> = row.split(' ').collect();
        for pair in words.chunks(2) {
            let wanted: f64 = pair[1].parse().expect("a number");
            assert_within(at(440.0).target(note(pair[0])).get(), wanted, tolerance, pair[0]);
        }
    }
}

/// B. H. Suits, Michigan Tech, "Frequencies for equal-tempered scale, A4 = 440 Hz"; OEIS A329207 for C4.
#[test]
fn equal_temperament_matches_two_more_tables() {
    let suits =
        [("A0", 27.50), ("A1", 55.00), ("F3", 174.61), ("A3", 220.00), ("G#4", 415.30), ("B4", 493.88)];
    for (name, wanted) in suits.into_iter().chain([("G5", 783.99), ("B5", 987.77)]) {
        assert_within(at(440.0).target(note(name)).get(), wanted, 0.005, name);
    }
    assert_within(at(440.0).target(note("C4")).get(), 261.625_565_300_598_6, 1e-9, "Hz");
}

/// The MIDI standard's numbers: 21 is 27.5 Hz, 60 is 261.62557 Hz, 108 is 4186.009 Hz (MIDI 1.0, from memory).
#[test]
fn note_numbers_are_those_of_midi() {
    for (number, wanted, tolerance) in [(21, 27.5, 1e-12), (60, 261.625_57, 1e-5), (108, 4186.009, 1e-3)] {
        let note = Note::from_number(number).expect("in range");
        assert_within(at(440.0).target(note).get(), wanted, tolerance, "Hz");
    }
}

/// The cent of Ellis (in Helmholtz, On the Sensations of Tone, 1885): 1200 log2 of the ratio. Values by that formula.
#[test]
fn intervals_are_in_cents() {
    let a4 = hz(440.0);
    for (pitch, wanted) in [(441.0, 3.930), (442.0, 7.851), (443.0, 11.764), (444.0, 15.667), (438.0, -7.887)]
    {
        assert_within(hz(pitch).cents_above(a4).get(), wanted, 0.001, "cents");
    }
    let just = [(3.0 / 2.0, 701.955), (5.0 / 4.0, 386.314), (81.0 / 80.0, 21.506), (7.0 / 4.0, 968.826)];
    for (ratio, wanted) in just {
        assert_within(hz(440.0 * ratio).cents_above(a4).get(), wanted, 0.001, "cents");
    }
    assert_within(hz(441.0).cents_above(a4).get(), 3.9302, 1e-4, "cents");
    assert_within(a4.raised_by(Cents::new(1.0).expect("finite")).get() - 440.0, 0.254_23, 1e-5, "Hz");
}

/// Capleton (2007) as given by Teki et al., J. Neurosci. 32:12251 (2012), table 1: beats of tempered intervals above F3,
/// A3 and C4, per second; a third 4f₂ − 5f₁, fourth 4f₁ − 3f₂, fifth 3f₁ − 2f₂, sixth 3f₂ − 5f₁. Half the last digit.
#[test]
fn beats_of_tempered_intervals_match_the_table() {
    let table = [
        ("F3", [("A3", 4.0, 5.0, 6.9), ("A#3", 3.0, 4.0, 0.8), ("C4", 2.0, 3.0, 0.6), ("D4", 3.0, 5.0, 7.9)]),
        (
            "A3",
            [("C#4", 4.0, 5.0, 8.7), ("D4", 3.0, 4.0, 1.0), ("E4", 2.0, 3.0, 0.7), ("F#4", 3.0, 5.0, 10.0)],
        ),
    ];
    for (low, rows) in table {
        for (high, of_high, of_low, wanted) in rows {
            let (f1, f2) = (at(440.0).target(note(low)).get(), at(440.0).target(note(high)).get());
            assert_within(hz(of_high * f2).beat_rate(hz(of_low * f1)), wanted, 0.05, high);
        }
    }
}

/// Two tones of unlike pitch need 0.8 of a beat to be told apart (docs/method.md): 440 and 442 Hz beat twice a second (the
/// difference of the frequencies: Helmholtz, On the Sensations of Tone, chapter 8, from memory).
#[test]
fn reeds_that_beat_twice_a_second_are_told_apart_in_two_fifths_of_one() {
    let needs = steady_to_tell_apart(hz(440.0), hz(442.0)).expect("they beat");
    assert_within(needs.get(), 0.4, 1e-9, "s");
    assert_eq!(steady_to_tell_apart(hz(442.0), hz(440.0)), Some(needs));
    assert_eq!(steady_to_tell_apart(hz(440.0), hz(440.0)), None);
}

/// Beats of a tremolo of 14, 18 and 24 cents at A4: f (2^(c/1200) − 1). Widths are common practice, no source.
#[test]
fn tremolo_in_cents_and_in_beats_agree() {
    let a4 = hz(440.0);
    for (cents, beats) in [(14.0, 3.573), (18.0, 4.599), (24.0, 6.142)] {
        let width = Cents::new(cents).expect("finite");
        assert_within(a4.raised_by(width).beat_rate(a4), beats, 0.001, "beats per second");
        let by_beats = Tremolo::BeatsAt(vec![(note("A4"), beats)]).offset(note("A4"), a4);
        assert_within(by_beats.get(), cents, 0.005, "cents");
    }
}

/// At A4 = 442 Hz (ISO 16's formula scaled): C2 65.704, C4 262.815, E4 331.126, C6 1051.259, A7 3536.000 Hz.
#[test]
fn another_reference_moves_every_note() {
    for (name, wanted) in [("C2", 65.704), ("C4", 262.815), ("E4", 331.126), ("C6", 1051.259), ("A7", 3536.0)]
    {
        assert_within(at(442.0).target(note(name)).get(), wanted, 0.0005, name);
    }
}

/// A clock within 100 ppm (HD Audio: 24 MHz ± 2.4 kHz) leaves 0.17311 cents of doubt, 10 ppm 0.01731, 1 ppm 0.00173; and
/// a 48 kHz file read as 44.1 kHz sounds 146.71 cents low.
#[test]
fn clock_doubt_is_stated_in_cents() {
    let rendered = ToneSpec::plain(48_000, 440.0, vec![1.0, 0.5, 0.3], 1.0).render(1);
    for (uncertainty_ppm, wanted) in [(100.0, 0.173_11), (10.0, 0.017_31), (1.0, 0.001_73)] {
        let expectation =
            Expectation { clock: Clock { error_ppm: 0.0, uncertainty_ppm }, ..Expectation::default() };
        let reading = read(&rendered.take(), &expectation).expect("a plain tone");
        assert_within(reading.doubt.clock.get(), wanted, 1e-5, "cents");
    }
    let mut slowed = rendered.take();
    slowed.rate_hz = 44_100;
    let reading = read(&slowed, &Expectation::default()).expect("a plain tone");
    assert_within(reading.f0.cents_above(hz(440.0)).get(), -146.71, 0.01, "cents");
}

/// A card known to run 100 ppm fast is corrected for.
#[test]
fn known_clock_error_is_taken_off() {
    let mut spec = ToneSpec::plain(48_000, 440.0, vec![1.0, 0.5, 0.3], 1.0);
    spec.clock_ppm = 100.0;
    let clock = Clock { error_ppm: 100.0, uncertainty_ppm: 1.0 };
    let reading =
        read(&spec.render(1).take(), &Expectation { clock, ..Expectation::default() }).expect("a plain tone");
    assert_within(reading.f0.cents_above(hz(440.0)).get(), 0.0, 1e-4, "cents");
}

/// A full-scale sine measures −3.01 dB against full scale as a square wave does (10 log10 1/2).
#[test]
fn level_of_a_sine_is_3_db_below_full_scale() {
    let mut spec = ToneSpec::plain(48_000, 440.0, vec![1.0], 1.0);
    spec.level_dbfs = -23.0;
    let reading = read(&spec.render(1).take(), &Expectation::default()).expect("a plain tone");
    assert_within(reading.level.get(), -23.0, 0.01, "dBFS");
}

/// Press tests the outer valve, draw the inner one, where the outer tongue sounds on press; derived from the air's way:
/// the tongue on the high-pressure face sounds, and the valve on that same face covers the other tongue's slot.
#[test]
fn stroke_names_the_valve_it_tests() {
    let mut block = Block {
        name: "bass".into(),
        outer_tongue_sounds_on: Stroke::Press,
        leak_limit: Decibels::new(-40.0).expect("finite"),
        tolerance: Cents::new(2.0).expect("finite"),
        rows: Vec::new(),
    };
    assert_eq!(block.face_tested_by(Stroke::Press), Face::Outer);
    assert_eq!(block.face_tested_by(Stroke::Draw), Face::Inner);
    block.outer_tongue_sounds_on = Stroke::Draw;
    assert_eq!(block.face_tested_by(Stroke::Press), Face::Inner);
}

/// The bench's own noise bound: 440 Hz at 48 kHz, 1 s, 20 dB a sample: 2.516e-4 Hz for one partial, 9.907e-5 Hz for ten
/// that fall as 1/l (24σ²/(N(N²−1)Σl²A²), Christensen and Jakobsson 2009 from memory; checked against a numerical Fisher
/// matrix elsewhere).
#[test]
fn noise_bound_has_its_known_values() {
    let bound = |partials: Vec<f64>| {
        let mut spec = ToneSpec::plain(48_000, 440.0, partials, 1.0);
        spec.snr_db = Some(20.0);
        spec.render(1).truth.crlb_hz(0.0, 1.0)
    };
    assert_within(bound(vec![1.0]), 2.516e-4, 0.005 * 2.516e-4, "Hz");
    assert_within(bound((1..=10).map(|l| 1.0 / f64::from(l)).collect()), 9.907e-5, 0.005 * 9.907e-5, "Hz");
}

/// The bench's own intervals (Clopper and Pearson 1934): nothing in 59 leaves up to 0.0495 one-sided, nothing in 299
/// up to 0.0100; 18 of 20 lie in 0.683 to 0.988.
#[test]
fn exact_intervals_have_their_known_values() {
    assert_within(Rate { hits: 0, trials: 59 }.interval(0.10).1, 0.0495, 1e-4, "");
    assert_within(Rate { hits: 0, trials: 299 }.interval(0.10).1, 0.0100, 1e-4, "");
    let (low, high) = Rate { hits: 18, trials: 20 }.interval(0.05);
    assert_within(low, 0.683, 5e-4, "");
    assert_within(high, 0.988, 5e-4, "");
}
