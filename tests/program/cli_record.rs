//! `new`, `add` and `verify` through the real program in empty folders: output, messages, exit codes, files left behind.

use std::f64::consts::TAU;
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use platenote::audio::write_wav;
use platenote::job::{Job, JobWriter};
use platenote::take::Take;
use predicates::prelude::*;
use predicates::str::{contains, is_empty, starts_with};
use tempfile::TempDir;

fn platenote(at: &TempDir, words: &str) -> assert_cmd::assert::Assert {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    command.current_dir(at.path()).args(words.split_whitespace()).assert()
}

/// An empty folder with a job `job` of two rows in it.
fn with_job() -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    platenote(&dir, "new job --template bass24").success();
    dir
}

/// A buzzing tone of 1.5 s with silence around it; partials fall off by 6 dB an octave.
fn tone(at: &TempDir, name: &str, pitch_hz: f64) {
    let rate = 48_000;
    let samples = (0..2 * rate).map(|idx| {
        let time = f64::from(idx) / f64::from(rate);
        let swell = ((time - 0.2) / 0.05).clamp(0.0, 1.0) * ((1.7 - time) / 0.01).clamp(0.0, 1.0);
        let sum: f64 = (1..=12).map(|n| (TAU * pitch_hz * f64::from(n) * time).sin() / f64::from(n)).sum();
        // A little noise that is the same in every run (a linear congruence, Knuth's constants).
        let noise = (idx as u64).wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407) >> 40;
        (0.2 * swell * sum + 1e-4 * (noise as f64 / f64::from(1 << 24) - 0.5)) as f32
    });
    write_wav(&at.path().join(name), &Take::new(samples.collect(), rate)).unwrap();
}

fn names_below(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn json_lines(output: &[u8]) -> Vec<serde_json::Value> {
    std::str::from_utf8(output).unwrap().lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

// --- The front door ---

#[test]
fn exit_codes_are_those_of_the_help() {
    let dir = tempfile::tempdir().unwrap();
    platenote(&dir, "--version").code(0).stdout(starts_with("platenote ")).stderr(is_empty());
    platenote(&dir, "verify nowhere")
        .code(1)
        .stdout(is_empty())
        .stderr("error: `nowhere` is not a job: it has no plan.toml\nnext:  give the folder of a job, or make one with `platenote new`\n");
    platenote(&dir, "").code(2).stdout(is_empty());
    platenote(&dir, "verify").code(2).stdout(is_empty());
    platenote(&dir, "polish job").code(2).stdout(is_empty());
    assert!(names_below(dir.path()).is_empty());
}

// --- new ---

#[test]
fn new_makes_a_job_and_leaves_an_old_one_alone() {
    let dir = tempfile::tempdir().unwrap();
    for (template, counts) in [
        ("bass24", "24 plates, 48 reeds"),
        ("treble41", "41 plates, 82 reeds"),
        ("bisonoric20", "20 plates, 40 reeds"),
    ] {
        platenote(&dir, &format!("new {template} --template {template} --title Kitchen"))
            .success()
            .stdout(format!("new job in `{template}`: {counts}\n"))
            .stderr(contains("next:  correct `"));
        assert_eq!(names_below(&dir.path().join(template)), ["plan.toml", "takes"]);
        let plan = fs::read_to_string(dir.path().join(template).join("plan.toml")).unwrap();
        assert!(plan.contains("title = \"Kitchen\""), "{plan}");
        platenote(&dir, &format!("verify {template}")).success();
    }
    let before = fs::read(dir.path().join("bass24/plan.toml")).unwrap();
    platenote(&dir, "new bass24 --empty")
        .code(1)
        .stdout(is_empty())
        .stderr(starts_with("error: `bass24` has a `plan.toml` already\nnext:  "));
    assert_eq!(fs::read(dir.path().join("bass24/plan.toml")).unwrap(), before);
}

#[test]
fn new_without_more_gives_a_commented_plan_that_reads_straight_away() {
    let dir = tempfile::tempdir().unwrap();
    platenote(&dir, "new job").success().stdout("new job in `job`: 3 plates, 6 reeds\n");
    assert!(fs::read_to_string(dir.path().join("job/plan.toml")).unwrap().contains("# Another row:"));
    platenote(&dir, "verify job").success().stdout("0 whole takes, 0 lines in the diary, 0 wrong\n");
}

#[test]
fn new_takes_a_list_of_plates_or_names_its_fault() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("plates.csv"), "row,plate,press,draw\nA,1,C4,D4\nA,2,E4,\n").unwrap();
    platenote(&dir, "new job --plates plates.csv").success().stdout("new job in `job`: 2 plates, 3 reeds\n");
    fs::write(dir.path().join("bad.csv"), "row,plate,pres\n").unwrap();
    platenote(&dir, "new other --plates bad.csv").code(1).stderr(starts_with(
        "error: `bad.csv` line 1: there is no column `pres`\nnext:  did you mean `press`?",
    ));
    platenote(&dir, "new other --plates none.csv").code(1).stderr(contains("`none.csv` could not be read"));
    platenote(&dir, "new other --plates plates.csv --template bass24").code(2);
    assert!(!dir.path().join("other").exists());
}

