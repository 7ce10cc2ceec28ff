//! `tune` end to end: the real program hears a reed being filed, through the audio library, in real time.

use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use serde_json::Value;

use super::session::{STEADY_S, reed, with_job};
use crate::bench::played::{ATTACK_S, LEAD_S};
use crate::bench::statistics::quantile;
use crate::microphone::{Plug, RATE, environment};

#[test]
fn a_reed_is_tuned_hands_free_and_each_value_comes_within_half_a_second() {
    let dir = with_job();
    let plug = Plug::new(dir.path());
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    command.args(["tune", "job", "A1", "press", "--by", "one", "--json"]);
    command.current_dir(dir.path()).envs(environment(&plug.path));
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let (tell, told) = channel();
    let out = child.stdout.take().unwrap();
    std::thread::spawn(move || {
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            let value: Value = serde_json::from_str(&line).unwrap();
            if tell.send((Instant::now(), value)).is_err() {
                return;
            }
        }
    });
    let mut words = BufReader::new(child.stderr.take().unwrap());
    let mut line = String::new();
    while !line.contains("lead") && !line.contains("error") {
        line.clear();
        words.read_line(&mut line).unwrap();
    }
    assert!(line.starts_with("caution:"), "{line}");
    let mut stdin = child.stdin.take().unwrap();
    let mut microphone = plug.into_microphone();
    (0..100).for_each(|_| assert!(microphone.play_quiet()));

    // 9 cents flat, 5 cents flat after a go, then in tolerance.
    let (mut waited, mut plays, mut live) = (Vec::new(), Vec::new(), Vec::new());
    for (seed, cents) in [-9.0, -5.0, -0.5].into_iter().enumerate() {
        let samples = reed(440.0 * f64::exp2(cents / 1200.0), seed as u64);
        let stop = ((LEAD_S + ATTACK_S + STEADY_S) * RATE as f64) as usize / 480 * 480;
        microphone.play(&samples[..stop]);
        let stopped = Instant::now();
        microphone.play(&samples[stop..]);
        loop {
            let (at, value) = told.recv_timeout(Duration::from_secs(5)).unwrap();
            if value["kind"] == "live" {
                live.push(value);
                continue;
            }
            assert_eq!(value["kind"], "play", "{value}");
            waited.push(at.saturating_duration_since(stopped).as_secs_f64());
            let off = value["cents"].as_f64().unwrap() - cents;
            assert!(off.abs() <= value["uncertainty_cents"].as_f64().unwrap(), "{value}");
            plays.push(value);
            break;
        }
    }
    println!("from the end of a play to its value: {waited:.3?} s");
    assert!(waited.iter().all(|waited| *waited <= 0.5), "{waited:?}");
    let stands: Vec<&str> = plays.iter().filter_map(|play| play["stands"].as_str()).collect();
    assert_eq!(stands, ["out", "out", "at_once"]);
    assert_eq!((&plays[0]["go"], &plays[0]["advice"]["goes"]), (&Value::Null, &Value::from(0)));
    assert_eq!(plays[0]["advice"]["part"], "tip");
    // The go was noted by itself, and taught.
    assert!(plays[1]["go"]["work"].as_str().unwrap().starts_with("filed tip "), "{}", plays[1]);

    // Live values: every tenth of a second, and surer than a cent after one.
    let since: Vec<f64> = live.iter().filter_map(|value| value["since_s"].as_f64()).collect();
    let gaps: Vec<f64> = since.windows(2).map(|pair| pair[1] - pair[0]).filter(|gap| *gap > 0.0).collect();
    println!(
        "live values: {} gaps, median {:.3} s, 0.95 {:.3} s",
        gaps.len(),
        quantile(&gaps, 0.5),
        quantile(&gaps, 0.95)
    );
    assert!(quantile(&gaps, 0.5) <= 0.1, "{gaps:?}");
    let late = live.iter().filter(|value| value["since_s"].as_f64().unwrap() >= 1.0);
    let doubts: Vec<f64> = late.filter_map(|value| value["uncertainty_cents"].as_f64()).collect();
    assert!(doubts.len() > 10 && doubts.iter().all(|doubt| *doubt < 1.0), "{doubts:?}");

    // Taken back like any mark, and stopped.
    writeln!(stdin, "undo").unwrap();
    (0..30).for_each(|_| assert!(microphone.play_quiet()));
    writeln!(stdin, "stop").unwrap();
    let begun = Instant::now();
    while child.try_wait().unwrap().is_none() {
        assert!(begun.elapsed() < Duration::from_secs(5), "the program did not end");
        microphone.play_quiet();
    }
    assert_eq!(child.wait().unwrap().code(), Some(0));
    let diary = std::fs::read_to_string(dir.path().join("job/diary.jsonl")).unwrap();
    let count = |what: &str| diary.matches(what).count();
    assert_eq!((count("\"what\":\"play\""), count("\"what\":\"undone\"")), (3, 1), "{diary}");
    assert!(diary.contains("with file by one") && count("\"what\":\"take\"") == 0, "{diary}");
}
