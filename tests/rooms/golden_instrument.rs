//! Notes, tunings and the rule of the valves against published values, source beside each.

use std::path::Path;

use platenote::instrument::{Face, Instrument, Note, ReedPlace, Stroke, Temperament, Tremolo, Tuning, Valve};
use platenote::job::Plan;
use platenote::units::{Cents, Hz};

fn hz(value: f64) -> Hz {
    Hz::new(value).unwrap()
}

fn note(name: &str) -> Note {
    name.parse().unwrap()
}

fn equal(reference: f64) -> Tuning {
    Tuning {
        reference: hz(reference),
        temperament: Temperament::EQUAL,
        stretch: platenote::units::Cents::ZERO,
    }
}

fn assert_within(found: f64, wanted: f64, tolerance: f64, unit: &str) {
    assert!((found - wanted).abs() <= tolerance, "{found} {unit}, wanted {wanted} ± {tolerance}");
}

fn instrument(rows: &str) -> Instrument {
    let text = format!("format = 1\nbellows = \"unisonoric\"\n[[block]]\nname = \"bass\"\n{rows}");
    Plan::parse(&text, Path::new("plan.toml")).unwrap().instrument
}

fn reed(instrument: &Instrument, place: &str) -> ReedPlace {
    instrument.reed_place(place).unwrap()
}

/// ISO 16:1975, standard tuning frequency.
#[test]
fn a4_is_440_hz() {
    assert_eq!(note("A4").number(), 69);
    assert_within(equal(440.0).target(note("A4")).get(), 440.0, 0.0, "Hz");
}

/// MIDI notes 60, 21 and 108; C4 from OEIS A329207, the others computed from 440 · 2^((m − 69) / 12).
#[test]
fn midi_numbers_give_their_pitches() {
    for (number, pitch, tolerance) in
        [(60, 261.6255653005986, 1e-10), (21, 27.5, 1e-12), (108, 4186.009, 1e-3)]
    {
        let note = Note::from_number(number).unwrap();
        assert_within(equal(440.0).target(note).get(), pitch, tolerance, "Hz");
    }
}

/// CRC Handbook of Chemistry and Physics (online), section 14, document 14_22, table 1; half the last printed digit.
#[test]
fn equal_temperament_matches_the_handbook() {
    const TABLE: [(i16, [f64; 6], f64); 4] = [
        (0, [16.352, 17.324, 18.354, 19.445, 20.602, 21.827], 0.0005),
        (2, [65.406, 69.296, 73.416, 77.782, 82.407, 87.307], 0.0005),
        (4, [261.63, 277.18, 293.66, 311.13, 329.63, 349.23], 0.005),
        (6, [1046.50, 1108.73, 1174.66, 1244.51, 1318.51, 1396.91], 0.005),
    ];
    for (octave, pitches, tolerance) in TABLE {
        for (name, pitch) in ["C", "C#", "D", "Eb", "E", "F"].iter().zip(pitches) {
            assert_within(
                equal(440.0).target(note(&format!("{name}{octave}"))).get(),
                pitch,
                tolerance,
                "Hz",
            );
        }
    }
}

/// B. Suits, Michigan Tech, "Frequencies of Musical Notes"; half the last printed digit.
#[test]
fn equal_temperament_matches_suits() {
    for (name, pitch) in [("F3", 174.61), ("A3", 220.00), ("G#4", 415.30), ("B4", 493.88), ("B5", 987.77)] {
        assert_within(equal(440.0).target(note(name)).get(), pitch, 0.005, "Hz");
    }
}

/// Computed from 1200 · log2 of the ratio (Ellis in Helmholtz, "On the Sensations of Tone", 1885).
#[test]
fn cents_of_reference_pitches() {
    for (reference, cents) in [(442.0, 7.851), (443.0, 11.764), (438.0, -7.887)] {
        assert_within(hz(reference).cents_above(hz(440.0)).get(), cents, 0.0005, "cents");
    }
    for (ratio, cents) in [(3.0 / 2.0, 701.955), (5.0 / 4.0, 386.314), (81.0 / 80.0, 21.506)] {
        assert_within(hz(ratio).cents_above(hz(1.0)).get(), cents, 0.0005, "cents");
    }
    assert_within(hz(441.0).cents_above(hz(440.0)).get(), 3.9302, 0.00005, "cents");
    let one_cent = hz(440.0).raised_by(Cents::new(1.0).unwrap());
    assert_within(one_cent.beat_rate(hz(440.0)), 0.25423, 0.000005, "Hz");
}

