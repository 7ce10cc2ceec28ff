//! The report of a whole treble rank on paper: how many sheets it needs, asked of a browser that prints it.

use std::path::Path;
use std::process::Command;

use base64::Engine;
use platenote::instrument::Stroke;
use platenote::job::{Job, Template};
use serde_json::json;

use super::browser::Browser;
use super::looks::width;
use crate::bench::chromium::chromium;
use crate::bench::played::played;
use crate::bench::tone::{Companion, ToneSpec};

/// The issue's own bound for 41 plates.
const MOST_SHEETS: usize = 8;
const RATE_HZ: u32 = 24_000;

fn run(arguments: &[&str], files: &[std::path::PathBuf], folder: &Path) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    let output = command.args(arguments).args(files).current_dir(folder).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// How far the reeds of plate `n` lie off, press and draw, in cents: two thirds of a rank that nobody tuned for long.
fn off_cents(n: usize, stroke: Stroke, is_after: bool) -> f64 {
    const ROUND: [f64; 9] = [-7.3, 0.6, 4.8, -3.1, 1.2, -11.0, 5.9, -0.4, -4.4];
    let found = ROUND[(2 * n + usize::from(stroke == Stroke::Draw)) % ROUND.len()];
    if is_after && !n.is_multiple_of(6) { 0.1 * found } else { found }
}

fn is_leaking(n: usize, is_after: bool) -> bool {
    if is_after { n == 9 } else { n % 4 == 1 && n < 25 }
}

/// Every reed of the rank once in each pass; leaks are heard as the opposite reed beside the played one.
fn rank(folder: &Path) {
    Job::create(&folder.join("job"), &Template::Treble41.to_toml()).unwrap();
    let job = Job::open(&folder.join("job")).unwrap();
    for (pass, is_after) in [("before", false), ("after", true)] {
        std::fs::create_dir(folder.join(pass)).unwrap();
        let mut files = Vec::new();
        for (seed, (place, _)) in job.instrument().reeds().enumerate() {
            let n = place.plate.number as usize;
            let hz = job.instrument().target(&place).unwrap().get();
            let other = if place.stroke == Stroke::Press { Stroke::Draw } else { Stroke::Press };
            let own = off_cents(n, place.stroke, is_after);
            let pitch = hz * f64::exp2(own / 1200.0);
            let opposite = is_leaking(n, is_after).then(|| Companion {
                offset_cents: off_cents(n, other, is_after) - own,
                level_db: -24.0,
                partials: (1..=10).map(|k| 1.0 / f64::from(k)).collect(),
                share: 1.0,
                own_wander_cents: 0.0,
                forced: false,
                tail_level_db: -24.0,
                tail_sharper_cents: 10.0,
            });
            let spec = ToneSpec { lead_in_s: 0.4, opposite, ..played(RATE_HZ, pitch, 1.8) };
            let file = folder.join(pass).join(format!("treble-A{n}-{}.wav", place.stroke));
            let wav = platenote::audio::wav_bytes(&spec.render(seed as u64).take()).unwrap();
            std::fs::write(&file, wav).unwrap();
            files.push(file);
        }
        run(&["add", "job", "--pass", pass], &files, folder);
        // What a pass of untouched reeds needs on paper is asked of the first one.
        run(&["report", "job"], &[], folder);
        std::fs::rename(folder.join("job/report/report.html"), folder.join(format!("{pass}.html"))).unwrap();
    }
}

#[test]
fn the_report_of_a_rank_of_41_plates_needs_eight_sheets_at_most() {
    let Some(program) = chromium() else { return };
    let dir = tempfile::tempdir().unwrap();
    rank(dir.path());
    let mut browser = Browser::new(&program, &dir.path().join("profile"));
    for pass in ["before", "after"] {
        browser.size(1280, 900, false);
        browser.open(&format!("file://{}", dir.path().join(format!("{pass}.html")).display()));
        width(&mut browser, pass);
        let rows = browser.value("document.querySelectorAll('#plates .on-paper tbody tr').length");
        assert_eq!(rows, 41, "a row for each plate");
        let answer =
            browser.call("Page.printToPDF", json!({"preferCSSPageSize": true, "printBackground": true}));
        let pdf = base64::engine::general_purpose::STANDARD.decode(answer["data"].as_str().unwrap()).unwrap();
        if let Ok(folder) = std::env::var("PLATENOTE_PICTURES") {
            std::fs::create_dir_all(&folder).unwrap();
            std::fs::write(Path::new(&folder).join(format!("sheets-{pass}.pdf")), &pdf).unwrap();
        }
        let sheets =
            pdf.windows(12).filter(|bytes| bytes.starts_with(b"/Type /Page") && bytes[11] != b's').count();
        println!("{pass}: {sheets} sheets");
        assert!((2..=MOST_SHEETS).contains(&sheets), "{pass}: {sheets} sheets");
    }
}
