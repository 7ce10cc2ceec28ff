//! `platenote read` as people run it, in an empty folder: output, messages, exit code.

use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use platenote::audio::write_wav;
use platenote::take::Take;
use serde_json::Value;
use tempfile::TempDir;

fn run(dir: &Path, arguments: &[&str]) -> Output {
    Command::cargo_bin("platenote").unwrap().current_dir(dir).arg("read").args(arguments).output().unwrap()
}

fn lines(output: &Output) -> Vec<Value> {
    let text = std::str::from_utf8(&output.stdout).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}"))).collect()
}

fn words(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// An empty folder with some files that give no reading.
fn folder() -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("notes.txt"), "38 mm leather, twelve of them\n".repeat(40)).unwrap();
    std::fs::write(dir.path().join("voice.amr"), b"#!AMR\n\x3C\x08").unwrap();
    write_wav(&dir.path().join("silence.wav"), &Take::new(vec![0.0; 48_000], 48_000)).unwrap();
    write_wav(&dir.path().join("empty.wav"), &Take::new(vec![], 48_000)).unwrap();
    dir
}

#[test]
fn files_that_give_no_reading_are_objects_with_an_error_in_order() {
    let dir = folder();
    let names = ["notes.txt", "silence.wav", "gone.wav", "voice.amr", "empty.wav"];
    let output = run(dir.path(), &[&names[..], &["--json"]].concat());
    assert_eq!(output.status.code(), Some(1));
    let lines = lines(&output);
    let order: Vec<_> = lines.iter().map(|line| line["file"].as_str().unwrap()).collect();
    assert_eq!(order, names);
    for line in &lines {
        assert_eq!(line["format"], 1);
        assert!(line["error"].is_string() && line["next"].is_string(), "{line}");
        assert_eq!(line.get("reading"), None);
    }
    assert_eq!(lines[0]["refusal"], Value::Null);
    assert_eq!(lines[4]["refusal"]["code"], "empty");
    assert!(lines[3]["error"].as_str().unwrap().contains("an AMR file"), "{}", lines[3]);
}

#[test]
fn people_are_told_each_error_and_what_to_do() {
    let dir = folder();
    let output = run(dir.path(), &["notes.txt", "empty.wav"]);
    assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(1), &b""[..]));
    let words = words(&output);
    assert!(words.contains("error: `notes.txt` cannot be read as sound"), "{words}");
    assert!(words.contains("error: take `empty.wav`: the take holds no samples"), "{words}");
    assert_eq!(words.matches("next:  ").count(), 2, "{words}");
}

#[test]
fn nothing_is_written_beside_the_files() {
    let dir = folder();
    run(dir.path(), &["silence.wav", "notes.txt"]);
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 4);
}

#[test]
fn a_list_names_files_from_its_own_folder() {
    let dir = folder();
    std::fs::create_dir(dir.path().join("lists")).unwrap();
    let list = "file,note,opposite,within_cents\n../silence.wav,A4,,\n../empty.wav,,440.5,0.5\n";
    std::fs::write(dir.path().join("lists/takes.csv"), list).unwrap();
    let output = run(dir.path(), &["--list", "lists/takes.csv", "--json"]);
    let lines = lines(&output);
    let order: Vec<_> = lines.iter().map(|line| line["file"].as_str().unwrap()).collect();
    assert_eq!(order, ["../silence.wav", "../empty.wav"]);
    assert!(lines.iter().all(|line| line["refusal"].is_object()), "both were found: {lines:?}");
}

#[test]
fn a_wrong_cell_is_named_with_its_line_and_nothing_is_read() {
    let dir = folder();
    for (rows, wanted) in [
        ("silence.wav,A4,,\nsilence.wav,H9,,\n", "line 3: `H9` is not a note"),
        ("silence.wav,,loud,\n", "line 2: `loud` is neither a note nor a pitch"),
        ("silence.wav,,A4,-1\n", "line 2: `-1` is not a number of cents above 0"),
        (",A4,,\n", "line 2: the cell `file` is empty"),
    ] {
        let list = format!("file,note,opposite,within_cents\n{rows}");
        std::fs::write(dir.path().join("takes.csv"), list).unwrap();
        let output = run(dir.path(), &["--list", "takes.csv", "--json"]);
        assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(1), &b""[..]));
        let words = words(&output);
        assert!(words.contains(wanted) && words.contains("next:  correct the list"), "{words}");
    }
}

