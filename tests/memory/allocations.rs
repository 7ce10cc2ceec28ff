//! How much memory a file may ask for, sound or text: a stated multiple of its own size, whatever it claims.

use std::path::Path;

use allocation_counter::measure;
use platenote::analysis::{Expectation, read};
use platenote::audio::read_file;
use platenote::job::{Job, Plan, Template, tray_from_csv, verify};
use platenote::take::Take;

/// The most held at once while a file is read, for each byte of it, and beside that a fixed part: the decoders' tables
/// and buffers. A mono file of 8 bits becomes four bytes a sample, twice as much while a list grows; coded sound is
/// smaller than what comes out of it.
const PLAIN_TIMES: u64 = 10;
const CODED_TIMES: u64 = 150;
/// Silence is coded in next to nothing; a file that unpacks to more than 64 samples a byte is refused, and each takes twelve
/// bytes at the most while the list of them grows.
const SILENCE_TIMES: u64 = 800;
const BESIDE: u64 = 8_000_000;
/// The most held at once while a take is read, for each sample, and beside that. A file of 8 bits has one sample a byte.
const READING_PER_SAMPLE: u64 = 160;
const READING_BESIDE: u64 = 20_000_000;
/// The same for a plan, a list or a diary: a plate of one note in a plan is some hundred bytes of places and valves.
const TEXT_TIMES: u64 = 150;

fn most_held(name: &str, bytes: &[u8]) -> u64 {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join(name);
    std::fs::write(&file, bytes).unwrap();
    measure(|| drop(read_file(&file))).bytes_max
}

