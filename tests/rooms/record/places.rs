//! Files placed by their names and by their pitch.

use std::path::Path;

use platenote::alignment::{NotPlaced, place_by_name, place_by_pitch};
use platenote::instrument::Stroke;
use platenote::job::{Plan, Template};
use platenote::units::Hz;

use super::bass;

#[test]
fn names_place_files_and_doubtful_ones_do_not() {
    let bass = bass();
    for name in
        ["bass-A7-press", "Bass_a07 PRESS (2)", "A7press", "take 3 bass A7 press", "2026-04-30 A 7 press"]
    {
        assert_eq!(place_by_name(name, &bass).unwrap().to_string(), "bass A7 press", "{name}");
    }
    // German, Italian and French words (common practice, no source).
    for name in ["bass-A7-Druck", "A7 chiudendo", "A7_poussé"] {
        assert_eq!(place_by_name(name, &bass).unwrap().to_string(), "bass A7 press", "{name}");
    }
    for name in ["A07Zug (3)", "bass A7 aprendo", "A7-tiré"] {
        assert_eq!(place_by_name(name, &bass).unwrap().to_string(), "bass A7 draw", "{name}");
    }
    assert_eq!(place_by_name("A7", &bass), Err(NotPlaced::NoStroke { plate: "bass A7".into() }));
    assert_eq!(place_by_name("voice memo 12", &bass), Err(NotPlaced::NoPlate));
    assert_eq!(place_by_name("A13 press", &bass), Err(NotPlaced::NoPlate));
    assert!(matches!(place_by_name("A7 B2 press", &bass), Err(NotPlaced::Several { .. })));
    assert!(matches!(place_by_name("A7 press draw", &bass), Err(NotPlaced::Several { .. })));
}

/// A semitone is 100 cents, so 34 cents sharp leaves 66 to the next note, and 36 leaves too little to be sure.
#[test]
fn pitch_places_only_where_one_reed_fits() {
    let bass = bass();
    let near = |cents: f64, stroke| {
        let pitch = Hz::new(110.0 * (cents / 1200.0).exp2()).unwrap();
        place_by_pitch(pitch, None, stroke, &bass).map(|found| found.place.to_string())
    };
    assert_eq!(near(34.0, Some(Stroke::Draw)).unwrap(), "bass A6 draw");
    assert!(matches!(near(36.0, Some(Stroke::Draw)), Err(NotPlaced::NoneNear { .. })));
    assert!(
        matches!(near(0.0, None), Err(NotPlaced::SeveralNear { .. })),
        "both reeds of a unisonoric plate fit"
    );
    let bisonoric = Plan::parse(&Template::Bisonoric20.to_toml(), Path::new("p")).unwrap().instrument;
    let b3 = place_by_pitch(Hz::new(246.94).unwrap(), None, Some(Stroke::Draw), &bisonoric).unwrap();
    assert_eq!(b3.place.to_string(), "melody A1 draw");
}

#[test]
fn places_are_typed_as_ranges_lists_rows_and_blocks() {
    let mut bass = bass();
    let names = |text: &str, instrument: &platenote::instrument::Instrument| -> Vec<String> {
        instrument.spots(text).unwrap().iter().map(ToString::to_string).collect()
    };
    let range = ["bass A3 outer", "bass A4 outer", "bass A5 outer"];
    for text in
        ["A3..A5 outer", "a3-a5 outer", "A3-5 outer", "A3–A5 outer", "bass A3 outer, A4 outer, A5 outer"]
    {
        assert_eq!(names(text, &bass), range, "{text}");
    }
    assert_eq!(names("A5-A4, A4 B1 press", &bass), ["bass A5", "bass A4", "bass B1 press"]);
    assert_eq!(
        (names("row B", &bass).len(), names("all draw", &bass).len(), names("bass", &bass).len()),
        (12, 24, 24)
    );
    let mut treble = bass.blocks[0].clone();
    treble.name = "treble".into();
    bass.blocks.push(treble);
    // The block counts on.
    assert_eq!(names("treble A5 B8, bass A1", &bass), ["treble A5", "treble B8", "bass A1"]);
    assert_eq!(names("treble row A", &bass).len(), 12);
    assert_eq!(names("all", &bass).len(), 48);
    // What was not understood is named.
    for (text, part) in [("bass A1 A3-B5", "A3-B5"), ("bass A1, A2x", "A2x"), ("bass A1 upper", "upper")] {
        let told = bass.spots(text).unwrap_err().to_string();
        assert!(told.contains(&format!("`{part}` is not a place, in `{text}`")), "{told}");
    }
    assert!(bass.spots("A1").unwrap_err().to_string().contains("does not say which block"));
    assert!(bass.spots("").is_err() && bass.spots("row").is_err() && bass.spots(",").is_err());
}
