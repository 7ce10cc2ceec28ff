//! Each mistake with the real program.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use serde_json::Value;

use super::{diary, job, sound};

pub(super) fn platenote(at: &Path, words: &[&str]) -> assert_cmd::assert::Assert {
    Command::new(assert_cmd::cargo::cargo_bin!("platenote")).current_dir(at).args(words).assert()
}

/// What it prints, a line each.
pub(super) fn told(at: &Path, words: &[&str]) -> Vec<String> {
    let output = platenote(at, words).success().get_output().stdout.clone();
    String::from_utf8(output).unwrap().lines().map(str::to_owned).collect()
}

/// The takes that count: `pass place`, sorted.
pub(super) fn counting(at: &Path) -> Vec<String> {
    let takes = told(at, &["take", "job", "--json"]).into_iter().map(|line| {
        let take: Value = serde_json::from_str(&line).unwrap();
        (take["withdrawn"] == false)
            .then(|| format!("{} {}", take["pass"].as_str().unwrap(), take["place"].as_str().unwrap()))
    });
    let mut takes: Vec<String> = takes.flatten().collect();
    takes.sort();
    takes
}

/// A job with takes of A1 press, A1 draw and A2 press in pass `before`.
pub(super) fn with_takes() -> (tempfile::TempDir, std::path::PathBuf) {
    let (dir, folder) = job();
    for (n, name) in ["A1-press", "A1-draw", "A2-press"].into_iter().enumerate() {
        sound(&dir.path().join(format!("{name}.wav")), n as u32);
    }
    platenote(dir.path(), &["add", "job", "A1-press.wav", "A1-draw.wav", "A2-press.wav", "--pass", "before"])
        .success();
    (dir, folder)
}

pub(super) const AS_ADDED: [&str; 3] =
    ["before bass A1 draw", "before bass A1 press", "before bass A2 press"];

#[test]
fn a_take_is_withdrawn_and_counts_again() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    let before = diary(&folder);
    platenote(at, &["take", "job", "A1", "press", "--withdraw", "--why", "a door slammed"])
        .success()
        .stdout(contains("correction 1: takes/before/bass-A1-press-1.wav withdrawn"));
    assert_eq!(counting(at), ["before bass A1 draw", "before bass A2 press"]);
    // The sound is known, and is not stored behind the back of whoever withdrew it.
    platenote(at, &["add", "job", "A1-press.wav", "--pass", "before"])
        .failure()
        .stderr(contains("was withdrawn").and(contains("--undo=1")));
    platenote(at, &["verify", "job"]).success().stdout(contains("3 whole takes (1 of them withdrawn)"));
    // One that does not count may be deleted.
    let file = folder.join("takes/before/bass-A1-press-1.wav");
    let sound = fs::read(&file).unwrap();
    fs::remove_file(&file).unwrap();
    platenote(at, &["verify", "job"]).success();
    fs::write(&file, sound).unwrap();
    platenote(at, &["take", "job", "--undo"]).success().stdout(contains("correction 1 taken back"));
    assert_eq!(counting(at), AS_ADDED);
    platenote(at, &["take", "job", "--undo"])
        .failure()
        .stderr(contains("there is no correction to take back"));
    assert!(diary(&folder).starts_with(&before), "lines are only added");
}

#[test]
fn a_take_is_moved_to_another_reed_stroke_and_pass() {
    let (dir, _folder) = with_takes();
    let at = dir.path();
    platenote(at, &["take", "job", "takes/before/bass-A2-press-1.wav", "--to", "A2 draw"]).success();
    assert_eq!(counting(at)[2], "before bass A2 draw");
    platenote(at, &["take", "job", "A2 draw", "--to-pass", "after"])
        .failure()
        .stderr(contains("no pass `after`"));
    sound(&at.join("B1-press.wav"), 9);
    platenote(at, &["add", "job", "B1-press.wav", "--pass", "after"]).success();
    platenote(at, &["take", "job", "A2 draw", "--to-pass", "after", "--to", "B2 draw"]).success();
    assert_eq!(counting(at)[0..2], ["after bass B1 press", "after bass B2 draw"]);
    // A place that two takes of different passes share wants its pass named.
    platenote(at, &["take", "job", "A1", "press", "--to", "Z9 press"]).failure().stderr(contains("row `Z`"));
    platenote(at, &["take", "job", "--undo"]).success();
    platenote(at, &["take", "job", "--undo"]).success();
    assert_eq!(counting(at), ["after bass B1 press", AS_ADDED[0], AS_ADDED[1], AS_ADDED[2]]);
    platenote(at, &["verify", "job"]).success();
}