/// Computed: notes at A4 = 442 Hz.
#[test]
fn other_reference_pitches_move_every_note() {
    for (name, pitch) in
        [("C2", 65.704), ("C4", 262.815), ("E4", 331.126), ("C6", 1051.259), ("A7", 3536.000)]
    {
        assert_within(equal(442.0).target(note(name)).get(), pitch, 0.0005, "Hz");
    }
    for reference in [400.0, 470.0] {
        assert_within(equal(reference).target(note("A4")).get(), reference, 0.0, "Hz");
    }
}

/// Quarter-comma meantone: its thirds C–E, F–A, G–B are pure, 386.314 cents; its fifths are 696.578 cents
/// (definition; offsets re equal temperament, C first, computed from fifths of 696.578 cents).
#[test]
fn a_temperament_table_keeps_a4_and_moves_the_rest() {
    const FIFTH: f64 = 696.578;
    let mut table = [0.0; 12];
    for steps in -3i32..=8 {
        let class = (7 * steps).rem_euclid(12) as usize;
        table[class] = f64::from(steps) * (FIFTH - 700.0);
    }
    let tuning = Tuning {
        reference: hz(440.0),
        temperament: Temperament(table),
        stretch: platenote::units::Cents::ZERO,
    };
    assert_within(tuning.target(note("A4")).get(), 440.0, 1e-9, "Hz");
    for (low, high) in [("C4", "E4"), ("F4", "A4"), ("G4", "B4")] {
        let third = tuning.target(note(high)).cents_above(tuning.target(note(low)));
        assert_within(third.get(), 386.314, 0.003, "cents");
    }
    let fifth = tuning.target(note("G4")).cents_above(tuning.target(note("C4")));
    assert_within(fifth.get(), FIFTH, 1e-6, "cents");
}

/// Computed: beats of 14, 18 and 24 cents above 440 Hz.
#[test]
fn tremolo_in_cents_beats_as_computed() {
    for (cents, beats) in [(14.0, 3.573), (18.0, 4.599), (24.0, 6.142)] {
        let rank =
            instrument(&format!("[[block.row]]\nname = \"A\"\nnotes = [\"A4\"]\ntremolo_cents = {cents}"));
        let target = rank.target(&reed(&rank, "A1 press")).unwrap();
        assert_within(target.beat_rate(hz(440.0)), beats, 0.0005, "Hz");
    }
}

/// The user's own example of anchors; half-way in notes lies half-way in beats, and the ends are held.
#[test]
fn tremolo_in_beats_is_interpolated_between_its_anchors() {
    let rank = instrument(
        "[[block.row]]\nname = \"A\"\nnotes = [\"A2\", \"A3\", \"Eb4\", \"A4\", \"A5\"]\n\
         tremolo_beats_hz = { \"A4\" = 3.2, \"A3\" = 2.4 }",
    );
    let straight = equal(440.0);
    let wanted =
        [("A1", "A2", 2.4), ("A2", "A3", 2.4), ("A3", "D#4", 2.8), ("A4", "A4", 3.2), ("A5", "A5", 3.2)];
    for (place, name, beats) in wanted {
        let target = rank.target(&reed(&rank, &format!("{place} draw"))).unwrap();
        assert_within(target.get() - straight.target(note(name)).get(), beats, 1e-9, "Hz");
    }
    let flat = Tremolo::BeatsAt(vec![(note("A4"), -2.0)]);
    assert_within(
        flat.offset(note("A4"), hz(440.0)).get(),
        hz(438.0).cents_above(hz(440.0)).get(),
        1e-9,
        "cents",
    );
}

