//! Live capture end to end with the real binary, and no sound hardware: ALSA's own file plugin reads a FIFO, which the
//! test fills in real time. Needs `libasound2`, which the program needs anyway, and `mkfifo`.
#![cfg(all(target_os = "linux", feature = "mic"))]

mod choice;
mod screen;
mod sealing;
mod server;
pub mod session;
mod tuning;
mod whole;

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, ChildStderr, Command, Stdio};
use std::time::{Duration, Instant};

use crate::microphone::{BLOCK, Microphone, Plug, RATE, environment};
use serde_json::Value;

/// The program, trying a microphone that the test plays into.
struct Bench {
    dir: tempfile::TempDir,
    microphone: Microphone,
    child: Child,
    stderr: BufReader<ChildStderr>,
}

impl Bench {
    fn listening(seconds: &str) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let plug = Plug::new(dir.path());
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        command.args(["devices", "--try", seconds, "--json", "--keep", "heard.wav"]).current_dir(dir.path());
        command.envs(environment(&plug.path));
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let mut stderr = BufReader::new(child.stderr.take().unwrap());
        let mut line = String::new();
        stderr.read_line(&mut line).unwrap();
        assert!(line.starts_with("listening to `"), "{line}");
        Self { dir, microphone: plug.into_microphone(), child, stderr }
    }

    /// Play on to this frame in real time, `frame` giving both channels.
    fn play_to(&mut self, to: usize, frame: impl Fn(usize) -> [f32; 2]) {
        self.microphone.play_frames(to - self.microphone.at, frame);
    }

    /// Wait for the program's end: exit code, its one result, its words.
    fn end(mut self) -> Ended {
        let begun = Instant::now();
        let code = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status.code();
            }
            if begun.elapsed() > Duration::from_secs(8) {
                self.child.kill().unwrap();
                panic!("the program did not end");
            }
            std::thread::sleep(Duration::from_millis(10));
        };
        let (mut out, mut words) = (String::new(), String::new());
        self.child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
        self.stderr.read_to_string(&mut words).unwrap();
        let heard = out.lines().next().map_or(Value::Null, |line| serde_json::from_str(line).unwrap());
        let wav = hound::WavReader::open(self.dir.path().join("heard.wav")).unwrap();
        let kept = wav.into_samples::<f32>().map(Result::unwrap).collect();
        Ended { code, heard, words, kept }
    }
}

struct Ended {
    code: Option<i32>,
    heard: Value,
    words: String,
    kept: Vec<f32>,
}

impl Ended {
    fn incidents(&self) -> String {
        self.heard["incidents"].to_string()
    }
}

/// Noise in which every sample is another, exact in 32 bits; the second channel at half the level.
fn noise(n: usize) -> [f32; 2] {
    let value = |k: usize| ((k as u32).wrapping_mul(2_654_435_761) >> 16) as f32 / 65_536.0 - 0.5;
    [value(2 * n + 1), 0.5 * value(2 * n + 2)]
}

fn first_channel(frames: std::ops::Range<usize>) -> Vec<f32> {
    frames.map(|n| noise(n)[0]).collect()
}

#[test]
fn every_sample_arrives_in_order_and_nothing_is_remarked() {
    let mut bench = Bench::listening("2");
    bench.play_to(2 * RATE + BLOCK, noise);
    let end = bench.end();
    assert_eq!((end.code, end.incidents().as_str()), (Some(0), "[]"), "{}", end.words);
    let wanted = first_channel(0..2 * RATE);
    let wrong = end.kept.iter().zip(&wanted).position(|(a, b)| a != b);
    assert_eq!((end.kept.len(), wrong), (wanted.len(), None), "the first wrong sample");
    assert_eq!((&end.heard["channel"], &end.heard["rate_hz"]), (&Value::from(1), &Value::from(48_000)));
}

#[test]
fn a_microphone_that_stops_is_told_and_what_came_is_kept() {
    let mut bench = Bench::listening("5");
    bench.play_to(RATE, noise);
    let end = bench.end();
    assert_eq!(end.code, Some(1));
    assert!(end.words.contains("stopped: no sound came for 0.5 s"), "{}", end.words);
    assert!(end.words.contains("next:  check the plug"), "{}", end.words);
    assert_eq!(end.kept, first_channel(0..RATE));
}

#[test]
fn a_microphone_that_never_speaks_is_told() {
    let bench = Bench::listening("5");
    let end = bench.end();
    assert_eq!(end.code, Some(1));
    assert!(end.words.contains("stopped: no sound came at all"), "{}", end.words);
    assert_eq!(end.kept, Vec::<f32>::new());
}

#[test]
fn lost_sound_is_told_with_its_length() {
    let mut bench = Bench::listening("3.5");
    bench.play_to(RATE, noise);
    bench.microphone.pause(Duration::from_millis(300));
    bench.play_to(7 * RATE / 2 + BLOCK, noise);
    let end = bench.end();
    assert_eq!(end.code, Some(1));
    let told = end.incidents();
    assert!(told.contains("of sound were lost"), "{told} {}", end.words);
    let seconds: f64 =
        told.split("about ").nth(1).and_then(|rest| rest.split(' ').next()).unwrap().parse().unwrap();
    assert!((seconds - 0.3).abs() < 0.05, "{told}");
}