#[test]
fn a_pass_is_renamed_merged_and_withdrawn_and_a_free_name_is_used_again() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    platenote(at, &["pass", "job", "before", "--rename", "spring"]).success();
    assert_eq!(counting(at)[0], "spring bass A1 draw");
    // A new pass under the old name is another one, with files of its own.
    sound(&at.join("B1-press.wav"), 9);
    platenote(at, &["add", "job", "B1-press.wav", "--pass", "before"]).success();
    assert!(folder.join("takes/before-2/bass-B1-press-1.wav").is_file());
    assert_eq!(counting(at)[0], "before bass B1 press");
    // Taking the renaming back now would give two passes one name.
    platenote(at, &["pass", "job", "--undo"])
        .failure()
        .stderr(contains("two passes would be called `before`"));
    platenote(at, &["pass", "job", "spring", "--into", "before"]).success();
    assert_eq!(counting(at).iter().filter(|take| take.starts_with("before ")).count(), 4);
    assert_eq!(told(at, &["pass", "job"]).len(), 1);
    platenote(at, &["pass", "job", "--undo"]).success().stdout(contains("merged"));
    platenote(at, &["pass", "job", "before", "--withdraw"]).success();
    assert_eq!(counting(at).len(), 3);
    platenote(at, &["findings", "job", "--pass", "before"]).failure().stderr(contains("it has `spring`"));
    // Now the name is free.
    platenote(at, &["pass", "job", "--undo=1"]).success();
    assert_eq!(counting(at), AS_ADDED);
    let changes = told(at, &["pass", "job", "--changes"]);
    assert_eq!(changes.len(), 3, "{changes:?}");
    platenote(at, &["verify", "job"]).success();
}

#[test]
fn what_is_known_of_a_pass_is_put_right_without_a_take() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    platenote(
        at,
        &["pass", "job", "before", "--temperature", "17,5", "--date", "2026-03-01", "--place", "bench"],
    )
    .success()
    .stdout(contains("17.5 °C, 2026-03-01, measured in: bench"));
    platenote(at, &["pass", "job", "before", "--temperature", "unknown"]).success();
    platenote(at, &["pass", "job", "before", "--clock", "12,5±3"]).success();
    platenote(at, &["pass", "job", "before", "--temperature", "99"])
        .failure()
        .stderr(contains("out of range"));
    let pass = || -> Value { serde_json::from_str(&told(at, &["pass", "job", "--json"])[0]).unwrap() };
    assert_eq!(pass()["temperature_c"], Value::Null);
    // The older correction is taken back, the newer one stays; and the other way round.
    platenote(at, &["pass", "job", "--undo=2"]).success();
    assert_eq!((&pass()["temperature_c"], &pass()["date"]), (&17.5.into(), &"2026-03-01".into()));
    platenote(at, &["pass", "job", "--undo=1"]).success();
    assert_eq!((&pass()["temperature_c"], &pass()["place"]), (&Value::Null, &"instrument".into()));
    let job = platenote::job::Job::open(&folder).unwrap();
    assert!(job.takes("before").iter().all(|(_, takes)| takes[0].facts.clock().error_ppm == 12.5));
}

#[test]
fn a_pass_name_one_letter_from_another_is_asked_about() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    sound(&at.join("B1-press.wav"), 9);
    let lines = diary(&folder);
    platenote(at, &["add", "job", "B1-press.wav", "--pass", "befor"])
        .failure()
        .stderr(contains("there is a pass `before`").and(contains("--new-pass")));
    assert_eq!(diary(&folder), lines);
    platenote(at, &["pass", "job", "before", "--rename", "befor"]).success();
    platenote(at, &["add", "job", "B1-press.wav", "--pass", "before", "--new-pass"]).success();
    // Numbers tell passes apart on purpose.
    platenote(at, &["add", "job", "B1-press.wav", "--pass", "before2"]).success();
    platenote(at, &["add", "job", "B1-press.wav", "--pass", "before3"]).success();
}

#[test]
fn a_deleted_and_a_damaged_take_cost_their_own_verdict_alone_and_one_can_go_on() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    fs::remove_file(folder.join("takes/before/bass-A2-press-1.wav")).unwrap();
    fs::write(folder.join("takes/before/bass-A1-press-1.wav"), b"not sound").unwrap();
    let verdict = platenote(at, &["verify", "job"]).failure().code(1);
    verdict.stdout(contains("take JOB takes/before/bass-A2-press-1.wav --withdraw").and(contains("2 wrong")));
    // What could be judged is judged; that a take cannot be read is said by the code.
    let found = platenote(at, &["findings", "job", "--pass", "before", "--json"]).failure().code(1);
    let reeds = String::from_utf8(found.get_output().stdout.clone()).unwrap();
    let of = |place: &str| -> Value {
        let mut lines = reeds.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        lines.find(|line| line["kind"] == "reed" && line["place"] == place).unwrap()
    };
    assert!(of("bass A1 draw")["f0_hz"].is_number());
    assert!(of("bass A1 press")["f0_hz"].is_null() && of("bass A2 press")["f0_hz"].is_null());
    for file in ["takes/before/bass-A2-press-1.wav", "takes/before/bass-A1-press-1.wav"] {
        platenote(at, &["take", "job", file, "--withdraw"]).success();
    }
    platenote(at, &["verify", "job"]).success().stdout(contains("1 whole take, "));
}

