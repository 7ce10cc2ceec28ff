//! A program built without recording says so where recording is asked for, and does all else.
#![cfg(not(feature = "mic"))]

use assert_cmd::Command;
use predicates::str::contains;

fn platenote(at: &tempfile::TempDir, words: &str) -> assert_cmd::assert::Assert {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    command.env("PLATENOTE_CONFIG", at.path());
    command.current_dir(at.path()).args(words.split_whitespace()).assert()
}

#[test]
fn recording_is_refused_with_what_to_build_and_a_job_is_made_all_the_same() {
    let at = tempfile::tempdir().unwrap();
    platenote(&at, "new job --template bass24").success();
    for words in ["devices", "listen", "record job --pass before", "calibrate --tone 1000"] {
        platenote(&at, words)
            .code(1)
            .stderr(contains("error: this program was built without recording\nnext:  "))
            .stderr(contains("`cargo build --release`"));
    }
    platenote(&at, "calibrate --list").success();
    platenote(&at, "verify job").success();
}