#[test]
fn a_faulty_plan_is_told_by_line_and_key() {
    let dir = with_job();
    let plan = dir.path().join("job/plan.toml");
    let text = fs::read_to_string(&plan).unwrap();
    fs::write(&plan, text.replace("reference_hz", "refrence_hz")).unwrap();
    tone(&dir, "A1-press.wav", 82.41);
    platenote(&dir, "add job A1-press.wav --pass before").code(1).stdout(is_empty()).stderr(starts_with(
        "error: `job/plan.toml` line 6, `refrence_hz`: there is no such key here; did you mean `reference_hz`?\nnext:  ",
    ));
    platenote(&dir, "verify job").code(1).stdout(contains("did you mean `reference_hz`?"));
    assert_eq!(names_below(&dir.path().join("job")), ["plan.toml", "takes"]);
}

// --- add ---

#[test]
fn add_places_by_name_refuses_the_rest_and_keeps_originals() {
    let dir = with_job();
    tone(&dir, "Bass_a07-PRESS.wav", 116.54);
    tone(&dir, "B2 draw.wav", 174.61);
    fs::write(dir.path().join("A3-press.wav"), "no sound at all").unwrap();
    tone(&dir, "A99-press-A8.wav", 123.47);
    let original = fs::read(dir.path().join("Bass_a07-PRESS.wav")).unwrap();
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    let files = ["Bass_a07-PRESS.wav", "A3-press.wav", "missing-A1-draw.wav", "B2 draw.wav"];
    command.current_dir(dir.path()).args([
        "add",
        "job",
        "--pass",
        "before",
        "--temperature",
        "19.5",
        "--place",
        "bench",
    ]);
    command
        .args(files)
        .assert()
        .code(1)
        .stdout(
            "Bass_a07-PRESS.wav: bass A7 press, since its name says so; stored as takes/before/bass-A7-press-1.wav\n\
             B2 draw.wav: bass B2 draw, since its name says so; stored as takes/before/bass-B2-draw-1.wav\n",
        )
        .stderr(contains("A3-press.wav").and(contains("missing-A1-draw.wav")).and(contains("next:  ")));
    assert_eq!(
        names_below(&dir.path().join("job/takes/before")),
        ["bass-A7-press-1.wav", "bass-B2-draw-1.wav"]
    );
    assert_eq!(fs::read(dir.path().join("job/takes/before/bass-A7-press-1.wav")).unwrap(), original);
    assert_eq!(fs::read(dir.path().join("Bass_a07-PRESS.wav")).unwrap(), original);
    let diary = fs::read_to_string(dir.path().join("job/diary.jsonl")).unwrap();
    let lines = json_lines(diary.as_bytes());
    // The first line says the numbers of the plates.
    assert_eq!(lines.len(), 4);
    assert_eq!(
        (&lines[1]["what"], &lines[1]["temperature_c"], &lines[1]["place"]),
        (&"pass".into(), &19.5.into(), &"bench".into())
    );
    assert_eq!(lines[2]["original"], "Bass_a07-PRESS.wav");
    platenote(&dir, "verify job").success().stdout("2 whole takes, 4 lines in the diary, 0 wrong\n");
}