#[test]
fn plates_take_their_takes_and_notes_along() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    platenote(at, &["mark", "job", "A2", "outer", "valve", "kept"]).success();
    let lines = diary(&folder);
    let plan = fs::read(folder.join("plan.toml")).unwrap();
    // What would be left without a place is named, and nothing is changed without a yes.
    platenote(at, &["plan", "job", "--take-out", "A1"]).failure().stderr(
        contains("takes/before/bass-A1-press-1.wav")
            .and(contains("bass-A1-draw-1.wav"))
            .and(contains("--yes")),
    );
    assert_eq!((diary(&folder), fs::read(folder.join("plan.toml")).unwrap()), (lines.clone(), plan.clone()));
    platenote(at, &["plan", "job", "--take-out", "A1", "--yes"]).success();
    // A2 is A1 now, and the takes of the plate that is out are no other plate's.
    let found = told(at, &["take", "job", "A1", "--json"]).join("");
    assert!(found.contains("bass-A2-press-1.wav") && !found.contains("bass-A1-press-1.wav"), "{found}");
    assert!(told(at, &["status", "job", "--marks"]).join("").contains("bass A1 outer"));
    platenote(at, &["verify", "job"]).failure().stdout(contains("whose plate was taken out of the plan"));
    // A take recorded meanwhile belongs to the plate it was recorded of.
    sound(&at.join("A1-draw-new.wav"), 20);
    platenote(at, &["add", "job", "A1-draw-new.wav", "--pass", "before"]).success();
    platenote(at, &["plan", "job", "--undo"]).success();
    assert_eq!(fs::read(folder.join("plan.toml")).unwrap(), plan);
    let all = [AS_ADDED[0], AS_ADDED[1], "before bass A2 draw", AS_ADDED[2]];
    assert_eq!(counting(at), all);
    assert!(told(at, &["status", "job", "--marks"]).join("").contains("bass A2 outer"));
    platenote(at, &["verify", "job"]).success();
    // Renamed, put in, renumbered: nothing is lost, so nothing is asked.
    platenote(at, &["plan", "job", "--rename-block", "bass", "low"]).success();
    platenote(at, &["plan", "job", "--rename-row", "A", "M"]).success();
    platenote(at, &["plan", "job", "--put-in", "M1", "--note", "D2"]).success();
    platenote(at, &["plan", "job", "--renumber", "M3", "M13"]).success();
    let there = ["before low M13 draw", "before low M13 press", "before low M2 draw", "before low M2 press"];
    assert_eq!(counting(at), there);
    platenote(at, &["plan", "job", "--rename-row", "M", "B"])
        .failure()
        .stderr(contains("`B` is there already"));
    platenote(at, &["verify", "job"]).success();
    assert!(diary(&folder).starts_with(&lines), "lines are only added");
    // Edited by hand, the plan is the person's again.
    let by_hand = fs::read_to_string(folder.join("plan.toml")).unwrap() + "# by hand\n";
    fs::write(folder.join("plan.toml"), by_hand).unwrap();
    platenote(at, &["plan", "job", "--undo"]).failure().stderr(contains("plan.toml was edited since"));
    assert_eq!(counting(at), there);
}

#[test]
fn a_change_of_the_plan_that_was_cut_off_is_whole_or_none() {
    let (dir, folder) = with_takes();
    let at = dir.path();
    let plan = fs::read(folder.join("plan.toml")).unwrap();
    platenote(at, &["plan", "job", "--rename-row", "A", "M"]).success();
    let renamed = fs::read(folder.join("plan.toml")).unwrap();
    // Cut off behind the diary's line: the new text lies beside, and holds.
    fs::write(folder.join("plan.next.toml"), &renamed).unwrap();
    fs::write(folder.join("plan.toml"), &plan).unwrap();
    assert_eq!(counting(at)[0], "before bass M1 draw");
    platenote(at, &["mark", "job", "M1", "lifted"]).success();
    assert_eq!(fs::read(folder.join("plan.toml")).unwrap(), renamed);
    assert!(!folder.join("plan.next.toml").exists());
    // Cut off before it: what lies beside is nothing.
    fs::write(folder.join("plan.next.toml"), &plan).unwrap();
    assert_eq!(counting(at)[0], "before bass M1 draw");
    platenote(at, &["mark", "job", "M2", "lifted"]).success();
    assert!(!folder.join("plan.next.toml").exists());
    platenote(at, &["verify", "job"]).success();
}
