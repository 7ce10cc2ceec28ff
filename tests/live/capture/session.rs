//! `record` end to end: the real program hears a block being played, reed after reed, through the audio library.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use platenote::job::Job;
use serde_json::Value;

use crate::bench::played::{ATTACK_S, LEAD_S, played};
use crate::microphone::{BLOCK, Microphone, Plug, RATE, environment};

pub const PLAN: &str = r#"format = 1
title = "Two plates"
bellows = "unisonoric"

[[block]]
name = "treble"

[[block.row]]
name = "A"
notes = ["A4", "B4"]
"#;
/// Pitches of A1 press, A1 draw, A2 press, A2 draw: A4 and B4 of equal temperament at 440 Hz, some cents off.
pub const PLAYED_HZ: [f64; 4] = [440.9, 439.2, 493.4, 495.1];
pub const STEADY_S: f64 = 2.2;

/// A reed being played.
pub fn reed(hz: f64, seed: u64) -> Vec<f32> {
    played(RATE as u32, hz, STEADY_S).render(seed).samples
}

/// The program recording, and the one who plays.
pub struct Bench {
    microphone: Microphone,
    child: Child,
    said: Receiver<String>,
    heard: Vec<String>,
    /// The microphone gives nothing more.
    is_dead: bool,
}

impl Bench {
    fn recording(folder: &Path) -> Self {
        Self::running(folder, &["record", "job", "--pass", "before", "--json"])
    }

    pub fn running(folder: &Path, words: &[&str]) -> Self {
        let plug = Plug::new(folder);
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        command.args(words).current_dir(folder).envs(environment(&plug.path));
        let (child, said) = started(&mut command);
        let mut heard = Vec::new();
        wait_for(&said, &mut heard, "listening to `");
        Self { microphone: plug.into_microphone(), child, said, heard, is_dead: false }
    }

    fn wait_for(&mut self, what: &str) -> String {
        wait_for(&self.said, &mut self.heard, what)
    }

    pub fn type_line(&mut self, line: &str) {
        writeln!(self.child.stdin.as_mut().unwrap(), "{line}").unwrap();
    }

    pub fn play(&mut self, samples: &[f32]) {
        self.microphone.play(samples);
    }

    /// The noise of the room for a while.
    pub fn rest(&mut self, seconds: f64) {
        for _ in 0..(seconds * RATE as f64) as usize / BLOCK {
            self.microphone.play_quiet();
        }
    }

    /// Wait for the end: exit code, results, words.
    pub fn end(mut self) -> (Option<i32>, Vec<Value>, String) {
        let begun = Instant::now();
        let code = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status.code();
            }
            if begun.elapsed() > Duration::from_secs(10) {
                self.child.kill().unwrap();
                panic!("the program did not end");
            }
            // A microphone that is there goes on giving its noise.
            if !self.is_dead {
                self.microphone.play_quiet();
            } else {
                std::thread::sleep(Duration::from_millis(10));
            }
        };
        let mut out = String::new();
        self.child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
        while let Ok(line) = self.said.recv_timeout(Duration::from_secs(1)) {
            self.heard.push(line);
        }
        let results = out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        (code, results, self.heard.concat())
    }
}

/// Start the program; its words come one by one.
pub fn started(command: &mut Command) -> (Child, Receiver<String>) {
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let mut stderr = BufReader::new(child.stderr.take().unwrap());
    let (tell, said) = channel();
    std::thread::spawn(move || {
        let mut line = String::new();
        while stderr.read_line(&mut line).is_ok_and(|n| n > 0) {
            let _ = tell.send(std::mem::take(&mut line));
        }
    });
    (child, said)
}

/// The next line on stderr that contains `what`.
pub fn wait_for(said: &Receiver<String>, heard: &mut Vec<String>, what: &str) -> String {
    let begun = Instant::now();
    loop {
        match said.recv_timeout(Duration::from_secs(10)) {
            Ok(line) => {
                heard.push(line.clone());
                if line.contains(what) {
                    return line;
                }
            }
            Err(_) => panic!("`{what}` was not said in {:?}; said: {heard:#?}", begun.elapsed()),
        }
    }
}

pub fn with_job() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    Job::create(&dir.path().join("job"), PLAN).unwrap();
    dir
}

pub fn assert_pitch(line: &Value, played_hz: f64) {
    let heard = line["reading"]["f0_hz"].as_f64().unwrap();
    let doubt = line["reading"]["uncertainty_cents"].as_f64().unwrap();
    let off = 1200.0 * (heard / played_hz).log2();
    // The bench's clock is the program's: an error of a card's clock is within the doubt, not beside it.
    assert!(off.abs() < doubt && doubt < 0.3, "{} {off} {doubt}", line["place"]);
}