#[test]
fn add_says_when_the_same_file_comes_twice() {
    let dir = with_job();
    tone(&dir, "A1-press.wav", 82.41);
    platenote(&dir, "add job A1-press.wav --pass before").success();
    platenote(&dir, "add job A1-press.wav --pass before").success().stdout(contains(
        "the same sound is there already, not stored again: takes/before/bass-A1-press-1.wav",
    ));
    fs::copy(dir.path().join("A1-press.wav"), dir.path().join("A2-press.wav")).unwrap();
    platenote(&dir, "add job A2-press.wav --pass before").code(1).stdout(is_empty()).stderr(contains(
        "the same sound is in the pass already, as `takes/before/bass-A1-press-1.wav` of bass A1 press",
    ));
    // What was placed wrongly can be put right, and back.
    platenote(&dir, "add job A2-press.wav --pass before --move").success().stdout(
        "A2-press.wav: bass A2 press, since its name says so; moved there, the take keeps its name takes/before/bass-A1-press-1.wav\n",
    );
    platenote(&dir, "add job A2-press.wav --pass before").success().stdout(contains("not stored again"));
    let job = Job::open(&dir.path().join("job")).unwrap();
    let places: Vec<String> = job.takes("before").iter().map(|(place, _)| place.to_string()).collect();
    assert_eq!(places, ["bass A2 press"]);
    // Another pass is another measurement.
    platenote(&dir, "add job A1-press.wav --pass after").success();
    assert_eq!(fs::read_to_string(dir.path().join("job/diary.jsonl")).unwrap().lines().count(), 6);
}

#[test]
fn add_by_list_with_json() {
    let dir = with_job();
    fs::create_dir(dir.path().join("phone")).unwrap();
    tone(&dir, "phone/voice 1.wav", 82.41);
    tone(&dir, "phone/voice 2.wav", 87.31);
    fs::write(
        dir.path().join("phone/takes.csv"),
        "file,place\nvoice 1.wav,bass A1 press\nvoice 2.wav,A99 draw\nvoice 3.wav,A3 draw\n",
    )
    .unwrap();
    let result = platenote(&dir, "add job --pass before --list phone/takes.csv --json").code(1);
    let lines = json_lines(&result.get_output().stdout);
    let states: Vec<&str> = lines.iter().map(|line| line["state"].as_str().unwrap()).collect();
    assert_eq!(states, ["stored", "refused", "refused"]);
    assert_eq!(lines[0]["by"], "list");
    assert_eq!(lines[0]["take"], "takes/before/bass-A1-press-1.wav");
    assert!(
        lines[1]["error"]
            .as_str()
            .unwrap()
            .contains("line 3: row `A` of block `bass` has the plates 1 to 12, not 99")
    );
    assert!(lines.iter().all(|line| line["format"] == 1));
}

#[test]
fn add_checks_what_is_said_of_the_pass_before_it_stores() {
    let dir = with_job();
    tone(&dir, "A1-press.wav", 82.41);
    platenote(&dir, "add job A1-press.wav").code(2);
    platenote(&dir, "add job --pass before").code(2);
    platenote(&dir, "add job A1-press.wav --pass ../out")
        .code(2)
        .stderr(contains("`../out` cannot name a pass"));
    platenote(&dir, "add job A1-press.wav --pass before --temperature 68")
        .code(2)
        .stderr(contains("-20 to 50"));
    platenote(&dir, "add job A1-press.wav --pass before --date 30.4.2026")
        .code(2)
        .stderr(contains("2026-04-30"));
    platenote(&dir, "add job A1-press.wav --pass before --block treble")
        .code(2)
        .stderr(contains("give one of `bass`"));
    assert!(names_below(&dir.path().join("job/takes")).is_empty());
    // A pass is opened by its first take, not by a slip in a file's name.
    fs::write(dir.path().join("x.txt"), "x").unwrap();
    platenote(&dir, "add job x.txt --pass befor").code(1);
    assert!(!dir.path().join("job/diary.jsonl").exists());
}

// --- verify, and crashes ---

