//! Note names as the restorer writes them: shown and typed in one way, kept in another.

use std::fs;

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use tempfile::TempDir;

use super::cli_standing::{As, sound};

fn platenote(at: &TempDir, words: &[&str]) -> assert_cmd::assert::Assert {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    command.current_dir(at.path()).env("PLATENOTE_CONFIG", at.path().join("config"));
    command.args(words).assert()
}

fn choose(at: &TempDir, names: &str) {
    fs::create_dir_all(at.path().join("config")).expect("a folder");
    let text = format!("note_names = \"{names}\"\n");
    fs::write(at.path().join("config/workshop.toml"), text).expect("a file");
}

#[test]
fn notes_are_shown_and_typed_in_the_chosen_way_and_stored_in_one() {
    let dir = tempfile::tempdir().expect("a folder");
    choose(&dir, "german");
    // H2 and B2, as a German restorer types them.
    fs::write(dir.path().join("plates.csv"), "row,plate,press\nA,1,H2\nA,2,B2\nA,3,Fis3\n").expect("a list");
    platenote(&dir, &["new", "job", "--plates", "plates.csv"]).success();
    let plan = || fs::read_to_string(dir.path().join("job/plan.toml")).expect("a plan");
    assert!(plan().contains(r#"notes = ["B2", "A#2", "F#3"]"#), "{}", plan());
    platenote(&dir, &["plan", "job", "--put-in", "A4", "--note", "Es3"]).success();
    assert!(plan().contains(r#""F#3", "D#3"]"#), "{}", plan());
    platenote(&dir, &["plan", "job", "--put-in", "A5", "--note", "La3"]).failure().stderr(contains("german"));
    // B2 of 123.47 Hz, the H of the list (equal temperament at 440 Hz).
    sound(&dir.path().join("A1-press.wav"), 123.470_8, 14.0, As::Tight, 51);
    platenote(&dir, &["add", "job", "A1-press.wav", "--pass", "before"]).success();
    let shown = |names: &str, wanted: &str| {
        choose(&dir, names);
        platenote(&dir, &["findings", "job"]).success().stdout(contains(format!("A1 press   {wanted} ")));
        platenote(&dir, &["read", "--note", wanted, "A1-press.wav"]).success().stdout(contains(wanted));
        platenote(&dir, &["report", "job", "--sound", "0"]).success();
        let page = fs::read_to_string(dir.path().join("job/report/report.html")).expect("the report");
        assert!(page.contains(&format!("<td>{wanted}</td>")), "{names}");
        let csv = fs::read_to_string(dir.path().join("job/report/reeds.csv")).expect("the table");
        assert!(csv.contains(&format!("A1 press,{wanted},")), "{csv}");
        // For programs it is always the same.
        platenote(&dir, &["findings", "job", "--json"]).success().stdout(contains(r#""note":"B2""#));
    };
    shown("german", "H2");
    shown("helmholtz", "B");
    shown("german_helmholtz", "H");
    shown("solfege", "Si2");
    shown("scientific", "B2");
    choose(&dir, "tonic");
    platenote(&dir, &["report", "job", "--sound", "0"]).success().stderr(contains("`note_names` is one of"));
}

#[test]
fn one_tray_of_the_workshop_serves_several_jobs_and_keeps_what_is_reserved() {
    let dir = tempfile::tempdir().expect("a folder");
    let plan = "format = 1\nbellows = \"unisonoric\"\n[[block]]\nname = \"bass\"\n[[block.row]]\nname = \"A\"\n\
        notes = [\"E2\"]\nvalves_mm = [[38, 36]]\n";
    for job in ["first", "second"] {
        platenote(&dir, &["new", job, "--empty"]).success();
        fs::write(dir.path().join(job).join("plan.toml"), format!("title = \"{job}\"\n{plan}"))
            .expect("a plan");
    }
    // Three valves of 38 mm in the workshop; each job needs one of 38 and one of 36.
    platenote(&dir, &["valves", "first", "--workshop", "--count", "38=3", "--condition", "flat"])
        .success()
        .stdout(contains("3 × 38 mm flat"));
    platenote(&dir, &["valves", "first", "--reserve"]).success().stdout(contains("2 needed, 2 usable"));
    platenote(&dir, &["valves", "second", "--reserve"]).success().stdout(contains("2 needed, 1 usable"));
    platenote(&dir, &["valves", "second", "--workshop"])
        .success()
        .stdout(contains("2 × 38 mm flat, reserved for").and(contains("1 × 38 mm flat, reserved for")));
    // Asked again nothing is taken twice.
    platenote(&dir, &["valves", "first", "--reserve"]).success().stderr(contains("has nothing for this job"));
    // One is fitted; the other goes back, and serves the second job.
    platenote(&dir, &["mark", "first", "A1", "outer", "valve", "fitted", "38"]).success();
    platenote(&dir, &["valves", "first", "--release"]).success().stderr(contains("1 valves went back"));
    platenote(&dir, &["valves", "second", "--reserve"]).success().stdout(contains("2 needed, 2 usable"));
    let output =
        platenote(&dir, &["valves", "first", "--workshop", "--json"]).success().get_output().stdout.clone();
    let text = String::from_utf8(output).expect("text");
    assert_eq!(text.lines().count(), 2, "nothing is free, both reservations are of the second job: {text}");
    assert!(
        text.lines().all(|line| line.contains(r#""kind":"reserved""#) && line.contains("second")),
        "{text}"
    );
    platenote(&dir, &["verify", "second"]).success();
}
