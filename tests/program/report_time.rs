//! A report whose readings are known costs hardly more than writing its files: measured as a ratio within one run, so that
//! the machine's speed does not matter.

use std::time::Instant;

use platenote::audio::write_wav;
use platenote::evaluation::{Detail, Evaluation, PassChoice, USUAL_SOUND_MB, write_report};
use platenote::instrument::{Note, Stroke};
use platenote::job::{Job, JobWriter, NewTake, PassChange};
use platenote::take::Take;

/// Samples per second of every take.
const RATE_HZ: u32 = 48_000;
/// Plates of the two rows: 53, so 106 reeds, and in two passes 212 takes.
const ROWS: [(&str, i16, usize); 2] = [("A", 53, 41), ("B", 60, 12)];
/// The whole may take so many times the writing: stated by the project.
const MOST_TIMES: f64 = 2.0;
/// The quickest of so many runs counts, of either kind: what else runs on the machine only adds.
const RUNS: usize = 2;

/// A job with two passes of 106 takes, each of its own pitch; every fourth has a soft second tone.
fn job(folder: &std::path::Path) -> Job {
    let mut plan = String::from(
        "format = 1\ntitle = \"A large instrument\"\nbellows = \"unisonoric\"\n\n[[block]]\nname = \"treble\"\n",
    );
    for (row, lowest, n_plates) in ROWS {
        let notes = (0..n_plates as i16)
            .map(|step| format!("\"{}\"", Note::from_number(lowest + step).expect("a note")));
        let notes = notes.collect::<Vec<_>>().join(", ");
        plan += &format!("\n[[block.row]]\nname = \"{row}\"\nnotes = [{notes}]\nvalves_mm = 30\n");
    }
    let path = folder.join("job");
    Job::create(&path, &plan).expect("a job");
    let mut writer = JobWriter::open(&path).expect("a writer");
    for (pass, cents) in [("before", 3.0), ("after", 0.5)] {
        writer.open_pass(pass, &PassChange::default()).expect("a pass");
        let reeds: Vec<_> = writer.instrument().reeds().map(|(place, _)| place).collect();
        for (k, place) in reeds.into_iter().enumerate() {
            let stroke = if place.stroke == Stroke::Press { 0.0 } else { 6.0 };
            let target = writer.instrument().target(&place).expect("a target").get();
            let hz = target * f64::exp2((cents + stroke + 0.1 * k as f64) / 1200.0);
            let second = (k % 4 == 0).then(|| hz * f64::exp2(18.0 / 1200.0));
            let sound = folder.join("take.wav");
            write_wav(&sound, &take(hz, second, k as u32)).expect("a sound file");
            let take = NewTake {
                pass: pass.into(),
                place,
                original: None,
                extension: "wav".into(),
                why: "as played".into(),
                lossy: false,
                remarks: Vec::new(),
                clock: None,
                recorded: None,
            };
            writer.store_file(take, &sound).expect("a take");
        }
    }
    Job::open(&path).expect("the job")
}

/// Two seconds of eight partials, with quiet before and after, and a little noise.
fn take(hz: f64, second: Option<f64>, seed: u32) -> Take {
    let n_samples = 2 * RATE_HZ as usize;
    let mut samples = vec![0.0_f64; n_samples + RATE_HZ as usize / 2];
    let quiet = RATE_HZ as usize / 4;
    for (pitch, level) in [(Some(hz), 0.1), (second, 0.002)] {
        let Some(pitch) = pitch else { continue };
        for partial in (1..=8).map(f64::from).filter(|partial| partial * pitch < 20_000.0) {
            let step = std::f64::consts::TAU * pitch * partial / f64::from(RATE_HZ);
            for (n, sample) in samples[quiet..quiet + n_samples].iter_mut().enumerate() {
                *sample += level / partial * (step * n as f64).sin();
            }
        }
    }
    let mut noise = seed.wrapping_mul(2_654_435_761).max(1);
    let noisy = samples.into_iter().map(|sample| {
        noise ^= noise << 13;
        noise ^= noise >> 17;
        noise ^= noise << 5;
        (sample + 1e-5 * (f64::from(noise) / f64::from(u32::MAX) - 0.5)) as f32
    });
    Take::new(noisy.collect(), RATE_HZ)
}

#[test]
fn a_report_of_212_known_readings_takes_at_most_twice_the_writing() {
    let folder = tempfile::tempdir().expect("a folder");
    let job = job(folder.path());
    let choice = PassChoice::of_two("before", "after");
    let told = Evaluation::of(&job, &choice, Detail::Report, &|| ()).expect("an evaluation");
    let n_takes: usize =
        told.shown().map(|view| view.readings.readings.values().filter(|read| read.is_ok()).count()).sum();
    assert_eq!(n_takes, 212, "every take is read");
    let (mut whole_s, mut writing_s) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..RUNS {
        let begin = Instant::now();
        let job = Job::open(job.folder()).expect("the job");
        let told = Evaluation::of(&job, &choice, Detail::Report, &|| ()).expect("an evaluation");
        let written = Instant::now();
        write_report(&job, &told, None, USUAL_SOUND_MB).expect("a report");
        whole_s = whole_s.min(begin.elapsed().as_secs_f64());
        writing_s = writing_s.min(written.elapsed().as_secs_f64());
    }
    let times = whole_s / writing_s;
    println!("report of 212 takes: {whole_s:.2} s, its writing {writing_s:.2} s, ratio {times:.2}");
    assert!(times <= MOST_TIMES, "{times:.2} times the writing");
}
