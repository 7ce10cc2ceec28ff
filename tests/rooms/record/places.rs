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