fn wav(channels: u16, bits: u16, told: u32, data: &[u8]) -> Vec<u8> {
    let mut bytes = b"RIFF".to_vec();
    bytes.extend(told.to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x01\0");
    bytes.extend(channels.to_le_bytes());
    bytes.extend(48_000_u32.to_le_bytes());
    bytes.extend(0_u32.to_le_bytes());
    bytes.extend((channels.wrapping_mul(bits / 8)).to_le_bytes());
    bytes.extend(bits.to_le_bytes());
    bytes.extend(b"data");
    bytes.extend(told.to_le_bytes());
    bytes.extend(data);
    bytes
}

#[test]
fn a_plain_file_asks_for_no_more_than_ten_times_its_size() {
    for (channels, bits) in [(1, 8), (1, 16), (2, 16), (1, 24), (6, 8), (255, 8), (65_535, 16)] {
        for told in [2_000_000, 0xFFFF_FFF0, 0x7FFF_FFFF, 0] {
            let file = wav(channels, bits, told, &vec![200; 2_000_000]);
            let held = most_held("take.wav", &file);
            let most = PLAIN_TIMES * file.len() as u64 + BESIDE;
            assert!(held < most, "{channels} × {bits} bits, {told} told: {held} of {most} bytes");
        }
    }
}

/// The longest take that a file may hold needs 2.7 GB at this rate; the takes of the bench last some seconds.
#[test]
fn reading_a_take_asks_for_no_more_than_its_multiple() {
    for (rate_hz, hz, seconds) in
        [(48_000_u32, 41.2, 20.0), (48_000, 440.0, 20.0), (8_000, 110.0, 100.0), (192_000, 220.0, 5.0)]
    {
        let n = (seconds * f64::from(rate_hz)) as usize;
        let at = |i: usize| {
            let turns = hz * i as f64 / f64::from(rate_hz);
            let tone: f64 =
                (1..=40).map(|k| (std::f64::consts::TAU * f64::from(k) * turns).sin() / f64::from(k)).sum();
            // Some noise, so that there is something to count everywhere.
            (0.1 * tone + 1e-4 * (i as f64 * i as f64 * 0.37).sin()) as f32
        };
        let take = Take::new((0..n).map(at).collect(), rate_hz);
        let mut is_read = false;
        let held = measure(|| is_read = read(&take, &Expectation::default()).is_ok()).bytes_max;
        println!("{rate_hz} Hz, {hz} Hz, {seconds} s: {:.0} bytes a sample", held as f64 / n as f64);
        let most = READING_PER_SAMPLE * n as u64 + READING_BESIDE;
        assert!(is_read && held < most, "{hz} Hz, {seconds} s: {held} of {most} bytes");
    }
}

/// The measure itself: a long file does ask for what it needs, so that a count of nothing would be seen.
#[test]
fn the_count_sees_what_is_held() {
    let file = wav(1, 16, 2_000_000, &vec![3; 2_000_000]);
    assert!(most_held("take.wav", &file) >= 4_000_000, "a million samples of four bytes");
}

/// Silence in FLAC: frames of 32 768 samples in 12 bytes each (RFC 9639: constant subframes; CRC-8 and CRC-16).
fn flac_of_silence(n_frames: u32) -> Vec<u8> {
    let crc = |bytes: &[u8], width: u32, poly: u32| {
        bytes.iter().fold(0_u32, |crc, byte| {
            (0..8).fold(crc ^ (u32::from(*byte) << (width - 8)), |crc, _| {
                let top = (crc >> (width - 1)) & 1;
                ((crc << 1) ^ (top * poly)) & ((1 << width) - 1)
            })
        })
    };
    let mut bytes = b"fLaC\x80\0\0\x22\x80\0\x80\0\0\0\0\0\0\0".to_vec();
    // 48 000 Hz in 20 bits, one channel, 16 bits a sample; how long and which hash is not said.
    bytes.extend([0x0B, 0xB8, 0x00, 0xF0, 0, 0, 0, 0]);
    bytes.extend([0; 16]);
    for n in 0..n_frames {
        let mut frame = vec![0xFF, 0xF8, 0xFA, 0x08];
        frame.extend(char::from_u32(n).expect("below the surrogates").to_string().bytes());
        frame.push(crc(&frame, 8, 0x07) as u8);
        frame.extend([0, 0, 0]);
        frame.extend((crc(&frame, 16, 0x8005) as u16).to_be_bytes());
        bytes.extend(frame);
    }
    bytes
}

/// A coder makes as good as nothing of silence: 24 kB that would hold a quarter of a gigabyte are refused in time.
#[test]
fn a_silence_without_end_asks_for_no_more_than_its_multiple() {
    let short = flac_of_silence(10);
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("take.flac");
    std::fs::write(&file, &short).unwrap();
    assert_eq!(read_file(&file).unwrap().samples.len(), 327_680, "the test's own coder is understood");
    let long = flac_of_silence(2_000);
    std::fs::write(&file, &long).unwrap();
    let held = measure(|| drop(read_file(&file))).bytes_max;
    assert!(held < SILENCE_TIMES * long.len() as u64 + BESIDE, "{held} of {} bytes", long.len());
    let error = read_file(&file).unwrap_err().to_string();
    assert!(error.contains("unpacks to more than 43 s"), "{error}");
}

/// The decoder made room for 154 MB for a file of 8 kB.
#[test]
fn an_aiff_of_65535_channels_asks_for_no_more_than_its_multiple() {
    let mut bytes = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/tone-440hz.aiff")).unwrap();
    let at = bytes.windows(4).position(|four| four == b"COMM").unwrap() + 8;
    bytes[at..at + 2].copy_from_slice(&[0xFF; 2]);
    let held = most_held("take.aiff", &bytes);
    assert!(held < CODED_TIMES * bytes.len() as u64 + BESIDE, "{held} of {} bytes", bytes.len());
}

/// Every coded fixture, whole and with each of its sizes and counts blown up.
#[test]
fn a_coded_file_asks_for_no_more_than_its_multiple() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|file| file.to_string_lossy().contains("tone-"));
    files.sort();
    assert!(files.len() >= 9);
    let mut worst = (0.0, String::new());
    for file in files {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let whole = std::fs::read(&file).unwrap();
        let n_places = whole.len().min(400);
        let damaged = (0..n_places).step_by(8).map(|at| {
            let mut bytes = whole.clone();
            bytes[at..].iter_mut().take(4).for_each(|byte| *byte = 0xFF);
            bytes
        });
        for bytes in std::iter::once(whole.clone()).chain(damaged) {
            let held = most_held(&name, &bytes);
            let most = CODED_TIMES * bytes.len() as u64 + BESIDE;
            assert!(held < most, "{name}: {held} bytes held for a file of {}", bytes.len());
            let times = held as f64 / bytes.len() as f64;
            if times > worst.0 {
                worst = (times, name.clone());
            }
        }
    }
    println!("the most held at once: {:.0} times the file's size ({})", worst.0, worst.1);
}

