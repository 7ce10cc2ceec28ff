//! `report` through the real program: the page and the sheet as a browser reads them, their figures against
//! `findings --json`, hostile names, the tables, and printing.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command as Process;
use std::sync::OnceLock;

use crate::bench::chromium::chromium;
use assert_cmd::Command;
use predicates::str::contains;
use scraper::{Html, Selector};
use serde_json::Value;
use tempfile::TempDir;

const HOSTILE: &str = "\"><script>alert('x')</script><img src=http://example.org/x> & ]]> {{7*7}}";

fn platenote(at: &Path, words: &[&str]) -> assert_cmd::assert::Assert {
    Command::new(assert_cmd::cargo::cargo_bin!("platenote")).current_dir(at).args(words).assert()
}

/// The demo's job with bench notes, one of them hostile, and a hostile title; made once.
fn job() -> &'static Path {
    static JOB: OnceLock<TempDir> = OnceLock::new();
    let dir = JOB.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        platenote(dir.path(), &["demo", "job"]).success();
        let plan = dir.path().join("job/plan.toml");
        let text = std::fs::read_to_string(&plan).unwrap();
        let title = format!("title = {}", serde_json::to_string(HOSTILE).unwrap());
        let text: Vec<&str> =
            text.lines().map(|line| if line.starts_with("title") { title.as_str() } else { line }).collect();
        std::fs::write(plan, text.join("\n")).unwrap();
        for words in [
            vec!["A1..A6", "cleaned"],
            vec!["A2", "outer", "valve", "fitted", "57mm", "new"],
            vec!["B1", "note", HOSTILE],
        ] {
            let all: Vec<&str> = ["mark", "job"].into_iter().chain(words).collect();
            platenote(dir.path(), &all).success();
        }
        platenote(dir.path(), &["report", "job"]).success().stderr(contains("report.html` in a browser"));
        dir
    });
    dir.path()
}

fn read(name: &str) -> String {
    std::fs::read_to_string(job().join("job/report").join(name)).unwrap()
}

fn all<'a>(page: &'a Html, selector: &str) -> Vec<scraper::ElementRef<'a>> {
    page.select(&Selector::parse(selector).unwrap()).collect()
}

