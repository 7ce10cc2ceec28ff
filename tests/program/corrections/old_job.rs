//! A job of the format before corrections (`fixtures/job-of-format-1`, made with the program of that time) opens, gains
//! nothing it did not have and loses nothing.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use platenote::job::{Job, JobWriter, PassChange};

const KEPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/job-of-format-1");

fn copy() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for name in ["plan.toml", "diary.jsonl"] {
        fs::copy(Path::new(KEPT).join(name), dir.path().join(name)).unwrap();
    }
    dir
}

#[test]
fn it_reads_as_it_did() {
    let dir = copy();
    let job = Job::open(dir.path()).unwrap();
    assert_eq!(job.odd_lines(), []);
    let passes: Vec<_> =
        job.passes().into_iter().map(|pass| (pass.pass, pass.temperature_c, pass.date)).collect();
    assert_eq!(
        passes,
        [("before".into(), Some(19.5), "2026-03-02".into()), ("aftr".into(), None, "2026-11-30".into())]
    );
    // As its diary says, read by eye: A1 draw was moved to A3 draw.
    let places = |pass: &str| -> Vec<String> {
        job.takes(pass).iter().map(|(place, takes)| format!("{place} {}", takes[0].facts.file)).collect()
    };
    assert_eq!(
        places("before"),
        [
            "bass A1 press takes/before/bass-A1-press-1.wav",
            "bass A2 press takes/before/bass-A2-press-1.wav",
            "bass A2 draw takes/before/bass-A2-draw-1.wav",
            "bass A3 draw takes/before/bass-A1-draw-1.wav",
        ]
    );
    assert_eq!(places("aftr"), ["bass A3 press takes/aftr/bass-A3-press-1.wav"]);
    assert!(job.corrections().is_empty());
    // What the program of that time printed.
    let printed = Command::new(assert_cmd::cargo::cargo_bin!("platenote"))
        .args(["status", "--marks", "--json"])
        .arg(dir.path())
        .assert()
        .success();
    let marks = fs::read_to_string(Path::new(KEPT).join("marks.jsonl")).unwrap();
    assert_eq!(String::from_utf8(printed.get_output().stdout.clone()).unwrap(), marks);
}

#[test]
fn opening_it_writes_nothing_and_correcting_it_only_adds() {
    let dir = copy();
    let kept = fs::read_to_string(Path::new(KEPT).join("diary.jsonl")).unwrap();
    let mut job = JobWriter::open(dir.path()).unwrap();
    job.open_pass("before", &PassChange::default()).unwrap();
    assert_eq!(fs::read_to_string(dir.path().join("diary.jsonl")).unwrap(), kept);
    let n = job.rename_pass("aftr", "after").unwrap();
    // Behind the five marks it has.
    assert_eq!(n, 6);
    drop(job);
    let now = fs::read_to_string(dir.path().join("diary.jsonl")).unwrap();
    assert!(now.starts_with(&kept) && now.lines().count() == kept.lines().count() + 1);
    assert_eq!(
        fs::read(dir.path().join("plan.toml")).unwrap(),
        fs::read(Path::new(KEPT).join("plan.toml")).unwrap()
    );
}
