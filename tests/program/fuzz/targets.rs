//! A target for each reader.

use std::path::Path;
use std::time::Duration;

use platenote::alignment::place_by_name;
use platenote::instrument::{Instrument, Note};
use platenote::job::{Job, Plan, Table, Template, tray_from_csv, tray_to_csv, verify};
use platenote::repair::{Work, parse_count, parse_length, parse_width};

use super::fuzz;

/// A case of text on a machine that is busy with others; usual is below a millisecond.
const SOON: Duration = Duration::from_secs(5);

fn bass() -> Instrument {
    Plan::parse(&Template::Bass24.to_toml(), Path::new("plan.toml")).unwrap().instrument
}

fn texts(entries: &[&str]) -> Vec<Vec<u8>> {
    entries.iter().map(|entry| entry.as_bytes().to_vec()).collect()
}

/// Sound files of every kind, read from the disk.
#[test]
fn sound_files() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|file| file.to_string_lossy().contains("tone-"));
    files.sort();
    let mut corpus: Vec<Vec<u8>> = files.iter().map(|file| std::fs::read(file).unwrap()).collect();
    assert!(corpus.len() >= 9);
    let take = platenote::take::Take::new((0..900).map(|i| (i as f32 * 0.1).sin()).collect(), 48_000);
    corpus.push(platenote::audio::wav_bytes(&take).unwrap());
    let dir = tempfile::tempdir().unwrap();
    // The ending is a hint to the reader, so that every one comes up.
    let endings = ["wav", "m4a", "flac", "mp3", "ogg", "aiff", "caf"];
    let words = [
        "RIFF", "WAVE", "fmt ", "data", "moov", "trak", "stsz", "stco", "stts", "mdat", "OggS", "fLaC",
        "FORM",
    ];
    fuzz("sound_files", &corpus, &words, Duration::from_secs(20), |input| {
        let ending = endings[input.iter().map(|&byte| usize::from(byte)).sum::<usize>() % endings.len()];
        let file = dir.path().join(format!("take.{ending}"));
        std::fs::write(&file, input).unwrap();
        if let Ok(take) = platenote::audio::read_file(&file) {
            assert!((8_000..=384_000).contains(&take.rate_hz));
        }
    });
}

#[test]
fn plans() {
    let mut corpus: Vec<Vec<u8>> =
        [Template::Bass24, Template::Treble41, Template::Bisonoric20, Template::Empty]
            .map(|template| template.to_toml().into_bytes())
            .into();
    corpus.push(platenote::demo::PLAN.into());
    let words = [
        "[[block]]",
        "[[block.row]]",
        "notes",
        "valves_mm",
        "slots_mm",
        "tremolo_cents",
        "helper_springs",
        "\"A1..A4000000000\"",
        "temperament",
        "[valve_rule]",
        "reference_hz = ",
        "format = 2",
        "\"1 1/2 in\"",
    ];
    fuzz("plans", &corpus, &words, SOON, |input| {
        let text = String::from_utf8_lossy(input);
        if let Ok(plan) = Plan::parse(&text, Path::new("plan.toml")) {
            let written = plan.to_toml();
            let again = Plan::parse(&written, Path::new("again"));
            assert!(
                again.is_ok_and(|again| again == plan),
                "what is read is written back the same:\n{written}"
            );
        }
    });
}

/// Any diary is opened, or refused by the number of its format; what is used gives no number that is none.
#[test]
fn diaries() {
    let at = "\"format\":1,\"at\":\"2026-04-30T10:00:00Z\"";
    let lines = [
        format!(
            "{{{at},\"what\":\"pass\",\"pass\":\"before\",\"place\":\"bench\",\"temperature_c\":18.5,\"date\":\"2026-04-30\"}}\n"
        ),
        format!(
            "{{{at},\"what\":\"take\",\"pass\":\"before\",\"place\":\"bass A1 press\",\"file\":\"takes/before/a.wav\",\"n\":1,\"sha256\":\"00\",\"bytes\":1,\"original\":null,\"why\":\"\",\"lossy\":false,\"remarks\":[]}}\n"
        ),
        format!(
            "{{{at},\"what\":\"moved\",\"file\":\"takes/before/a.wav\",\"place\":\"bass A2 press\",\"why\":\"\"}}\n"
        ),
        format!(
            "{{{at},\"what\":\"mark\",\"n\":1,\"places\":[\"bass A1 outer\"],\"work\":\"valve fitted 38 mm bin 2\"}}\n"
        ),
        format!("{{{at},\"what\":\"undone\",\"n\":1}}\n"),
        format!(
            "{{{at},\"what\":\"stock\",\"whole\":true,\"lots\":[{{\"length_mm\":38.0,\"material\":\"leather\",\"condition\":\"flat\",\"count\":3}}]}}\n"
        ),
        format!("{{{at},\"what\":\"remark\",\"file\":\"takes/before/a.wav\",\"remark\":\"x\"}}\n"),
        format!(
            "{{{at},\"what\":\"photo\",\"n\":2,\"places\":[],\"file\":\"photos/a.jpg\",\"sha256\":\"00\",\"bytes\":1,\"original\":\"a\"}}\n"
        ),
    ];
    let mut corpus: Vec<Vec<u8>> = lines.iter().map(|line| line.as_bytes().to_vec()).collect();
    corpus.push(lines.concat().into_bytes());
    let words = [
        "\"what\":",
        "\"n\":4294967295",
        "\n",
        "{",
        "}",
        "[",
        "null",
        "1e308",
        "\"../../x\"",
        "\"bass A1..A12\"",
    ];
    let dir = tempfile::tempdir().unwrap();
    Job::create(dir.path(), &Template::Bass24.to_toml()).unwrap();
    fuzz("diaries", &corpus, &words, SOON, |input| {
        std::fs::write(dir.path().join("diary.jsonl"), input).unwrap();
        let _ = verify(dir.path());
        if let Ok(job) = Job::open(dir.path()) {
            let _ = (job.passes(), job.takes("before"), job.happenings());
            let bench = job.bench();
            let rule = job.valve_rule();
            let needs = platenote::repair::needs(job.instrument(), rule, &bench);
            let fitting = platenote::repair::fit(&needs, &bench.tray, rule);
            assert!(
                fitting.rows.iter().filter_map(|row| row.need.length).all(|length| length.get().is_finite())
            );
            let _ = platenote::repair::warnings(job.instrument(), rule, &job.happenings());
        }
    });
}