fn words(element: &scraper::ElementRef) -> String {
    element.text().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A browser's parser finds nothing to mend, nothing to fetch and nothing to run, and every link leads somewhere.
#[test]
fn the_pages_are_whole_and_fetch_nothing() {
    for name in ["report.html", "hand-over.html"] {
        let text = read(name);
        let page = Html::parse_document(&text);
        assert_eq!(page.errors, Vec::<std::borrow::Cow<str>>::new(), "{name}");
        assert!(all(&page, "script, link, iframe, object, embed, img, base, form").is_empty(), "{name}");
        let ids: BTreeSet<&str> =
            all(&page, "[id]").iter().filter_map(|element| element.value().attr("id")).collect();
        assert_eq!(ids.len(), all(&page, "[id]").len(), "{name}: no id comes twice");
        for element in all(&page, "*") {
            for (key, value) in element.value().attrs() {
                assert!(!key.starts_with("on"), "{name}: {key}");
                match key {
                    "href" => assert!(value.strip_prefix('#').is_some_and(|id| ids.contains(id)), "{value}"),
                    "src" => assert!(value.starts_with("data:audio/wav;base64,"), "{name}"),
                    _ => {}
                }
            }
        }
        let style = words(&all(&page, "style")[0]);
        assert!(!style.contains("url(") && !style.contains("@import"), "{name}");
        assert!(text.contains("default-src 'none'"), "{name}");
        assert_eq!(words(&all(&page, "h1")[0]), HOSTILE.split_whitespace().collect::<Vec<_>>().join(" "));
        assert_eq!(all(&page, "h1").len(), 1);
    }
    let page = Html::parse_document(&read("report.html"));
    let plates = all(&page, "article.plate");
    let hostile = plates.iter().find(|plate| words(plate).starts_with("bass B1 E4 ")).unwrap();
    assert!(words(hostile).contains("<script>alert('x')</script>"), "shown as it was written");
    // Free words stay in the workshop.
    assert!(!read("hand-over.html").contains("7*7}}</li>"));
}

#[test]
fn every_plate_says_what_the_findings_say() {
    let output = platenote(job(), &["findings", "job", "--json"]).success().get_output().stdout.clone();
    let lines: Vec<Value> =
        String::from_utf8(output).unwrap().lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let page = Html::parse_document(&read("report.html"));
    let plates = all(&page, "article.plate");
    assert_eq!(plates.len(), 12, "the demo's plan has twelve plates");
    let verdict = Selector::parse(".verdict").unwrap();
    let mut n_valves = 0;
    for plate in &plates {
        let name = words(plate).split_whitespace().take(2).collect::<Vec<_>>().join(" ");
        let told: Vec<String> = plate.select(&verdict).map(|word| words(&word)).collect();
        let found: Vec<String> = lines
            .iter()
            .filter(|line| line["kind"] == "valve" && line["plate"] == name.as_str())
            .map(|line| line["verdict"].as_str().unwrap().replace('_', " "))
            .collect();
        // Outer before and after, inner before and after; the later ones are those of `findings`.
        assert_eq!([told[1].clone(), told[3].clone()].to_vec(), found, "{name}");
        n_valves += found.len();
    }
    assert_eq!(n_valves, 24);
    let next = words(&all(&page, "#next")[0]);
    let is_due = |line: &&Value| line["state"] == "raise" || line["state"] == "lower";
    let due = lines.iter().filter(|line| line["kind"] == "reed_standing").filter(is_due).count();
    assert!(due > 5);
    assert!(next.contains(&format!("Reeds to tune {due}")), "{next}");
    assert!(next.contains("B3") && next.contains("28 mm") && next.contains("A3 and A4"), "{next}");
    assert!(next.contains("A6 draw: record it, no take in pass `after`"), "{next}");
    // The map leads to every plate, in both formats, and says in words what it shows.
    let leads = all(&page, "svg a");
    assert_eq!(leads.len(), 24);
    assert!(leads.iter().any(|lead| {
        lead.value()
            .attr("aria-label")
            .is_some_and(|label| label.starts_with("bass B3, outer valve leaks, inner valve no sign"))
    }));
}

#[test]
fn sound_is_a_second_of_the_take_and_can_be_left_out() {
    use base64::Engine;
    let page = Html::parse_document(&read("report.html"));
    let clips = all(&page, "audio");
    assert_eq!(clips.len(), 47, "24 reeds in two passes, one take forgotten");
    for clip in clips.iter().take(3) {
        let source = clip.value().attr("src").unwrap().strip_prefix("data:audio/wav;base64,").unwrap();
        let wav = base64::engine::general_purpose::STANDARD.decode(source).unwrap();
        let sound = hound::WavReader::new(std::io::Cursor::new(wav)).unwrap();
        assert_eq!((sound.spec().channels, sound.spec().bits_per_sample), (1, 16));
        assert_eq!(sound.duration(), sound.spec().sample_rate);
        assert_eq!(clip.value().attr("preload"), Some("none"));
    }
    platenote(job(), &["verify", "job"]).success();
    platenote(job(), &["report", "job", "--sound", "0", "--out", "quiet"]).success();
    let quiet = std::fs::read_to_string(job().join("quiet/report.html")).unwrap();
    assert!(!quiet.contains("<audio") && quiet.len() < 1_500_000, "{}", quiet.len());
    // The leaking plates come first where room is short.
    platenote(job(), &["report", "job", "--sound", "0.6", "--out", "short"])
        .success()
        .stderr(contains("41 clips of sound were left out"));
    let short = std::fs::read_to_string(job().join("short/report.html")).unwrap();
    assert!(short.contains("41 clips were left out"));
    let page = Html::parse_document(&short);
    let of: BTreeSet<&str> =
        all(&page, "audio").iter().filter_map(|clip| clip.value().attr("aria-label")).collect();
    assert!(of.contains("bass A2 press, before") && of.contains("bass B3 press, after"), "{of:?}");
    platenote(job(), &["report", "job", "--sound", "-1"]).code(2);
}

#[test]
fn every_table_and_drawing_is_written_and_says_the_same() {
    let output =
        platenote(job(), &["report", "job", "--json", "--out", "out"]).success().get_output().stdout.clone();
    let text = String::from_utf8(output).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let mut tables = Vec::new();
    for line in &lines {
        for key in ["html", "csv", "json", "svg", "png"] {
            if let Some(file) = line[key].as_str() {
                assert!(job().join(file).is_file(), "{file}");
            }
        }
        if line["kind"] == "table" {
            let csv = std::fs::read(job().join(line["csv"].as_str().unwrap())).unwrap();
            let table: Value =
                serde_json::from_slice(&std::fs::read(job().join(line["json"].as_str().unwrap())).unwrap())
                    .unwrap();
            let mut reader = csv::Reader::from_reader(csv.as_slice());
            let head = reader.headers().unwrap().clone();
            let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
            let objects = table["rows"].as_array().unwrap();
            assert_eq!(rows.len(), objects.len(), "{}", line["name"]);
            for (row, object) in rows.iter().zip(objects) {
                assert_eq!(object.as_object().unwrap().len(), head.len());
                for (column, cell) in head.iter().zip(row) {
                    let same = match &object[column] {
                        Value::Null => cell.is_empty(),
                        Value::Bool(is_so) => cell == if *is_so { "yes" } else { "no" },
                        Value::Number(number) => cell.parse::<f64>().ok() == number.as_f64(),
                        Value::String(words) => cell.trim_start_matches('\'') == words,
                        _ => false,
                    };
                    assert!(same, "{} {column}: {cell}", line["name"]);
                }
            }
            tables.push((line["name"].as_str().unwrap(), rows.len()));
        }
    }
    let count = |wanted: &str| tables.iter().find(|(name, _)| *name == wanted).map(|(_, rows)| *rows);
    assert_eq!((count("passes"), count("reeds"), count("valves")), (Some(2), Some(48), Some(48)));
    assert_eq!((count("valve-changes"), count("swaps"), count("marks")), (Some(22), Some(1), Some(3)));
    assert_eq!(lines.iter().filter(|line| line["kind"] == "chart").count(), 5);
    assert_eq!(lines.iter().filter(|line| line["kind"] == "page").count(), 2);
}

#[test]
fn the_sheet_for_the_owner_is_plain_and_says_no_more_than_was_heard() {
    let page = Html::parse_document(&read("hand-over.html"));
    let text = words(&all(&page, "main")[0]);
    assert!(text.contains("4 valves showed signs that fit a leak"), "{text}");
    assert!(
        text.contains("1 changed and not confirmed") && text.contains("1 not seen to, or still leaking"),
        "{text}"
    );
    assert!(text.contains("6 plates cleaned") && text.contains("1 valve fitted"), "{text}");
    for jargon in ["cents", "dB", "verdict", "partial", "second tone", "leaks", "take", "sympathetic"] {
        assert!(!text.contains(jargon), "{jargon}: {text}");
    }
    // One pass alone makes a sheet too.
    platenote(job(), &["report", "job", "--pass", "before", "--sound", "0", "--out", "one"]).success();
    let one = std::fs::read_to_string(job().join("one/hand-over.html")).unwrap();
    assert!(!one.contains("before and after"), "{one}");
    assert!(!job().join("one/valve-changes.csv").exists());
}

/// Everything is told from one decoding and one listening: a report of known readings costs at most twice what drawing and
/// writing the same files costs.
#[test]
fn a_report_of_known_readings_costs_at_most_twice_the_writing() {
    use platenote::evaluation::{Detail, Evaluation, PassChoice, write_report};
    let job = platenote::job::Job::open(&job().join("job")).unwrap();
    let choice = PassChoice::of_two("before", "after");
    let out = tempfile::tempdir().unwrap();
    let seconds = |run: &mut dyn FnMut()| {
        let start = std::time::Instant::now();
        run();
        start.elapsed().as_secs_f64()
    };
    // The best of three, since other programs run beside this one.
    let (mut evaluating, mut writing) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..3 {
        let mut told = None;
        evaluating = evaluating.min(seconds(&mut || {
            told = Some(Evaluation::of(&job, &choice, Detail::Report, &|| ()).unwrap());
        }));
        let told = told.unwrap();
        writing = writing.min(seconds(&mut || {
            write_report(&job, &told, Some(out.path()), 8.0).unwrap();
        }));
    }
    let ratio = (evaluating + writing) / writing;
    println!("evaluating {evaluating:.2} s, writing {writing:.2} s: {ratio:.2} times");
    assert!(ratio < 2.0, "evaluating {evaluating:.2} s, writing {writing:.2} s: {ratio:.2} times");
}

#[test]
fn a_job_without_a_pass_says_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    platenote(dir.path(), &["new", "job", "--template", "bass24"]).success();
    platenote(dir.path(), &["report", "job"]).code(1).stderr(contains("next:  add sound files"));
    assert!(!dir.path().join("job/report").exists());
}

