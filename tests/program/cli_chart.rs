//! `demo` and `chart` as people run them, in empty folders.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use predicates::prelude::*;
use predicates::str::contains;
use tempfile::TempDir;

fn platenote(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("platenote").unwrap();
    command.current_dir(folder);
    command
}

fn said(assert: &Assert) -> String {
    String::from_utf8(assert.get_output().stdout.clone()).unwrap()
}

struct Demo {
    folder: TempDir,
    said: String,
}

/// The invented job, made once.
fn demo() -> &'static Demo {
    static DEMO: OnceLock<Demo> = OnceLock::new();
    DEMO.get_or_init(|| {
        let folder = TempDir::new().unwrap();
        let done = platenote(folder.path()).arg("demo").assert().success();
        Demo { said: said(&done), folder }
    })
}

/// What lies in a folder, sorted.
fn files(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap_or_else(|_| panic!("no {}", folder.display()));
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn the_demo_leaves_a_whole_job_with_its_charts() {
    let job = demo().folder.path().join("demo-job");
    let there = files(&job);
    for name in ["plan.toml", "diary.jsonl", "takes", "report"] {
        assert!(there.iter().any(|file| file == name), "{name} in {there:?}");
    }
    // With seven plays of the sealing test of one valve in each pass.
    assert_eq!(files(&job.join("takes").join("before")).len(), 24 + 7);
    assert_eq!(files(&job.join("takes").join("after")).len(), 23 + 7);
    let drawn = files(&job.join("report"));
    for name in ["map-bass.png", "map-bass.svg", "tuning-bass.png", "tuning-bass.svg"] {
        assert!(drawn.iter().any(|file| file == name), "{name} in {drawn:?}");
        assert!(!std::fs::read(job.join("report").join(name)).unwrap().is_empty());
    }
    platenote(demo().folder.path()).args(["verify", "demo-job"]).assert().success();
}

#[test]
fn the_demo_says_where_to_look_and_what_was_made_wrong() {
    assert!(demo().said.contains("map-bass.svg"), "{}", demo().said);
    assert!(demo().said.contains("bass B3: the outer valve leaks before and after"));
    let pictures: Vec<&str> = demo().said.split_whitespace().filter(|word| word.ends_with(".svg")).collect();
    assert!(pictures.len() >= 2);
    assert!(pictures.iter().all(|file| demo().folder.path().join(file).is_file()), "{pictures:?}");
}

#[test]
fn the_demo_finds_what_was_made_wrong() {
    let found: Vec<&str> = demo().said.lines().map(str::trim).collect();
    for (start, rest) in [
        ("bass B3 outer (plate stays; heard on press)", "consistent with a leak"),
        ("bass B3 outer", "still leaks"),
        ("bass A2 outer", "cured"),
        ("bass A5 inner", "cured"),
        ("bass A6 inner", "cannot tell"),
        ("bass A6 draw", "no take in this pass"),
        ("bass A3 and bass A4", "put them right"),
        ("bass A2 draw", "raise"),
        ("bass A1 press", "lower"),
    ] {
        assert!(
            found.iter().any(|line| line.starts_with(start) && line.contains(rest)),
            "{start} … {rest} in\n{}",
            demo().said
        );
    }
    assert!(found.contains(&"Valves with signs of a leak (1)") && !demo().said.contains("Listen again"));
}

#[test]
fn the_demo_overwrites_nothing() {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("letter.txt"), "keep me").unwrap();
    let refused = platenote(folder.path()).args(["demo", "."]).assert().code(1);
    refused.stderr(contains("is not empty").and(contains("next:  ")));
    assert_eq!(files(folder.path()), ["letter.txt"]);
}

#[test]
fn charts_go_where_they_are_sent_and_are_listed() {
    let out = TempDir::new().unwrap();
    let done = platenote(demo().folder.path())
        .args(["chart", "demo-job", "--compare", "before", "after", "--out"])
        .arg(out.path())
        .assert()
        .success()
        .stderr(contains("passes `before` and `after`"));
    let listed: Vec<PathBuf> = said(&done).lines().map(PathBuf::from).collect();
    assert_eq!(listed.len(), files(out.path()).len());
    assert!(listed.iter().all(|file| file.starts_with(out.path()) && file.is_file()), "{listed:?}");
    // The same takes give the same pictures as the demo drew.
    for name in ["tuning-bass.svg", "map-bass.png"] {
        let first = demo().folder.path().join("demo-job/report").join(name);
        assert!(std::fs::read(out.path().join(name)).unwrap() == std::fs::read(first).unwrap(), "{name}");
    }
    let tuning = std::fs::read_to_string(out.path().join("tuning-bass.svg")).unwrap();
    assert!(tuning.contains("5 of them not of pass after: 24 of 24 reeds measured"));
}

#[test]
fn one_pass_alone_is_drawn_without_the_other() {
    let out = TempDir::new().unwrap();
    platenote(demo().folder.path())
        .args(["chart", "demo-job", "--pass", "before", "--json", "--out"])
        .arg(out.path())
        .assert()
        .success()
        .stdout(predicate::function(|lines: &str| {
            lines.lines().all(|line| {
                let chart: serde_json::Value = serde_json::from_str(line).unwrap();
                let file = |key: &str| Path::new(chart[key].as_str().unwrap()).is_file();
                chart["format"] == 1 && chart["kind"] == "chart" && file("svg") && file("png")
            })
        }));
    let map = std::fs::read_to_string(out.path().join("map-bass.svg")).unwrap();
    assert!(map.contains("Pass before: ") && !map.contains("Against pass"));
    let tuning = std::fs::read_to_string(out.path().join("tuning-bass.svg")).unwrap();
    assert!(tuning.contains("24 of 24 reeds measured"));
}

#[test]
fn a_pass_that_is_not_there_and_one_named_twice_are_refused() {
    let folder = demo().folder.path();
    platenote(folder)
        .args(["chart", "demo-job", "--pass", "between"])
        .assert()
        .code(1)
        .stdout("")
        .stderr(contains("`between`").and(contains("next:  ")));
    platenote(folder)
        .args(["chart", "demo-job", "--compare", "after", "after"])
        .assert()
        .code(2)
        .stderr(contains("named twice").and(contains("next:  ")));
    platenote(folder).args(["chart", "demo-job", "--compare", "after"]).assert().code(2);
    platenote(folder).args(["chart", "no-such-job"]).assert().code(1).stderr(contains("next:  "));
}

#[test]
fn a_job_without_a_pass_says_what_to_do() {
    let folder = TempDir::new().unwrap();
    platenote(folder.path()).args(["new", "job"]).assert().success();
    platenote(folder.path())
        .args(["chart", "job"])
        .assert()
        .code(1)
        .stderr(contains("has no pass yet").and(contains("platenote add")));
}