/// Plans, lists and diaries, long ones and ones that promise more than they hold.
#[test]
fn a_text_asks_for_no_more_than_its_multiple() {
    let head =
        "format = 1\nbellows = \"unisonoric\"\n[[block]]\nname = \"bass\"\n[[block.row]]\nname = \"A\"\n";
    let plan = |rest: &str| format!("{head}{rest}");
    let plans = [
        plan(&format!("notes = [{}]\n", "\"E3\", ".repeat(40_000))),
        plan("notes = [\"E3\", \"F3\"]\nhelper_springs = [\"A1..A4000000000\"]\n"),
        plan(&format!("notes = [\"E3\"]\nhelper_springs = [{}]\n", "\"A1..A4294967295\", ".repeat(10_000))),
        plan(&format!("notes = {}", "[".repeat(100_000))),
        format!(
            "{head}notes = [\"E3\"]\n{}",
            "[[block.row]]\nname = \"A\"\nnotes = [\"E3\"]\n".repeat(4_000)
        ),
    ];
    let mut worst: f64 = 0.0;
    let mut check = |what: &str, length: usize, held: u64| {
        assert!(held < TEXT_TIMES * length as u64 + BESIDE, "{what}: {held} bytes held for {length}");
        if length > 50_000 {
            worst = worst.max(held as f64 / length as f64);
        }
    };
    let name = Path::new("file");
    for (n, text) in plans.iter().enumerate() {
        check(&format!("plan {n}"), text.len(), measure(|| drop(Plan::parse(text, name))).bytes_max);
    }
    let plates = format!("row,plate,press,draw\n{}", "A,4294967295,E3,E3\n".repeat(20_000));
    check("plates", plates.len(), measure(|| drop(Plan::from_plates_csv(plates.as_bytes(), name))).bytes_max);
    let tray = format!("length,count\n{}", "38 mm,4294967295\n".repeat(20_000));
    check("tray", tray.len(), measure(|| drop(tray_from_csv(tray.as_bytes(), name))).bytes_max);

    let dir = tempfile::tempdir().unwrap();
    Job::create(dir.path(), &Template::Bass24.to_toml()).unwrap();
    let mark = "{\"format\":1,\"at\":\"2026-04-30T10:00:00Z\",\"what\":\"mark\",\"n\":4294967295,\
        \"places\":[\"bass A1..A12\"],\"work\":\"valve fitted 38 mm\"}\n";
    let depth = format!("{}\n", "[".repeat(300_000));
    for (what, diary) in [("marks", mark.repeat(5_000)), ("depth", depth), ("one line", "x".repeat(900_000))]
    {
        std::fs::write(dir.path().join("diary.jsonl"), &diary).unwrap();
        let look = || {
            let _ = verify(dir.path());
            if let Ok(job) = Job::open(dir.path()) {
                drop((job.happenings(), job.bench(), job.takes("before")));
            }
        };
        check(what, diary.len(), measure(look).bytes_max);
    }
    println!("texts: the most held at once is {worst:.0} times the length");
}