#[test]
fn lists() {
    let corpus = texts(&[
        "block;row;plate;press;draw;outer_valve_mm;inner_valve_mm;press_slot_mm;helper_springs\nleft;A;A1;E2;G2;38;0;33,5;outer\n",
        "row,plate,press\nA,1,E2\nA,2,F2\n",
        "file,place\na.wav,bass A1 press\n\"b,\"\"c\",bass A2 draw\n",
        "length,count,width,material,condition,bin\n38 mm,2,6.5 mm,leather,flat,1\n36 mm,9,,plastic,curled,-A1\n",
        "\u{feff}length;count\n1 1/2 in;3\n",
    ]);
    let words = [
        "\"",
        "\"\"",
        ";",
        ",",
        "\r\n",
        "length",
        "count",
        "row",
        "plate",
        "A4294967295",
        "38mm",
        "=1+1",
        "'",
    ];
    fuzz("lists", &corpus, &words, SOON, |input| {
        let name = Path::new("list.csv");
        let _ = Table::parse(input, name, &["file", "place"], &[]);
        if let Ok(plan) = Plan::from_plates_csv(input, name) {
            assert!(Plan::parse(&plan.to_toml(), name).is_ok(), "{}", plan.to_toml());
        }
        if let Ok(lots) = tray_from_csv(input, name) {
            assert_eq!(tray_from_csv(tray_to_csv(&lots).as_bytes(), name).unwrap(), lots);
        }
    });
}

#[test]
fn places_and_work() {
    let bass = bass();
    let corpus = texts(&[
        "bass A7 press",
        "A1..A12 outer",
        "bass A1..B3",
        "A7",
        "bass-A7-press (2)",
        "take 3 bass_a07 PRESS",
        "B12 inner",
        "valve off 38 mm curled bin 2",
        "valve fitted 1 1/2 in new",
        "rust heavy",
        "cleaned solvent",
        "filed tip",
        "F#3",
    ]);
    let words =
        ["A4294967296", "..", "bass", "press", "draw", "outer", "-", "_", "♯", "Bb", "valve", "bin", "3.8cm"];
    fuzz("places_and_work", &corpus, &words, SOON, |input| {
        let text = String::from_utf8_lossy(input);
        let _ = (bass.spots(&text), place_by_name(&text, &bass), text.parse::<Note>());
        if let Ok(place) = bass.reed_place(&text) {
            assert_eq!(bass.reed_place(&place.to_string()).unwrap(), place);
        }
        let parts: Vec<String> = text.split(' ').map(str::to_owned).collect();
        if let Ok(work) = Work::parse(&parts) {
            let again: Vec<String> = work.to_string().split(' ').map(str::to_owned).collect();
            assert_eq!(Work::parse(&again).unwrap(), work, "`{work}`");
        }
    });
}

#[test]
fn lengths() {
    let corpus = texts(&[
        "38",
        "38 mm",
        "3.8 cm",
        "1.5in",
        "1 1/2 in",
        "1-1/2\"",
        "1½ in",
        "38,5mm=12",
        "6.5 mm",
        "¾ inch",
    ]);
    let words = ["mm", "cm", "in", "\"", "″", "/", "½", "=", ",", ".", "1/0", "000", "e9"];
    fuzz("lengths", &corpus, &words, SOON, |input| {
        let text = String::from_utf8_lossy(input);
        for length in [parse_length(&text).ok(), parse_count(&text).ok().map(|(length, _)| length)] {
            assert!(length.is_none_or(|length| (5.0..=200.0).contains(&length.get())));
        }
        assert!(
            parse_width(&text).is_ok_and(|width| (2.0..=40.0).contains(&width.get()))
                || parse_width(&text).is_err()
        );
        for error in [parse_length(&text).err(), parse_width(&text).err(), parse_count(&text).err()]
            .into_iter()
            .flatten()
        {
            let words = format!("{error} {}", error.next());
            // What was typed is quoted; no figure beside it may be none.
            let was_typed = text.contains("NaN") || text.contains("inf");
            assert!(was_typed || !(words.contains("NaN") || words.contains("inf")), "{words}");
        }
    });
}