#[test]
fn exact_zeros_are_pointed_out() {
    let mut bench = Bench::listening("1.5");
    bench.play_to(3 * RATE / 2 + BLOCK, |n| if n < RATE / 2 { noise(n) } else { [0.0; 2] });
    let end = bench.end();
    assert_eq!(end.code, Some(1));
    assert!(end.incidents().contains("nothing but zeros since 0.5 s"), "{}", end.incidents());
}

#[test]
fn a_tone_is_chosen_before_louder_noise() {
    let tone = |n: usize| 0.1 * (std::f32::consts::TAU * ((440 * n) % RATE) as f32 / RATE as f32).sin();
    let mut bench = Bench::listening("1");
    bench.play_to(RATE + BLOCK, |n| [noise(n)[0], tone(n)]);
    let end = bench.end();
    assert_eq!((end.code, &end.heard["channel"]), (Some(0), &Value::from(2)), "{}", end.words);
    assert_eq!(end.kept, (0..RATE).map(tone).collect::<Vec<_>>());
}

#[test]
fn a_clock_is_measured_live_and_a_lost_stretch_is_no_clock() {
    // A card 60 ppm fast takes more samples for each second, and hears 1000 Hz lower.
    let sounding = |n: usize| {
        let tone = (std::f64::consts::TAU * 1000.0 * n as f64 / (RATE as f64 * (1.0 + 60e-6))).sin();
        [(0.1 * tone) as f32 + 1e-4 * noise(n)[0]; 2]
    };
    let measure = |play: &dyn Fn(&mut Microphone)| {
        let dir = tempfile::tempdir().unwrap();
        let plug = Plug::new(dir.path());
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        command.args(["calibrate", "--tone", "1000", "--tone-within", "1", "--for", "5", "--json"]);
        let (mut child, said) = session::started(command.envs(environment(&plug.path)));
        session::wait_for(&said, &mut Vec::new(), "let the tone sound");
        play(&mut plug.into_microphone());
        let mut out = String::new();
        child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
        (child.wait().unwrap().code(), out, said.iter().collect::<String>())
    };
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let (code, out, words) = measure(&|microphone| {
                microphone.play_frames(5 * RATE + 10 * BLOCK, sounding);
            });
            assert_eq!(code, Some(0), "{words}");
            let clock: Value = serde_json::from_str(&out).unwrap();
            let error = clock["error_ppm"].as_f64().unwrap();
            assert!((error - 60.0).abs() < 2.0, "{clock}");
            // 1 ppm of the tone, 5 ppm of the quartz.
            assert!((5.0..6.0).contains(&clock["uncertainty_ppm"].as_f64().unwrap()), "{clock}");
        });
        scope.spawn(|| {
            let (code, out, words) = measure(&|microphone| {
                microphone.play_frames(RATE * 2, sounding);
                microphone.lose(RATE * 3 / 10);
                microphone.play_frames(RATE * 2, sounding);
            });
            assert_eq!((code, out.as_str()), (Some(1), ""), "{words}");
            assert!(words.contains("the tone is not whole: about 0.3"), "{words}");
        });
    });
}

/// Run `devices` in the world of one microphone, which gives zeros.
fn devices(arguments: &[&str]) -> std::process::Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    command.arg("devices").args(arguments);
    command.envs(environment(Path::new("/dev/zero")));
    command.output().unwrap()
}

#[test]
fn the_inputs_are_listed_with_what_they_give() {
    let output = devices(&["--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    let inputs: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let default: Vec<_> = inputs.iter().filter(|input| input["default"] == true).collect();
    assert_eq!(default.len(), 1, "{text}");
    assert_eq!((&default[0]["rate_hz"], &default[0]["channels"]), (&Value::from(48_000), &Value::from(2)));
    assert!(!text.contains("null"), "the endless silence is no input: {text}");
}

#[test]
fn an_input_that_is_not_there_is_told_with_those_that_are() {
    let output = devices(&["--try", "1", "--device", "no such thing"]);
    let words = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1));
    assert!(words.contains("no input is called `no such thing`"), "{words}");
    assert!(words.contains("next:  name one of them"), "{words}");
}

#[test]
fn a_computer_without_inputs_gets_one_plain_sentence() {
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    let output = command.arg("devices").env("ALSA_CONFIG_PATH", "/dev/null").output().unwrap();
    let words = String::from_utf8_lossy(&output.stderr);
    let wanted = "error: no input to record from was found\n\
                  next:  plug a microphone in, or check the system's sound settings\n";
    assert_eq!((output.status.code(), words.as_ref()), (Some(1), wanted));
}

#[test]
fn wrong_arguments_end_with_2() {
    for arguments in [&["--try", "0"][..], &["--try", "601"], &["--device", "x"], &["--keep", "x.wav"]] {
        assert_eq!(devices(arguments).status.code(), Some(2), "{arguments:?}");
    }
}