#[test]
fn verify_names_every_missing_altered_and_unlisted_take_and_every_bad_line() {
    let dir = with_job();
    for (name, pitch) in [("A1-press.wav", 82.41), ("A2-press.wav", 87.31), ("A3-press.wav", 92.5)] {
        tone(&dir, name, pitch);
    }
    platenote(&dir, "add job A1-press.wav A2-press.wav A3-press.wav --pass before").success();
    let takes = dir.path().join("job/takes/before");
    fs::remove_file(takes.join("bass-A1-press-1.wav")).unwrap();
    let mut altered = fs::read(takes.join("bass-A2-press-1.wav")).unwrap();
    altered[2000] ^= 1;
    fs::write(takes.join("bass-A2-press-1.wav"), altered).unwrap();
    fs::write(takes.join("stray.wav"), "x").unwrap();
    let diary = dir.path().join("job/diary.jsonl");
    let mut lines = fs::read_to_string(&diary).unwrap();
    lines += "{\"format\":1,\"at\":\"2026-04-30T10:00:00Z\",\"what\":\"polished\"}\nnot a line\n{\"format\":1,\"at";
    fs::write(&diary, &lines).unwrap();
    let before: Vec<_> = names_below(&dir.path().join("job"));
    let result = platenote(&dir, "verify job --json").code(1);
    let found: Vec<(String, String)> = json_lines(&result.get_output().stdout)
        .iter()
        .map(|line| (line["kind"].as_str().unwrap().into(), line["place"].as_str().unwrap_or("").into()))
        .collect();
    let wanted = [
        ("unknown_line", "diary.jsonl line 6"),
        ("bad_line", "diary.jsonl line 7"),
        ("torn_line", "diary.jsonl line 8"),
        ("missing", "takes/before/bass-A1-press-1.wav"),
        ("altered", "takes/before/bass-A2-press-1.wav"),
        ("unlisted", "takes/before/stray.wav"),
        ("summary", ""),
    ];
    assert_eq!(found, wanted.map(|(kind, place)| (kind.to_owned(), place.to_owned())));
    assert_eq!(fs::read_to_string(&diary).unwrap(), lines);
    assert_eq!(names_below(&dir.path().join("job")), before);
    // The next writing goes on from there, and brings the missing take back.
    platenote(&dir, "add job A1-press.wav --pass before")
        .success()
        .stdout(contains("its take had gone and is back"))
        .stderr(contains("diary.jsonl line 8: the last line was cut off"));
    let kinds: Vec<String> = json_lines(&platenote(&dir, "verify job --json").code(1).get_output().stdout)
        .iter()
        .map(|line| line["kind"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(kinds, ["unknown_line", "bad_line", "altered", "unlisted", "summary"]);
    assert_eq!(fs::read_to_string(dir.path().join("job/diary.torn")).unwrap(), "{\"format\":1,\"at\n");
}

#[test]
fn a_newer_job_is_refused_by_number_with_its_files_as_they_were() {
    let dir = with_job();
    tone(&dir, "A1-press.wav", 82.41);
    let plan = dir.path().join("job/plan.toml");
    fs::write(&plan, "format = 7\nsomething_new = true\n").unwrap();
    for verb in ["verify job", "add job A1-press.wav --pass before"] {
        platenote(&dir, verb).code(1).stdout(is_empty()).stderr(starts_with(
            "error: `job/plan.toml` has format 7 and this program knows formats up to 1\nnext:  use a later version",
        ));
    }
    assert_eq!(fs::read_to_string(&plan).unwrap(), "format = 7\nsomething_new = true\n");
    assert_eq!(names_below(&dir.path().join("job")), ["plan.toml", "takes"]);
}

#[test]
fn a_second_program_is_refused_while_the_first_writes_and_may_read() {
    let dir = with_job();
    tone(&dir, "A1-press.wav", 82.41);
    let first = JobWriter::open(&dir.path().join("job")).unwrap();
    platenote(&dir, "add job A1-press.wav --pass before").code(1).stdout(is_empty()).stderr(starts_with(
        "error: another program is writing to the job `job`\nnext:  wait until it is done",
    ));
    platenote(&dir, "verify job").success();
    drop(first);
    platenote(&dir, "add job A1-press.wav --pass before").success();
}

#[test]
fn add_by_pitch_where_one_reed_alone_fits() {
    let dir = with_job();
    // 110 Hz is A2, plate A6; 12 cents sharp.
    tone(&dir, "voice.wav", 110.0 * (12.0f64 / 1200.0).exp2());
    platenote(&dir, "add job voice.wav --pass before")
        .code(1)
        .stderr(contains("fits `bass A6 press` and `bass A6 draw`").and(contains("--stroke")));
    platenote(&dir, "add job voice.wav --pass before --stroke draw").success().stdout(
        starts_with("voice.wav: bass A6 draw, since its pitch of 110.7").and(contains("+12.0 cents")),
    );
    // Half-way between two plates it could be either.
    tone(&dir, "between.wav", 110.0 * (50.0f64 / 1200.0).exp2());
    platenote(&dir, "add job between.wav --pass before --stroke draw")
        .code(1)
        .stderr(contains("cents from the nearest reed"));
}