#[test]
fn wrong_arguments_end_with_2() {
    let dir = folder();
    for arguments in [
        &[][..],
        &["silence.wav", "--note", "H4"],
        &["silence.wav", "--opposite", "-3"],
        &["silence.wav", "--opposite", "0"],
        &["silence.wav", "--within", "0"],
        &["silence.wav", "--within", "NaN"],
        &["silence.wav", "--reference", "300"],
        &["silence.wav", "--reference", "inf"],
        &["silence.wav", "--list", "takes.csv"],
        &["silence.wav", "--loud"],
    ] {
        let output = run(dir.path(), arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(!words(&output).is_empty() && output.stdout.is_empty(), "{arguments:?}");
    }
}

/// The reader of stdout may go away early (`… | head -1`): no panic, no message.
#[test]
#[cfg(unix)]
fn a_closed_stdout_is_no_fault() {
    let dir = folder();
    let program = assert_cmd::cargo::cargo_bin("platenote");
    let line = format!("'{}' read $(yes notes.txt | head -400) --json | head -1", program.display());
    let output =
        std::process::Command::new("sh").arg("-c").arg(line).current_dir(dir.path()).output().unwrap();
    assert_eq!(words(&output), "");
    assert_eq!(lines(&output).len(), 1);
}

/// 500 MB of address space hold the program and its threads, not the 4 GB a header promises.
#[test]
#[cfg(target_os = "linux")]
fn a_header_that_promises_4_gb_needs_no_memory() {
    let dir = folder();
    let mut wav = std::fs::read(dir.path().join("silence.wav")).unwrap();
    let at = wav.windows(4).position(|id| id == b"data").unwrap() + 4;
    wav[at..at + 4].copy_from_slice(&0x7FFF_0000_u32.to_le_bytes());
    std::fs::write(dir.path().join("liar.wav"), wav).unwrap();
    let program = assert_cmd::cargo::cargo_bin("platenote");
    let line = format!("ulimit -v 500000; '{}' read liar.wav --json", program.display());
    let output =
        std::process::Command::new("sh").arg("-c").arg(line).current_dir(dir.path()).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", words(&output));
    assert!(lines(&output)[0]["refusal"].is_object(), "it was read as far as it goes: {:?}", lines(&output));
}

/// Four seconds of a steady reed at 220 Hz with ten partials, a second series 9.8 cents lower at -30 dB, quiet noise,
/// a soft start and an abrupt stop.
fn reed_take(seconds: f64) -> Take {
    let (rate, mut seed) = (48_000.0, 7_u64);
    let mut noise = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    };
    let f0 = 220.0;
    let opposite = f0 * (-9.8_f64 / 1200.0).exp2();
    let sample = |n: usize, hiss: f64| {
        let t = n as f64 / rate;
        let series = |pitch: f64, level: f64| -> f64 {
            (1..=10)
                .map(|k| level / k as f64 * (std::f64::consts::TAU * pitch * k as f64 * t + k as f64).sin())
                .sum()
        };
        let envelope = ((t - 0.2) / 0.1).clamp(0.0, 1.0) * if t > seconds - 0.3 { 0.0 } else { 1.0 };
        (envelope * (series(f0, 0.2) + series(opposite, 0.2 * 10_f64.powf(-1.5))) + 1e-5 * hiss) as f32
    };
    Take::new((0..(seconds * rate) as usize).map(|n| sample(n, noise())).collect(), 48_000)
}

