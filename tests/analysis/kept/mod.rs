//! Readings of built takes, as they were when they were last looked at: a change of the analysis that moves one is
//! seen here, and is either meant or a fault. What is right about them is asked elsewhere, against what was planted.
//!
//! After a change that is meant: `PLATENOTE_KEEP_READINGS=1 cargo test --release --test analysis kept` writes them anew, and
//! `git diff fixtures/readings.jsonl` shows what has moved.

mod key;
mod takes;

use platenote::analysis::{Heard, Opposite, Reading, Refusal, listen};
use platenote::job::ReadingLine;
use serde_json::{Map, Value, json};
use std::path::Path;
use takes::Kept;

/// Numbers may differ by this part of themselves and by this much: another processor adds up in another order.
const PART: f64 = 2e-4;
const MUCH: f64 = 1e-5;

#[test]
fn readings_stay_what_they_were() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/readings.jsonl");
    let takes = takes::all();
    let now = crate::bench::statistics::over_seeds(0, takes.len() as u64, |idx| line(&takes[idx as usize]));
    let text = std::fs::read_to_string(&path).unwrap_or_default();
    let before: Vec<Value> =
        text.lines().map(|line| serde_json::from_str(line).expect("a line of JSON")).collect();
    let moved = moved(&now, &before);
    if std::env::var_os("PLATENOTE_KEEP_READINGS").is_some() {
        // Another processor's last digits are no change.
        if !moved.is_empty() || !key::record_file().exists() {
            let lines: Vec<&str> = text.lines().collect();
            keep(&path, &now, &lines);
        }
        return;
    }
    assert!(moved.is_empty(), "{} values have moved:\n{}", moved.len(), moved.join("\n"));
}

fn moved(now: &[Value], before: &[Value]) -> Vec<String> {
    let names = |lines: &[Value]| lines.iter().map(|line| line["take"].to_string()).collect::<Vec<_>>();
    if names(now) != names(before) {
        return vec!["the takes themselves".to_owned()];
    }
    let mut moved = Vec::new();
    for (now, before) in now.iter().zip(before) {
        compare(now["take"].as_str().unwrap_or_default(), now, before, &mut moved);
    }
    moved
}

/// Write the readings and the key they stand under; refused where a job would not notice that they are others. A line in
/// which nothing has moved stays as it was.
fn keep(path: &Path, now: &[Value], before: &[&str]) {
    let as_before = |line: &Value| {
        before.iter().find(|text| {
            serde_json::from_str::<Value>(text)
                .is_ok_and(|before| moved(std::slice::from_ref(line), &[before]).is_empty())
        })
    };
    let text: String = now
        .iter()
        .map(|line| as_before(line).map_or_else(|| format!("{line}\n"), |text| format!("{text}\n")))
        .collect();
    let record = key::record(&text);
    let before = std::fs::read_to_string(key::record_file()).unwrap_or_else(|_| "{}".to_owned());
    let before: Value = serde_json::from_str(&before).expect("one JSON object");
    assert!(
        !key::is_stale(&before, &record),
        "the readings have moved and the key has not: what moved them is missing in src/build.rs"
    );
    std::fs::write(path, text).expect("the fixtures can be written");
    std::fs::write(key::record_file(), format!("{record}\n")).expect("the fixtures can be written");
}

/// What is kept of one take.
fn line(kept: &Kept) -> Value {
    let told = match listen(&kept.take, &kept.expectation) {
        Ok(mut heard) => {
            let reading = heard.reading(kept.expectation.opposite);
            whole(kept, &heard, &reading)
        }
        Err(refusal) => refused(&refusal),
    };
    rounded(json!({ "take": kept.name, "told": told }))
}

fn refused(refusal: &Refusal) -> Value {
    json!({ "refused": format!("{refusal:?}") })
}

fn whole(kept: &Kept, heard: &Heard, reading: &Reading) -> Value {
    let mut told = json!({ "reading": ReadingLine::from(reading) });
    let looks = matches!(reading.opposite, Opposite::Sounding { .. }) || kept.name.starts_with("clean");
    if let Some(drawn) = looks.then(|| heard.close_up(reading, None, None)).flatten() {
        // Every 40th point: enough to see the drawing move.
        let points = drawn.offset_cents.iter().zip(&drawn.level_db).step_by(40);
        let points: Vec<Value> = points.map(|(offset, level)| json!([offset, level])).collect();
        told["close_up"] = json!({ "partial": drawn.partial, "points": points });
    }
    told
}

/// Seven digits are enough to see anything move, and keep the file small.
fn rounded(value: Value) -> Value {
    match value {
        Value::Number(number) => match number.as_f64() {
            Some(float) if number.is_f64() => json!(format!("{float:.6e}").parse::<f64>().unwrap_or(float)),
            _ => Value::Number(number),
        },
        Value::Array(values) => values.into_iter().map(rounded).collect(),
        Value::Object(fields) => {
            Value::Object(fields.into_iter().map(|(key, value)| (key, rounded(value))).collect::<Map<_, _>>())
        }
        other => other,
    }
}

/// Names in `moved` each value that is another one now.
fn compare(at: &str, now: &Value, before: &Value, moved: &mut Vec<String>) {
    match (now, before) {
        (Value::Object(fields), Value::Object(others)) if fields.keys().eq(others.keys()) => {
            for (key, value) in fields {
                compare(&format!("{at} {key}"), value, &others[key], moved);
            }
        }
        (Value::Array(values), Value::Array(others)) if values.len() == others.len() => {
            for (idx, (value, other)) in values.iter().zip(others).enumerate() {
                compare(&format!("{at} {idx}"), value, other, moved);
            }
        }
        _ => {
            let same = match (now.as_f64(), before.as_f64()) {
                (Some(now), Some(before)) => (now - before).abs() <= MUCH + PART * before.abs(),
                _ => now == before,
            };
            if !same {
                moved.push(format!("{at}: {now}, was {before}"));
            }
        }
    }
}
