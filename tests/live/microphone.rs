//! A microphone without hardware: ALSA's file plugin reads a FIFO, which the test fills in real time.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

pub const RATE: usize = 48_000;
/// A multiple of the 240-frame period: the plugin fills up a shorter block with old sound.
pub const BLOCK: usize = 480;

/// What a program needs in its environment to hear this microphone and nothing else of this computer.
pub fn environment(fifo: &Path) -> [(&'static str, PathBuf); 3] {
    let conf = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/live/one-microphone.conf");
    // No clock that was measured on this computer, either.
    let config = fifo.parent().unwrap_or(Path::new("/")).join("config");
    [("ALSA_CONFIG_PATH", conf), ("BENCH_MIC_FIFO", fifo.to_owned()), ("PLATENOTE_CONFIG", config)]
}

/// The FIFO, before the program reads it.
pub struct Plug {
    pub path: PathBuf,
    /// Held for reading too, until the program reads: opening never blocks, and no probe of it breaks the pipe.
    held: File,
}

/// The FIFO, while the program reads it.
pub struct Microphone {
    fifo: File,
    ready: Instant,
    /// The next frame.
    pub at: usize,
}

impl Plug {
    pub fn new(folder: &Path) -> Self {
        let path = folder.join("microphone");
        let _ = std::fs::remove_file(&path);
        assert!(Command::new("mkfifo").arg(&path).status().unwrap().success());
        let held = OpenOptions::new().read(true).write(true).open(&path).unwrap();
        Self { path, held }
    }

    /// The program listens: only a write end from here on, so that a program that gave up shows as a broken pipe.
    pub fn into_microphone(self) -> Microphone {
        let fifo = OpenOptions::new().write(true).open(&self.path).unwrap();
        drop(self.held);
        Microphone { fifo, ready: Instant::now(), at: 0 }
    }
}

impl Microphone {
    /// Play so many frames in real time, `frame` giving both channels by its number; `false` when nobody listens.
    pub fn play_frames(&mut self, frames: usize, frame: impl Fn(usize) -> [f32; 2]) -> bool {
        for start in (self.at..self.at + frames).step_by(BLOCK) {
            let due = self.ready + Duration::from_secs_f64(start as f64 / RATE as f64);
            std::thread::sleep(due.saturating_duration_since(Instant::now()));
            let bytes: Vec<u8> = (start..start + BLOCK).flat_map(&frame).flat_map(f32::to_le_bytes).collect();
            self.at += BLOCK;
            if self.fifo.write_all(&bytes).is_err() {
                return false;
            }
        }
        true
    }

    /// Play samples on both channels, the second at half the level; a whole number of blocks.
    pub fn play(&mut self, samples: &[f32]) -> bool {
        let (from, whole) = (self.at, samples.len() / BLOCK * BLOCK);
        self.play_frames(whole, |n| {
            let sample = samples[n - from];
            [sample, 0.5 * sample]
        })
    }

    /// The noise of a quiet room, for a block.
    pub fn play_quiet(&mut self) -> bool {
        self.play(&(0..BLOCK).map(|n| 1e-4 * ((n * 7919) % 13) as f32).collect::<Vec<_>>())
    }

    /// Time passes, and its sound is lost.
    pub fn lose(&mut self, frames: usize) {
        self.at += frames / BLOCK * BLOCK;
    }

    /// The source pauses, and goes on where it was.
    pub fn pause(&mut self, pause: Duration) {
        self.ready += pause;
    }
}
