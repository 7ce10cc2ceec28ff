//! A long recording in stereo as a 16-bit WAV, and the real program on it.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use platenote::job::Job;

use crate::bench::chance::Chance;
use crate::bench::sitting::{Happens, Sitting};

/// Samples per second.
pub const RATE_HZ: u32 = 48_000;

/// A job with a long recording beside it; its folder goes when it is dropped.
pub struct LongJob {
    folder: tempfile::TempDir,
}

impl LongJob {
    /// A bass block of 48 reeds played in order (about 3 minutes) again and again until `minutes` are full.
    pub fn new(minutes: usize) -> Self {
        let job = Self { folder: tempfile::tempdir().expect("a temporary folder") };
        let ended = job.command(&["new", "job", "--template", "bass24"]).status().expect("platenote starts");
        assert!(ended.success());
        let plan = Job::open(&job.path("job")).expect("a job");
        let instrument = plan.instrument();
        let chance = &mut Chance::split(1, 500);
        let mut events = vec![Happens::Quiet { lasts_s: 1.0 }];
        for (place, _) in instrument.reeds() {
            let target = instrument.target(&place).expect("a target").get();
            let hz = target * (5.0 * chance.normal() / 1200.0).exp2();
            let level_dbfs = chance.between(-28.0, -22.0);
            events.push(Happens::Note { hz, lasts_s: chance.between(2.0, 3.0), level_dbfs });
            events.push(Happens::Quiet { lasts_s: 0.8 });
        }
        let sitting = Sitting::play(2, RATE_HZ, -70.0, &events);
        write_stereo(&job.path("long.wav"), &sitting.samples, minutes * 60 * RATE_HZ as usize);
        job
    }

    /// Start `platenote sweep` on it, without storing.
    pub fn start(&self) -> Child {
        self.command(&["sweep", "job", "long.wav", "--pass", "before", "--json"])
            .spawn()
            .expect("platenote starts")
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        command.current_dir(self.folder.path()).args(words).stdout(Stdio::null()).stderr(Stdio::null());
        command
    }
}

/// `sound` over and over on the left, softer on the right, `n_frames` in all.
fn write_stereo(file: &Path, sound: &[f32], n_frames: usize) {
    let mut to = BufWriter::new(File::create(file).expect("a file"));
    let bytes = 4 * n_frames as u32;
    let mut head = Vec::new();
    head.extend(b"RIFF");
    head.extend((bytes + 36).to_le_bytes());
    head.extend(b"WAVEfmt \x10\0\0\0\x01\0\x02\0");
    head.extend(RATE_HZ.to_le_bytes());
    head.extend((4 * RATE_HZ).to_le_bytes());
    head.extend(b"\x04\0\x10\0data");
    head.extend(bytes.to_le_bytes());
    to.write_all(&head).expect("room on the disk");
    for value in sound.iter().cycle().take(n_frames) {
        for gain in [30_000.0, 18_000.0] {
            to.write_all(&((gain * value) as i16).to_le_bytes()).expect("room on the disk");
        }
    }
    to.flush().expect("room on the disk");
}