#[test]
fn a_block_is_recorded_without_a_key_and_lost_sound_is_played_again() {
    let dir = with_job();
    let [a1_press, a1_draw, a2_press, a2_draw] = [0, 1, 2, 3].map(|n| reed(PLAYED_HZ[n], n as u64));
    let mut bench = Bench::recording(dir.path());
    bench.type_line("temperature 19.5");
    bench.play(&a1_press);
    bench.play(&a1_draw);
    // 0.3 s are lost in the middle of the note.
    let at = ((LEAD_S + 0.6) * RATE as f64) as usize / BLOCK * BLOCK;
    let lost = RATE * 3 / 10;
    bench.play(&a2_press[..at]);
    bench.microphone.lose(lost);
    bench.play(&a2_press[at + lost..]);
    bench.play(&a2_press);
    bench.play(&a2_draw);
    let (code, lines, words) = bench.end();
    assert_eq!(code, Some(0), "{words}");

    let takes: Vec<&Value> = lines.iter().filter(|line| line["kind"] == "take").collect();
    let told: Vec<(&str, u64)> =
        takes.iter().map(|line| (line["place"].as_str().unwrap(), line["take"].as_u64().unwrap())).collect();
    let wanted = [
        ("treble A1 press", 1),
        ("treble A1 draw", 1),
        ("treble A2 press", 1),
        ("treble A2 press", 2),
        ("treble A2 draw", 1),
    ];
    assert_eq!(told, wanted, "{words}");
    for (line, played_hz) in [(0, 0), (1, 1), (3, 2), (4, 3)].map(|(n, of)| (takes[n], PLAYED_HZ[of])) {
        assert_pitch(line, played_hz);
        assert_eq!(line["again"], Value::Array(Vec::new()), "{line}");
    }
    assert!(takes[2]["again"].to_string().contains("of sound were lost"), "{}", takes[2]);

    let job = Job::open(&dir.path().join("job")).unwrap();
    assert_eq!(job.pass("before").unwrap().temperature_c, Some(19.5));
    let stored = job.takes("before");
    assert_eq!(stored.iter().map(|(_, takes)| takes.len()).collect::<Vec<_>>(), [1, 1, 2, 1]);
    let remarks: Vec<bool> =
        stored.iter().flat_map(|(_, takes)| takes).map(|take| !take.facts.remarks.is_empty()).collect();
    assert_eq!(remarks, [false, false, true, false, false]);
    // Bit for bit what was played, from before the note to its ring: nothing is resampled or processed.
    let take = hound::WavReader::open(&stored[0].1[0].path).unwrap();
    assert_eq!(take.spec().sample_format, hound::SampleFormat::Float);
    let kept: Vec<f32> = take.into_samples().map(Result::unwrap).collect();
    let from = a1_press.iter().position(|x| *x == kept[0]).unwrap();
    let played = a1_press.iter().chain(&a1_draw).skip(from);
    assert!(kept.iter().zip(played).all(|(kept, played)| kept == played), "from {from}");
    assert!(from < (LEAD_S * RATE as f64) as usize, "the start is kept: from {from}");
    let rings_until = from + kept.len();
    assert!(rings_until > ((LEAD_S + ATTACK_S + STEADY_S + 0.4) * RATE as f64) as usize, "the tail is kept");
}

#[test]
fn a_source_that_dies_inside_a_take_costs_no_take_and_the_reed_is_due_again() {
    let dir = with_job();
    let mut bench = Bench::recording(dir.path());
    bench.play(&reed(PLAYED_HZ[0], 0));
    let second = reed(PLAYED_HZ[1], 1);
    bench.play(&second[..((LEAD_S + 1.2) * RATE as f64) as usize]);
    bench.is_dead = true;
    let (code, lines, words) = bench.end();
    assert_eq!(code, Some(1), "{words}");
    assert!(words.contains("stopped: no sound came for 0.5 s"), "{words}");
    assert!(words.contains("all takes so far are stored"), "{words}");
    assert_pitch(&lines[0], PLAYED_HZ[0]);
    let job = Job::open(&dir.path().join("job")).unwrap();
    let takes = job.takes("before");
    assert_eq!(takes[0].1[0].facts.remarks, Vec::<String>::new());
    let cut = &takes[1].1[0].facts;
    assert!(cut.remarks[0].starts_with("the take ends here: "), "{cut:?}");

    let mut again = Bench::recording(dir.path());
    assert!(again.wait_for("due: ").starts_with("due: treble A1 draw, A4"), "{:?}", again.heard);
    again.type_line("stop");
    let (code, lines, words) = again.end();
    assert_eq!((code, lines.len()), (Some(0), 0), "{words}");
    assert!(words.contains("3 reeds are left"), "{words}");
}

#[test]
fn the_live_reading_follows_what_is_played_and_leaves_the_computer_alone() {
    let dir = tempfile::tempdir().unwrap();
    let mut bench = Bench::running(dir.path(), &["listen", "--for", "7.5", "--json"]);
    bench.play(&reed(PLAYED_HZ[0], 0));
    bench.play(&reed(PLAYED_HZ[2], 2)[..3 * RATE]);
    let stat = std::fs::read_to_string(format!("/proc/{}/stat", bench.child.id())).unwrap();
    // proc(5): utime and stime are the 14th and 15th field, in hundredths of a second on Linux.
    let ticks: u32 =
        stat.split_whitespace().skip(13).take(2).map(|ticks| ticks.parse::<u32>().unwrap()).sum();
    let load = f64::from(ticks) / 100.0 / (bench.microphone.at as f64 / RATE as f64);
    let (code, lines, words) = bench.end();
    assert_eq!(code, Some(0), "{words}");
    let notes: Vec<&str> = lines.iter().map(|line| line["note"].as_str().unwrap()).collect();
    let change = notes.iter().position(|note| *note == "B4").unwrap();
    assert!(notes[..change].iter().all(|note| *note == "A4") && change >= 4, "{notes:?}");
    let last = &lines[change - 2];
    let off = 1200.0 * (last["f0_hz"].as_f64().unwrap() / PLAYED_HZ[0]).log2();
    assert!(off.abs() < last["uncertainty_cents"].as_f64().unwrap(), "{off} {last}");
    assert!(load < 0.10, "{:.1} % of a core, 10 % are allowed", 100.0 * load);
}
