//! The key of kept readings: another analysis, another key, so that no job goes on telling old readings.

use std::fs;
use std::path::{Path, PathBuf};

use platenote::job::READINGS_KEY;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

#[allow(dead_code, reason = "its main runs while building")]
#[path = "../../../src/build.rs"]
mod build;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Which readings are kept in `fixtures/`, and under which key they were written.
pub fn record(text: &str) -> Value {
    let sum: String = Sha256::digest(text).iter().map(|byte| format!("{byte:02x}")).collect();
    json!({ "sha256": sum, "key": READINGS_KEY })
}

pub fn record_file() -> PathBuf {
    root().join("fixtures/readings.key.json")
}

/// Other readings under the same key: a job would go on telling the old ones.
pub fn is_stale(before: &Value, now: &Value) -> bool {
    before["sha256"] != now["sha256"] && before["key"] == now["key"]
}

#[test]
fn other_readings_have_another_key() {
    let text = fs::read_to_string(root().join("fixtures/readings.jsonl")).expect("the kept readings");
    let before: Value = serde_json::from_str(&fs::read_to_string(record_file()).expect("their record"))
        .expect("one JSON object");
    let now = record(&text);
    assert!(
        !is_stale(&before, &now),
        "the kept readings have changed and the key has not: what changed them is missing in src/build.rs"
    );
    assert_eq!(before["sha256"], now["sha256"], "written by PLATENOTE_KEEP_READINGS=1, never by hand");
    // The check itself: the same readings may stand under any key, others only under another one.
    assert!(is_stale(&json!({ "sha256": "other", "key": READINGS_KEY }), &now));
    assert!(!is_stale(&json!({ "sha256": "other", "key": "other" }), &now));
}

fn copy(from: &Path, to: &Path) {
    if from.is_dir() {
        fs::create_dir_all(to).expect("a folder");
        for entry in fs::read_dir(from).expect("a folder") {
            let entry = entry.expect("an entry");
            copy(&entry.path(), &to.join(entry.file_name()));
        }
    } else {
        fs::copy(from, to).expect("a copy");
    }
}

#[test]
fn the_key_follows_from_what_decides_a_reading_and_from_nothing_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let sources = folder.path();
    copy(&root().join("src"), &sources.join("src"));
    fs::copy(root().join("Cargo.lock"), sources.join("Cargo.lock")).expect("a copy");
    let key = || build::readings_key(sources).expect("a key");
    let built = key();
    assert!(READINGS_KEY.ends_with(&format!(" {built:016x}")), "{READINGS_KEY} was built of other sources");

    let edited = |file: &str, edit: &dyn Fn(String) -> String| {
        let path = sources.join(file);
        let text = fs::read_to_string(&path).expect("a source");
        let changed = edit(text.clone());
        assert_ne!(changed, text, "{file}");
        fs::write(&path, changed).expect("written");
        let now = key();
        fs::write(&path, text).expect("written");
        now
    };
    let with_line = |line: &'static str| move |text: String| format!("{text}{line}\n");
    for file in ["src/analysis/mod.rs", "src/audio/sound_file.rs", "src/take.rs", "src/job/reading_line.rs"] {
        assert_ne!(edited(file, &with_line("const MORE: f64 = 1.0;")), built, "{file}");
        assert_eq!(edited(file, &with_line("    // A remark.")), built, "a remark in {file}");
        assert_eq!(edited(file, &|text| text.replace('\n', "\r\n")), built, "line ends of {file}");
    }
    for file in ["src/audio/live/microphone.rs", "src/report/mod.rs", "src/judgement/mod.rs"] {
        assert_eq!(edited(file, &with_line("const MORE: f64 = 1.0;")), built, "{file}");
    }
    let other_decoder = |lock: String| {
        let at = lock.find("name = \"symphonia\"").expect("the decoder");
        let (before, after) = lock.split_at(at);
        format!("{before}{}", after.replacen("version = \"", "version = \"9", 1))
    };
    assert_ne!(edited("Cargo.lock", &other_decoder), built, "another decoder");
    fs::write(sources.join("src/analysis/new_step.rs"), "const MORE: f64 = 1.0;\n").expect("written");
    assert_ne!(key(), built, "a new file of the analysis");
}
