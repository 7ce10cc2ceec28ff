//! Mistakes of the job record put right with the real program: nothing is rubbed out, and everything is taken back.

mod by_hand;
mod laws;
mod old_job;
mod program;

use std::fs;
use std::path::{Path, PathBuf};

use platenote::job::{Job, Template};

/// The job with a block of two rows of twelve plates, and the folder it lies in.
fn job() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("job");
    Job::create(&folder, &Template::Bass24.to_toml()).unwrap();
    (dir, folder)
}

/// A second of a plain tone, so that the file can be read; `nth` makes each sound another.
fn sound(file: &Path, nth: u32) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 8000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(file, spec).unwrap();
    for idx in 0..8000_u32 {
        let phase = f64::from(idx) * (100.0 + f64::from(nth)) * std::f64::consts::TAU / 8000.0;
        writer.write_sample((8000.0 * phase.sin()) as i16).unwrap();
    }
    writer.finalize().unwrap();
}

fn diary(folder: &Path) -> String {
    fs::read_to_string(folder.join("diary.jsonl")).unwrap_or_default()
}
