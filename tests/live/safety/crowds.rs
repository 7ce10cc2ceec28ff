//! Two programs at once on one job: every pair of writing verbs, no line lost or torn.

use std::fs;

use super::cut_off_sweep::long_recording;
use super::{Workshop, text};

/// Each writing verb and how many lines of the diary it adds at the most.
const VERBS: [(&str, &[&str], usize); 7] = [
    ("add", &["add", "job", "A1-press.wav", "A1-draw.wav", "--pass", "before"], 3),
    ("mark", &["mark", "job", "A1", "lifted"], 1),
    ("photo", &["mark", "job", "A2", "photo", "plate.jpg"], 1),
    ("undo", &["mark", "job", "--undo"], 1),
    ("count", &["valves", "job", "--count", "38mm=4"], 1),
    ("sweep", &["sweep", "job", "long.wav", "--pass", "before", "--accept"], 3),
    ("import", &["valves", "job", "--import", "tray.csv", "--html"], 1),
];

#[test]
fn every_pair_of_writing_verbs_at_once_loses_no_line() {
    for (first, first_words, first_lines) in VERBS {
        for (second, second_words, second_lines) in VERBS {
            let workshop = Workshop::new();
            workshop.sound("A1-press.wav", 1, 30_000);
            workshop.sound("A1-draw.wav", 2, 30_000);
            if first == "sweep" || second == "sweep" {
                long_recording(&workshop, 2);
            }
            fs::write(workshop.path("plate.jpg"), [&[0xff, 0xd8, 0xff][..], &[7; 40_000]].concat()).unwrap();
            fs::write(workshop.path("tray.csv"), "length,count\n36 mm,3\n").unwrap();
            for text in ["one", "two"] {
                workshop.done(&["mark", "job", "note", text]);
            }
            let spawn = |words| {
                let mut command = workshop.command(words);
                command
                    .stdout(std::process::Stdio::piped())
                    .stderr(std::process::Stdio::piped())
                    .spawn()
                    .unwrap()
            };
            let (one, other) = (spawn(first_words), spawn(second_words));
            let outputs = [one.wait_with_output().unwrap(), other.wait_with_output().unwrap()];
            let mut n_done = 0;
            for output in &outputs {
                let words = text(&output.stderr);
                n_done += usize::from(output.status.success());
                assert!(
                    output.status.success() || words.contains("error: another program is writing to the job"),
                    "{first} and {second}: {words}"
                );
            }
            assert!(n_done > 0, "{first} and {second}: one at least is let in");
            assert_eq!(workshop.troubles(), [], "{first} and {second}");
            let lines: Vec<serde_json::Value> =
                workshop.diary().lines().map(|line| serde_json::from_str(line).unwrap()).collect();
            // The pass is opened once; the same takes are stored once.
            let takes = |verb| matches!(verb, "add" | "sweep");
            let same_pass = usize::from(takes(first) && takes(second));
            let wanted = 2 + if first == second && same_pass == 1 {
                3
            } else {
                first_lines + second_lines - same_pass
            };
            assert!(n_done < 2 || lines.len() == wanted, "{first} and {second}: {lines:#?}");
            // Marks are numbered by turns, none twice.
            let numbers: Vec<u64> = lines
                .iter()
                .filter(|line| line["what"] == "mark" || line["what"] == "photo")
                .map(|line| line["n"].as_u64().unwrap())
                .collect();
            assert!(
                numbers.iter().copied().eq(1..=numbers.len() as u64),
                "{first} and {second}: {numbers:?}"
            );
        }
    }
}

#[test]
fn eight_programs_at_once_are_let_in_by_turns_or_told_to_wait() {
    let workshop = Workshop::new();
    let notes: Vec<String> = (0..8).map(|number| format!("number {number}")).collect();
    let children: Vec<_> = notes
        .iter()
        .map(|note| {
            let mut command = workshop.command(&["mark", "job", "note", note]);
            command.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped()).spawn().unwrap()
        })
        .collect();
    let mut n_done = 0;
    for child in children {
        let output = child.wait_with_output().unwrap();
        let words = text(&output.stderr);
        assert!(output.status.success() || words.contains("next:  wait until it is done"), "{words}");
        n_done += usize::from(output.status.success());
    }
    assert_eq!(workshop.diary().lines().count(), n_done);
    assert_eq!(workshop.troubles(), []);
}
