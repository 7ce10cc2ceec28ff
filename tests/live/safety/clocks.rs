//! `clocks.toml` with several programs at it: no clock of a sound card is lost.

use std::fs;
use std::process::{Child, Output, Stdio};
use std::time::Duration;

use platenote::audio::write_wav;
use platenote::job::{Clocks, DeviceClock};
use platenote::take::Take;

use super::{Dice, Workshop, rounds, text};

/// The system's `list` of clocks as names, in order.
fn known(workshop: &Workshop) -> Vec<String> {
    let lines = workshop.done(&["calibrate", "--list", "--json"]);
    let name = |line: &str| {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        line["device"].as_str().unwrap().to_owned()
    };
    let mut names: Vec<String> = lines.lines().map(name).collect();
    names.sort();
    names
}

fn with_a_tone() -> Workshop {
    let workshop = Workshop::new();
    let tone = |i: usize| 0.3 * (std::f64::consts::TAU * 1_000.0 * i as f64 / 8_000.0).sin() as f32;
    write_wav(&workshop.path("tone.wav"), &Take::new((0..44_000).map(tone).collect(), 8_000)).unwrap();
    workshop
}

fn start(workshop: &Workshop, words: &[&str]) -> Child {
    let mut command = workshop.command(words);
    command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
}

fn ended(child: Child) -> Output {
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", text(&output.stderr));
    output
}

fn measure(device: &str) -> [&str; 6] {
    ["calibrate", "tone.wav", "--tone", "1000", "--device", device]
}

#[test]
fn clocks_measured_and_forgotten_at_once_are_all_kept_and_all_forgotten() {
    let workshop = with_a_tone();
    workshop.done(&measure("old"));
    let new = ["card 1", "card 2", "card 3", "card 4", "card 5"];
    let mut children: Vec<Child> = new.iter().map(|name| start(&workshop, &measure(name))).collect();
    children.push(start(&workshop, &["calibrate", "--forget", "--device", "old"]));
    children.into_iter().for_each(|child| drop(ended(child)));
    assert_eq!(known(&workshop), new);
}

/// Each reads the file first and writes it much later, as a measurement does.
#[test]
fn a_clock_that_another_program_kept_meanwhile_stays() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("clocks.toml");
    let clock = |n: usize| DeviceClock {
        device: format!("card {n}"),
        id: String::new(),
        rate_hz: 48_000,
        error_ppm: n as f64,
        uncertainty_ppm: 1.0,
        tone_hz: 1_000.0,
        measured: "2026-04-30".into(),
    };
    let opened: Vec<Clocks> = (0..24).map(|_| Clocks::read(&file).unwrap()).collect();
    std::thread::scope(|scope| {
        for (n, mut clocks) in opened.into_iter().enumerate() {
            scope.spawn(move || clocks.keep(clock(n)).unwrap());
        }
    });
    let mut kept: Vec<f64> = Clocks::read(&file).unwrap().all().iter().map(|clock| clock.error_ppm).collect();
    kept.sort_by(f64::total_cmp);
    assert!(kept.iter().copied().eq((0..24).map(f64::from)), "{kept:?}");
}

#[test]
fn calibrate_killed_at_any_moment_leaves_the_clocks_that_were_there() {
    let (workshop, mut dice) = (with_a_tone(), Dice(23));
    workshop.done(&measure("first"));
    let n_rounds = rounds(12);
    let mut n_killed = 0;
    for _ in 0..n_rounds {
        let mut child = start(&workshop, &measure("second"));
        std::thread::sleep(Duration::from_micros(dice.below(60_000)));
        child.kill().unwrap();
        n_killed += u64::from(!child.wait().unwrap().success());
        let known = known(&workshop);
        assert!(known == ["first"] || known == ["first", "second"], "{known:?}");
    }
    println!("calibrate: {n_killed} of {n_rounds} runs killed");
    workshop.done(&measure("second"));
    assert_eq!(known(&workshop), ["first", "second"]);
    assert!(fs::metadata(workshop.path("config/clocks.toml")).unwrap().len() > 0);
}

/// Another program holds the lock and does not let go.
#[test]
fn clocks_that_another_program_is_writing_are_said_to_be_busy() {
    let workshop = with_a_tone();
    workshop.done(&measure("first"));
    let lock = fs::File::options().write(true).open(workshop.path("config/.lock")).unwrap();
    lock.lock().unwrap();
    let output = workshop.run(&measure("second"));
    let words = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{words}");
    assert!(words.contains("error: another program is writing to `"), "{words}");
    assert!(words.contains("clocks.toml`\nnext:  wait until it is done"), "{words}");
    drop(lock);
    assert_eq!(known(&workshop), ["first"]);
}
