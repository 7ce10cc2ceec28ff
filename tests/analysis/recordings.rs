//! Real reeds: recordings under free licences, measured beforehand by other methods.
//!
//! They are not part of this repository. `PLATENOTE_RECORDINGS` names the folder that holds them with a
//! `manifest.json`: for each file its reeds (`f0_hz`, `u_cents`: one standard uncertainty, `median_level_db`) and `f0`.

use platenote::analysis::{Expectation, Opposite, OppositeExpectation, Reading, read};
use platenote::audio::read_file;
use platenote::units::{Cents, Hz};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// One recorded note and what is known of it.
struct Note {
    file: String,
    reeds: Vec<(f64, f64)>,
    f0_hz: f64,
    u_cents: f64,
    reading: Reading,
}

/// The folder, or a word on stderr why nothing is tested.
fn folder(test: &str) -> Option<PathBuf> {
    let folder = std::env::var_os("PLATENOTE_RECORDINGS").map(PathBuf::from);
    if folder.is_none() {
        eprintln!(
            "skipped: `{test}` needs recordings of real reeds, and PLATENOTE_RECORDINGS is not set; \
             set it to the folder that holds them and their manifest.json"
        );
    }
    folder
}

fn notes(folder: &Path) -> Vec<Note> {
    let text = std::fs::read_to_string(folder.join("manifest.json"))
        .expect("PLATENOTE_RECORDINGS has a manifest.json");
    let manifest: Value = serde_json::from_str(&text).expect("manifest.json is JSON");
    let list = manifest["notes"].as_array().expect("manifest.json lists notes");
    let number = |value: &Value| value.as_f64().expect("a number");
    list.iter()
        .map(|note| {
            let file = note["file"].as_str().expect("a file name").to_owned();
            let take = read_file(&folder.join(&file)).unwrap_or_else(|error| panic!("`{file}`: {error}"));
            let reading =
                read(&take, &Expectation::default()).unwrap_or_else(|refusal| panic!("`{file}`: {refusal}"));
            let reeds = note["reeds"]["measured"].as_array().expect("reeds").iter();
            Note {
                reeds: reeds.map(|reed| (number(&reed["f0_hz"]), number(&reed["u_cents"]))).collect(),
                f0_hz: number(&note["f0"]["hz"]),
                u_cents: number(&note["f0"]["u_cents"]),
                file,
                reading,
            }
        })
        .collect()
}

/// Single reeds: the pitch agrees within twice the manifest's uncertainty and the reading's own together.
#[test]
fn pitch_of_real_reeds_agrees() {
    let Some(folder) = folder("pitch_of_real_reeds_agrees") else { return };
    let mut wrong = Vec::new();
    for note in notes(&folder).iter().filter(|note| note.reeds.len() < 2) {
        let cents = 1200.0 * (note.reading.f0.get() / note.f0_hz).log2();
        let allowed = 2.0 * note.u_cents + note.reading.uncertainty.get();
        println!("{:28} {:9.3} Hz  {cents:+.3} cents of {allowed:.3}", note.file, note.f0_hz);
        if cents.abs() > allowed {
            wrong.push(format!("{}: {cents:+.3} cents of {allowed:.3}", note.file));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Tremolo pairs: two reeds, each within twice the manifest's uncertainty and the reading's own together.
#[test]
fn real_tremolo_pairs_are_told_apart() {
    let Some(folder) = folder("real_tremolo_pairs_are_told_apart") else { return };
    let mut wrong = Vec::new();
    for note in notes(&folder).iter().filter(|note| note.reeds.len() == 2) {
        let found = &note.reading.reeds;
        let offs: Vec<(f64, f64)> = found
            .iter()
            .zip(&note.reeds)
            .map(|(reed, (hz, u))| (1200.0 * (reed.f0.get() / hz).log2(), 2.0 * u + reed.uncertainty.get()))
            .collect();
        println!("{:28} {} reeds, cents off and allowed {offs:.3?}", note.file, found.len());
        if found.len() != 2 || offs.iter().any(|(off, allowed)| off.abs() > *allowed) {
            wrong.push(format!("{}: {} reeds, {offs:.3?}", note.file, found.len()));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Single reeds: no second tone and no second reed, whatever is known beforehand.
#[test]
fn single_real_reeds_give_no_second_tone() {
    let Some(folder) = folder("single_real_reeds_give_no_second_tone") else { return };
    let mut wrong = Vec::new();
    for note in notes(&folder).iter().filter(|note| note.reeds.len() < 2) {
        if !note.reading.reeds.is_empty() {
            wrong.push(format!("{}: {:?}", note.file, note.reading.reeds));
        }
        let take = read_file(&folder.join(&note.file)).expect("read before");
        let within = Cents::new(1.0).expect("finite");
        let known = [-200.0, -22.0, -9.0, 6.0, 14.0, 30.0, 300.0].into_iter().map(|cents| {
            let pitch = Hz::new(note.f0_hz).expect("a pitch").raised_by(Cents::new(cents).expect("finite"));
            OppositeExpectation::Known { pitch, within }
        });
        for opposite in known.chain([OppositeExpectation::Unknown]) {
            let reading =
                read(&take, &Expectation { opposite, ..Expectation::default() }).expect("read before");
            if matches!(reading.opposite, Opposite::Sounding { .. }) {
                wrong.push(format!("{} with {opposite:?}: {:?}", note.file, reading.opposite));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