/// 220 Hz is A3 at A4 = 440 Hz, and 1200 log2(440/442) = -7.85 cents from it at 442 Hz.
#[test]
fn a_reed_is_read_with_its_opposite_one() {
    let dir = folder();
    write_wav(&dir.path().join("reed.wav"), &reed_take(4.0)).unwrap();
    let known = ["reed.wav", "notes.txt", "reed.wav", "--note", "A3", "--opposite", "218.758", "--json"];
    let output = run(dir.path(), &known);
    assert_eq!(output.status.code(), Some(1), "one of the files is no sound");
    let lines = lines(&output);
    assert_eq!(lines.len(), 3);
    assert_eq!(lines[0], lines[2], "the same sound gives the same reading");
    let (reading, opposite) = (&lines[0]["reading"], &lines[0]["opposite"]);
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("{value}"));
    assert!((number(&reading["f0_hz"]) - 220.0).abs() < 0.001, "{reading}");
    assert_eq!(reading["note"], "A3");
    let (cents, doubt) = (number(&reading["cents"]), number(&reading["uncertainty_cents"]));
    assert!(
        cents.abs() < 0.01 && (0.17..0.3).contains(&doubt),
        "the clock alone leaves 0.173 cents: {reading}"
    );
    assert_eq!(opposite["state"], "sounding", "{opposite}");
    // The bounds promised: the level within 1.5 dB, the offset within 0.5 cents.
    assert!((number(&opposite["level_db"]) + 30.0).abs() < 1.5, "{opposite}");
    assert!((number(&opposite["cents"]) + 9.8).abs() < 0.5, "{opposite}");
}

#[test]
fn cents_are_against_the_expected_note_else_the_nearest() {
    let dir = folder();
    write_wav(&dir.path().join("reed.wav"), &reed_take(2.0)).unwrap();
    for (arguments, note, cents) in [
        (&["--reference", "442"][..], "A3", -7.85),
        (&["--note", "Bb3"], "A#3", -100.0),
        (&["--note", "A3", "--reference", "442"], "A3", -7.85),
    ] {
        let output = run(dir.path(), &[&["reed.wav", "--json"], arguments].concat());
        assert_eq!(output.status.code(), Some(0), "{}", words(&output));
        let reading = lines(&output)[0]["reading"].clone();
        assert_eq!(reading["note"], note);
        assert!((reading["cents"].as_f64().unwrap() - cents).abs() < 0.02, "{arguments:?}: {reading}");
    }
}

#[test]
fn a_list_tells_each_file_apart() {
    let dir = folder();
    write_wav(&dir.path().join("reed.wav"), &reed_take(4.0)).unwrap();
    let list = "file,note,opposite,within_cents\nreed.wav,A3,218.758,0.5\nreed.wav,A3,none,\nreed.wav,,,\n";
    std::fs::write(dir.path().join("takes.csv"), list).unwrap();
    let output = run(dir.path(), &["--list", "takes.csv", "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", words(&output));
    let lines = lines(&output);
    assert_eq!(lines[0]["opposite"]["state"], "sounding");
    assert_eq!(
        (&lines[1]["opposite"]["state"], &lines[1]["opposite"]["reason"]["code"]),
        (&Value::Null, &"one_reed".into())
    );
    assert_eq!(lines[2]["reading"]["note"], "A3");
}

#[test]
fn people_get_a_table_and_the_warnings_beneath() {
    let dir = folder();
    let take = reed_take(4.0);
    write_wav(&dir.path().join("reed.wav"), &take).unwrap();
    let whole = std::fs::read(dir.path().join("reed.wav")).unwrap();
    std::fs::write(dir.path().join("short.wav"), &whole[..whole.len() - 4 * 24_000]).unwrap();
    let output = run(dir.path(), &["reed.wav", "short.wav", "--opposite", "218.758"]);
    assert_eq!((output.status.code(), words(&output).as_str()), (Some(0), ""));
    let text = String::from_utf8(output.stdout).unwrap();
    let rows: Vec<_> = text.lines().collect();
    assert!(rows[0].starts_with("file       note  cents"), "{text}");
    assert!(
        rows[1].contains("A3") && rows[1].contains("220.000 Hz") && rows[1].contains("sounds at -30 dB"),
        "{text}"
    );
    assert!(text.contains("warning: the file is cut short: it says 4.00 s, 3.50 s are there"), "{text}");
}

#[test]
fn the_answer_is_the_same_on_one_thread_and_on_many() {
    let dir = folder();
    write_wav(&dir.path().join("reed.wav"), &reed_take(2.0)).unwrap();
    let with = |threads: &str| {
        let mut command = Command::cargo_bin("platenote").unwrap();
        let files = ["reed.wav"; 5];
        command
            .current_dir(dir.path())
            .env("RAYON_NUM_THREADS", threads)
            .arg("read")
            .args(files)
            .arg("--json");
        command.output().unwrap().stdout
    };
    let one = with("1");
    assert!(one.starts_with(b"{\"format\":1"));
    assert!(one == with("3"));
}
