//! plan.toml edited in an editor: plates carry numbers, so takes and notes go along, and what would be lost is asked about.

use std::fs;
use std::path::Path;

use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;

use super::program::{AS_ADDED, counting, platenote, told, with_takes};
use super::{diary, sound};

fn edit(folder: &Path, changes: &[(&str, &str)]) {
    let mut text = fs::read_to_string(folder.join("plan.toml")).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "{from} in {text}");
        text = text.replacen(from, to, 1);
    }
    fs::write(folder.join("plan.toml"), text).unwrap();
}

const SPRINGS: &str = "helper_springs = [\"A1\", \"A2\", \"A3\", \"A4\", \"A5\", \"A6\"]";
const NUMBERS: &str = "plates = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]";

#[test]
fn rows_renumbered_in_an_editor_take_their_takes_and_notes_along() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    platenote(at, &["mark", "job", "A2", "outer", "valve", "kept"]).success();
    // A plate put in at the front, with its note but without its number: the numbers no longer go with the notes.
    edit(&folder, &[("notes = [\"E2\"", "notes = [\"D#2\", \"E2\""), ("valves_mm = [", "valves_mm = [58, ")]);
    platenote(at, &["status", "job"])
        .failure()
        .stderr(contains("12 plate numbers for 13 notes").and(contains("`0` for a plate that is new")));
    let lines = diary(&folder);
    edit(&folder, &[(NUMBERS, "plates = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]")]);
    // Whoever only reads is told, and sees them where they are.
    let there = ["before bass A2 draw", "before bass A2 press", "before bass A3 press"];
    assert_eq!(counting(at), there);
    assert_eq!(diary(&folder), lines, "reading writes nothing");
    platenote(at, &["status", "job"]).success().stderr(contains("bass A1 is now bass A2"));
    platenote(at, &["verify", "job"]).success();
    // The next to write writes it down, and gives the new plate its number.
    platenote(at, &["mark", "job", "A1", "lifted"]).success().stderr(contains("bass A1 is now bass A2"));
    assert!(diary(&folder).starts_with(&lines));
    assert_eq!(counting(at), there);
    assert!(told(at, &["status", "job", "--marks"]).join("").contains("bass A3 outer"));
    let plan = fs::read_to_string(folder.join("plan.toml")).unwrap();
    assert!(plan.contains("plates = [25, 1, 2,") || plan.contains("plates = [\n    25, 1, 2,"), "{plan}");
    platenote(at, &["status", "job"]).success().stderr(contains("is now").not());
    platenote(at, &["verify", "job"]).success();
    // A row renamed by hand.
    edit(&folder, &[("name = \"A\"", "name = \"M\""), (SPRINGS, "")]);
    assert_eq!(counting(at), there.map(|take| take.replace(" A", " M")));
}

#[test]
fn what_a_hand_would_leave_without_a_place_is_asked_about_and_comes_back_with_its_number() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    let plan = fs::read_to_string(folder.join("plan.toml")).unwrap();
    let notes = plan.lines().find(|line| line.starts_with("notes")).unwrap().to_owned();
    let shorter = notes.replacen("\"E2\", ", "", 1);
    edit(
        &folder,
        &[
            (&notes, &shorter),
            (NUMBERS, "plates = [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]"),
            ("valves_mm = [58.0, ", "valves_mm = ["),
        ],
    );
    let lines = diary(&folder);
    platenote(at, &["mark", "job", "A1", "lifted"])
        .failure()
        .stderr(contains("takes/before/bass-A1-press-1.wav").and(contains("--adopt --yes")));
    assert_eq!(diary(&folder), lines);
    platenote(at, &["take", "job"]).success().stderr(contains("without a place"));
    platenote(at, &["plan", "job", "--adopt"]).failure();
    platenote(at, &["plan", "job", "--adopt", "--yes"]).success().stdout(contains("1 plates are gone"));
    // A2 is A1 now, and the takes of the plate that is gone are no other plate's.
    let found = told(at, &["take", "job", "A1", "--json"]).join("");
    assert!(found.contains("bass-A2-press-1.wav") && !found.contains("bass-A1-press-1.wav"), "{found}");
    sound(&at.join("A1-draw-new.wav"), 20);
    platenote(at, &["add", "job", "A1-draw-new.wav", "--pass", "before"]).success();
    // The number is back, and so are its takes.
    fs::write(folder.join("plan.toml"), &plan).unwrap();
    let all = [AS_ADDED[0], AS_ADDED[1], "before bass A2 draw", AS_ADDED[2]];
    assert_eq!(counting(at), all);
    platenote(at, &["mark", "job", "A1", "lifted"]).success();
    assert_eq!(counting(at), all);
    platenote(at, &["verify", "job"]).success();
}

#[test]
fn a_plan_without_numbers_reads_on_and_gets_them_when_asked() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    let plan = fs::read_to_string(folder.join("plan.toml")).unwrap();
    let old: String =
        plan.lines().filter(|line| !line.starts_with("plates")).map(|line| format!("{line}\n")).collect();
    // A job of before: neither plan nor diary knows a number.
    fs::write(folder.join("plan.toml"), &old).unwrap();
    let lines: String = diary(&folder)
        .lines()
        .filter(|line| !line.contains("\"plates\""))
        .map(|line| format!("{line}\n"))
        .collect();
    fs::write(folder.join("diary.jsonl"), lines).unwrap();
    platenote(at, &["mark", "job", "A1", "lifted"]).success();
    assert!(!diary(&folder).contains("\"what\":\"plates\""));
    assert_eq!(fs::read_to_string(folder.join("plan.toml")).unwrap(), old);
    assert_eq!(counting(at), AS_ADDED);
    platenote(at, &["plan", "job", "--number"]).success();
    assert!(fs::read_to_string(folder.join("plan.toml")).unwrap().contains("plates = ["));
    edit(&folder, &[("name = \"A\"", "name = \"M\""), (SPRINGS, "")]);
    assert_eq!(counting(at), AS_ADDED.map(|take| take.replace(" A", " M")));
    platenote(at, &["plan", "job", "--number"]).failure().stderr(contains("already"));
}

#[test]
fn plays_of_a_tuning_sitting_go_along_with_their_plate() {
    use platenote::job::{Event, JobWriter, PlayFacts};
    let (dir, folder) = with_takes();
    let at = dir.path();
    let play = PlayFacts {
        place: "bass A2 press".into(),
        f0_hz: 87.3,
        uncertainty_cents: 0.2,
        target_hz: 87.3,
        level_dbfs: -20.0,
        after_mark: None,
        settled_s: None,
    };
    JobWriter::open(&folder).unwrap().note(Event::Play(play)).unwrap();
    platenote(at, &["plan", "job", "--put-in", "A1", "--note", "D2"]).success();
    let places = || -> Vec<String> {
        let job = platenote::job::Job::open(&folder).unwrap();
        job.plays().into_iter().map(|play| play.place).collect()
    };
    assert_eq!(places(), ["bass A3 press"]);
    platenote(at, &["plan", "job", "--undo"]).success();
    assert_eq!(places(), ["bass A2 press"]);
}
