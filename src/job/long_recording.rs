//! A long recording, written to disk as it comes: a crash or a power cut costs the last seconds and no more.

use std::fs::{File, OpenOptions};
use std::io::{Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::event::Event;
use super::folder::{Job, JobWriter};
use super::layout::RECORDINGS_FOLDER;
use super::plain_name::is_plain_name;
use super::{Error, disk};
use crate::audio::wav_head;

/// Flushed to the disk after so much sound, s.
const FLUSH_S: f64 = 2.0;

impl Job {
    /// What was noticed while the long recording at `file` was made: up to which second of it, and what.
    pub fn remarks_on(&self, file: &Path) -> Vec<(f64, String)> {
        let (Ok(folder), Ok(file)) = (self.folder().canonicalize(), file.canonicalize()) else {
            return Vec::new();
        };
        let Ok(inside) = file.strip_prefix(&folder) else { return Vec::new() };
        let name = inside.to_string_lossy().replace('\\', "/");
        let remarks = self.diary().iter().filter_map(|line| match &line.event {
            Event::Remark(facts) if facts.file == name => Some((facts.at_s?, facts.remark.clone())),
            _ => None,
        });
        remarks.collect()
    }
}

/// A recording under way: a WAV file of 32-bit floats that can be read at any time.
#[derive(Debug)]
pub struct LongRecording {
    path: PathBuf,
    file: File,
    rate_hz: u32,
    channels: u16,
    frames: u64,
    unflushed: u64,
}

impl JobWriter {
    /// Begin a long recording of a pass, `recordings/<pass>-<n>.wav`; none is ever overwritten.
    pub fn begin_recording(&self, pass: &str, rate_hz: u32, channels: u16) -> Result<LongRecording, Error> {
        if !is_plain_name(pass) {
            return Err(Error::PassName { pass: pass.to_owned() });
        }
        let folder = self.folder().join(RECORDINGS_FOLDER);
        disk::make_folder(&folder)?;
        for n in 1.. {
            let path = folder.join(format!("{pass}-{n}.wav"));
            match OpenOptions::new().write(true).create_new(true).open(&path) {
                Ok(file) => return LongRecording::begin(path, file, rate_hz, channels),
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(Error::written(&path, error)),
            }
        }
        Err(Error::PassName { pass: pass.to_owned() })
    }
}

impl LongRecording {
    fn begin(path: PathBuf, mut file: File, rate_hz: u32, channels: u16) -> Result<Self, Error> {
        let head = wav_head(rate_hz, channels, None);
        file.write_all(&head).map_err(|error| Error::written(&path, error))?;
        Ok(Self { path, file, rate_hz, channels, frames: 0, unflushed: 0 })
    }

    /// Where it is written.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How long it is, s.
    pub fn length_s(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate_hz.max(1))
    }

    /// Add interleaved frames.
    pub fn hear(&mut self, sound: &[f32]) -> Result<(), Error> {
        let bytes: Vec<u8> = sound.iter().flat_map(|sample| sample.to_le_bytes()).collect();
        self.file.write_all(&bytes).map_err(|error| Error::written(&self.path, error))?;
        let frames = (sound.len() / usize::from(self.channels.max(1))) as u64;
        (self.frames, self.unflushed) = (self.frames + frames, self.unflushed + frames);
        if self.unflushed as f64 > FLUSH_S * f64::from(self.rate_hz) {
            self.unflushed = 0;
            self.file.sync_data().map_err(|error| Error::written(&self.path, error))?;
        }
        Ok(())
    }

    /// The recording has ended: its head says how long it is now.
    pub fn finish(mut self) -> Result<PathBuf, Error> {
        let head = wav_head(self.rate_hz, self.channels, Some(self.frames));
        let written = self
            .file
            .seek(SeekFrom::Start(0))
            .and_then(|_| self.file.write_all(&head))
            .and_then(|()| self.file.sync_all());
        written.map_err(|error| Error::written(&self.path, error))?;
        Ok(self.path)
    }
}