/// Relative luminance and contrast as WCAG 2.2 defines them (W3C Recommendation, "relative luminance", "contrast ratio").
#[test]
fn words_stand_out_from_their_ground() {
    let style = words(&all(&Html::parse_document(&read("report.html")), "style")[0]);
    let named = |name: &str| {
        let after = style.split_once(&format!("--{name}: #")).expect(name).1;
        u32::from_str_radix(&after[..6], 16).unwrap()
    };
    let luminance = |colour: u32| {
        let part = |shift: u32| {
            let value = f64::from((colour >> shift) & 255) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(16) + 0.7152 * part(8) + 0.0722 * part(0)
    };
    let contrast = |words: u32, ground: u32| {
        let (one, other) = (luminance(words), luminance(ground));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    };
    let white = 0x00ff_ffff;
    for (what, words, ground) in [
        ("text", named("text"), white),
        ("faint on white", named("faint"), white),
        ("faint on the page", named("faint"), named("ground")),
        ("links", named("link"), white),
        ("leaks", white, named("leaks")),
        ("suspect", named("text"), named("suspect")),
        ("not judged", named("text"), named("unknown")),
    ] {
        let ratio = contrast(words, ground);
        assert!(ratio >= 4.5, "{what}: {ratio:.2}");
    }
}

#[test]
fn the_pages_print_on_a4() {
    let Some(browser) = chromium() else { return };
    for (name, most) in [("report.html", 14), ("hand-over.html", 2)] {
        let dir = tempfile::tempdir().unwrap();
        let pdf = dir.path().join("page.pdf");
        let output = Process::new(&browser)
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"])
            .arg(format!("--user-data-dir={}", dir.path().join("profile").display()))
            .arg(format!("--print-to-pdf={}", pdf.display()))
            .arg(job().join("job/report").join(name))
            .output()
            .unwrap();
        let bytes = std::fs::read(&pdf).unwrap_or_else(|_| panic!("nothing was printed: {output:?}"));
        let text = String::from_utf8_lossy(&bytes);
        // A4 is 210 × 297 mm (ISO 216), 595.3 × 841.9 points.
        let n_pages = text.matches("/Type /Page\n").count().max(text.matches("/MediaBox").count());
        assert!((1..=most).contains(&n_pages), "{name}: {n_pages} sheets");
        for sheet in text.split("/MediaBox [").skip(1) {
            let sides: Vec<f64> = sheet
                .split(']')
                .next()
                .unwrap()
                .split_whitespace()
                .map(|side| side.parse().unwrap())
                .collect();
            assert!((sides[2] - 595.3).abs() < 1.5 && (sides[3] - 841.9).abs() < 1.5, "{name}: {sides:?}");
        }
    }
}