/// Derived from the air's way through the plate (`docs/method.md`): press tests the valve on the outer face, draw the one
/// on the inner face; plates mounted the other way round the reverse. Blowing a test bench into the cell counts as draw.
#[test]
fn a_stroke_tests_the_valve_of_its_face() {
    for (line, on_press, on_draw) in
        [("", Face::Outer, Face::Inner), ("outer_tongue_sounds_on = \"draw\"\n", Face::Inner, Face::Outer)]
    {
        let block = instrument(&format!("{line}[[block.row]]\nname = \"A\"\nnotes = [\"E2\"]"));
        let tested = |stroke| block.valve_tested_by(&reed(&block, &format!("A1 {stroke}"))).unwrap().0.face;
        assert_eq!((tested(Stroke::Press), tested(Stroke::Draw)), (on_press, on_draw));
        for face in Face::BOTH {
            let stroke = block.blocks[0].stroke_that_tests(face);
            assert_eq!(block.blocks[0].face_tested_by(stroke), face);
        }
    }
}

/// Common practice, no source: high slots have no valve, and a valve lies only over a slot, so a plate with one reed has
/// at most one, on the face away from its tongue.
#[test]
fn no_valve_where_none_is_due() {
    let block = instrument(
        "[[block.row]]\nname = \"A\"\nnotes = { press = [\"E2\", \"E2\", \"-\"], draw = [\"E2\", \"-\", \"\"] }\n\
         valves_mm = [[38, 0], 38, 38]",
    );
    let valves = |place: &str| {
        let (_, _, plate) = block.plate(&block.plate_place(place).unwrap()).unwrap();
        (plate.valves.outer != Valve::None, plate.valves.inner != Valve::None)
    };
    assert_eq!(valves("A1"), (true, false));
    // The press reed's tongue is on the outer face, so its valve is on the inner one.
    assert_eq!(valves("A2"), (false, true));
    assert_eq!(valves("A3"), (false, false));
    assert_eq!(block.reeds().count(), 3);
    assert_eq!(block.valve_tested_by(&reed(&block, "A1 draw")).unwrap().1, Valve::None);
}

/// Arithmetic: 41 keys in four ranks have 328 tongues, twelve bass notes in five ranks 120.
#[test]
fn counts_of_whole_instruments() {
    for (plates, ranks, tongues) in [(41, 4, 328), (12, 5, 120)] {
        let notes: Vec<String> =
            (0..plates).map(|idx| format!("\"{}\"", Note::from_number(53 + idx).unwrap())).collect();
        let rows: String = (0..ranks)
            .map(|rank| {
                let name = char::from(b'A' + rank);
                format!("[[block.row]]\nname = \"{name}\"\nnotes = [{}]\n", notes.join(", "))
            })
            .collect();
        let all = instrument(&rows);
        assert_eq!(all.reeds().count(), tongues);
        assert_eq!(all.plates().count() * 2, tongues);
    }
}

#[test]
fn places_are_read_as_people_write_them() {
    let block = instrument("[[block.row]]\nname = \"A\"\nnotes = [\"E2\", \"F2\", \"F#2\"]");
    assert_eq!(reed(&block, "bass A2 press").to_string(), "bass A2 press");
    assert_eq!(reed(&block, "  BASS a02   Draw ").to_string(), "bass A2 draw");
    assert_eq!(block.valve_place("A3 outer").unwrap().to_string(), "bass A3 outer");
    let range = |text: &str| -> Vec<u32> {
        block.plate_range(text).unwrap().into_iter().map(|plate| plate.number).collect()
    };
    assert_eq!(range("A1..A3"), [1, 2, 3]);
    assert_eq!(range("bass A3..A1"), [3, 2, 1]);
    assert_eq!(block.spots("A1..A2 inner").unwrap().len(), 2);
    let refused = |text: &str| block.spots(text).unwrap_err().to_string();
    assert_eq!(refused("A4"), "row `A` of block `bass` has the plates 1 to 3, not 4");
    assert_eq!(refused("treble A1"), "there is no block `treble`; the plan has `bass`");
    assert_eq!(refused("B1"), "block `bass` has no row `B`; it has `A`");
    assert_eq!(refused("A"), "`A` is not a place");
    assert_eq!(refused("A1..A99999999999"), "`A1..A99999999999` is not a place");
    assert!(block.reed_place("A1").is_err() && block.reed_place("A1..A2 press").is_err());
}
