//! The program is killed at a random moment; what was there stays, and the same command again finishes the work.

use std::fs;
use std::path::PathBuf;
use std::process::Stdio;
use std::time::{Duration, Instant};

use super::{Dice, Workshop, rounds};

/// Start, kill after `after`, and say whether the program was still at work then.
fn cut_off(workshop: &Workshop, words: &[&str], after: Duration) -> bool {
    let mut child = workshop.command(words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    std::thread::sleep(after);
    child.kill().unwrap();
    !child.wait().unwrap().success()
}

/// How long the command takes when nobody kills it.
fn time_of(run: impl FnOnce()) -> Duration {
    let begun = Instant::now();
    run();
    begun.elapsed()
}

/// What has to hold after each kill: lines and takes that were there are there, and `verify` names what is cut off.
/// Gives how many things are unfinished: one at most for each kill since the work was last finished, `n_kills`.
pub fn check_after(workshop: &Workshop, before: &(String, Vec<(PathBuf, Vec<u8>)>), n_kills: usize) -> usize {
    let (diary_before, takes_before) = before;
    // A line that was being written is no earlier line.
    let lines_before = &diary_before[..diary_before.rfind('\n').map_or(0, |end| end + 1)];
    let diary = workshop.diary();
    assert!(diary.starts_with(lines_before), "earlier lines stand:\n{lines_before}\nthen\n{diary}");
    for (file, bytes) in takes_before {
        assert!(fs::read(file).unwrap() == *bytes, "`{}` is as it was", file.display());
    }
    let troubles = workshop.troubles();
    assert!(troubles.len() <= n_kills, "{n_kills} kills: {troubles:?}");
    for (kind, place) in &troubles {
        let is_unfinished = kind == "torn_line" || (kind == "unlisted" && place.starts_with("takes/before/"));
        assert!(is_unfinished, "{kind}: {place}");
    }
    troubles.len()
}

#[test]
fn add_killed_at_any_moment_loses_nothing_and_is_finished_by_adding_again() {
    let mut dice = Dice(7);
    let places = ["A1-press", "A1-draw", "A2-press", "A2-draw", "A3-press", "A3-draw"];
    let (mut n_killed, mut n_unfinished) = (0, 0);
    let n_jobs = rounds(60).div_ceil(12);
    for job in 0..n_jobs {
        let workshop = Workshop::new();
        let files: Vec<String> = places.iter().map(|place| format!("{place}.wav")).collect();
        for (seed, file) in (0..).zip(&files) {
            workshop.sound(file, seed + job as u32, 100_000);
        }
        let trial = Workshop::new();
        trial.sound("A1-press.wav", 0, 100_000);
        let usual = time_of(|| drop(trial.done(&["add", "job", "A1-press.wav", "--pass", "before"])));
        for file in &files {
            let words = ["add", "job", file, "--pass", "before"];
            for n_kills in 1..=2 {
                let before = (workshop.diary(), workshop.takes());
                let after = usual.mul_f64(dice.below(1_100) as f64 / 1_000.0);
                n_killed += u64::from(cut_off(&workshop, &words, after));
                n_unfinished += check_after(&workshop, &before, n_kills);
            }
            workshop.done(&words);
            assert_eq!(workshop.troubles(), [], "adding again finishes the work");
        }
        assert_eq!(workshop.takes().len(), files.len(), "each sound is stored once");
    }
    println!("add: {n_killed} of {} runs killed, {n_unfinished} left something unfinished", n_jobs * 12);
    assert!(n_killed > n_jobs * 3, "the kills meet the program at work");
}

#[test]
fn mark_and_valves_killed_at_any_moment_lose_no_line() {
    let mut dice = Dice(11);
    let workshop = Workshop::new();
    let trial = Workshop::new();
    let usual = time_of(|| drop(trial.done(&["mark", "job", "A1", "lifted"])));
    let (mut n_killed, n_rounds) = (0, rounds(120));
    for round in 0..n_rounds {
        let note = format!("round {round}");
        let count = format!("{}mm={}", 20 + round % 60, 1 + round % 9);
        let words: Vec<&str> = match round % 3 {
            0 => vec!["mark", "job", "A2", "note", &note],
            1 => vec!["valves", "job", "--count", &count],
            _ => vec!["mark", "job", "A1..A3", "lifted"],
        };
        let before = (workshop.diary(), Vec::new());
        let after = usual.mul_f64(dice.below(1_100) as f64 / 1_000.0);
        n_killed += u64::from(cut_off(&workshop, &words, after));
        check_after(&workshop, &before, 1);
        if round % 6 == 5 {
            workshop.done(&words);
            assert_eq!(workshop.troubles(), []);
        }
    }
    println!("mark and valves: {n_killed} of {n_rounds} runs killed");
    assert!(n_killed > n_rounds / 4, "the kills meet the program at work");
}

#[test]
fn a_photo_cut_off_is_stored_once_when_it_is_noted_again() {
    let mut dice = Dice(13);
    let workshop = Workshop::new();
    let mut bytes = vec![0_u8; 3_000_000];
    bytes.iter_mut().for_each(|byte| *byte = dice.below(256) as u8);
    bytes[..3].copy_from_slice(&[0xff, 0xd8, 0xff]); // As a JPEG begins.
    fs::write(workshop.path("plate.jpg"), &bytes).unwrap();
    let words = ["mark", "job", "A1", "photo", "plate.jpg"];
    let trial = Workshop::new();
    fs::write(trial.path("plate.jpg"), &bytes).unwrap();
    let usual = time_of(|| drop(trial.done(&words)));
    for _ in 0..rounds(20) {
        cut_off(&workshop, &words, usual.mul_f64(dice.below(1_000) as f64 / 1_000.0));
    }
    workshop.done(&words);
    assert_eq!(workshop.troubles(), []);
    let photos: Vec<_> = fs::read_dir(workshop.path("job/photos")).unwrap().collect();
    assert_eq!(photos.len(), 1, "{photos:?}");
}

/// A cut-off copy is taken away only when all it holds is in the stored take.
#[test]
fn a_cut_off_copy_of_another_sound_is_kept_and_named() {
    let workshop = Workshop::new();
    let sound = fs::read(workshop.sound("A1-press.wav", 1, 20_000)).unwrap();
    fs::create_dir_all(workshop.path("job/takes/before")).unwrap();
    fs::write(workshop.path("job/takes/before/.part-own"), &sound[..9_000]).unwrap();
    fs::write(workshop.path("job/takes/before/.part-other"), b"all there is of another").unwrap();
    workshop.done(&["add", "job", "A1-press.wav", "--pass", "before"]);
    assert_eq!(workshop.troubles(), [("unlisted".to_owned(), "takes/before/.part-other".to_owned())]);
}

#[test]
fn a_new_job_cut_off_before_its_plan_is_made_by_the_same_command() {
    let workshop = Workshop::new();
    fs::create_dir_all(workshop.path("other/takes")).unwrap();
    workshop.done(&["new", "other", "--template", "bass24"]);
    fs::create_dir_all(workshop.path("third/takes/before")).unwrap();
    let refused = workshop.run(&["new", "third"]);
    assert_eq!(refused.status.code(), Some(1));
}
