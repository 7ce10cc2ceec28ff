//! One streaming pass over a long recording: detections, levels, and the file's SHA-256.

use std::path::Path;

use crate::audio::{self, Streamed};
use crate::evaluation::EvaluationError;
use crate::job;
use crate::segmentation::{Detection, MOST_CHANNELS, Splitter};

/// What was heard.
#[derive(Debug)]
pub struct ScannedRecording {
    /// Name of the file, without its folder.
    pub name: String,
    /// Of the file.
    pub sha256: String,
    /// Its rate, channels and remarks.
    pub streamed: Streamed,
    /// What stood out.
    pub found: Vec<Detection>,
    /// Levels over time, dBFS, every [`crate::segmentation::LEVEL_STEP_S`].
    pub levels: Vec<f32>,
    /// What went wrong while it was recorded, and up to which second.
    pub lost: Vec<(f64, String)>,
}

/// Listen to a long recording of any length, in bounded memory.
pub fn scan(file: &Path) -> Result<ScannedRecording, EvaluationError> {
    // The hash needs the file's bytes and no sound: on a second core it costs no time.
    let (streamed, sha256) = rayon::join(|| split(file), || job::hash_of(file));
    let (streamed, found, levels) = streamed?;
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    Ok(ScannedRecording { name, sha256: sha256?, streamed, found, levels, lost: Vec::new() })
}

fn split(file: &Path) -> Result<(Streamed, Vec<Detection>, Vec<f32>), EvaluationError> {
    let mut splitter: Option<Splitter> = None;
    let mut found = Vec::new();
    let streamed = audio::stream_file(file, &mut |piece| {
        if piece.channels > MOST_CHANNELS {
            return false;
        }
        let splitter = splitter.get_or_insert_with(|| Splitter::new(piece.rate_hz, piece.channels));
        found.extend(splitter.hear(piece.sound));
        true
    })?;
    if streamed.channels > MOST_CHANNELS {
        return Err(EvaluationError::TooManyChannels {
            file: file.to_owned(),
            channels: streamed.channels,
            most: MOST_CHANNELS,
        });
    }
    let (rest, levels) = splitter.map(Splitter::finish).unwrap_or_default();
    found.extend(rest);
    Ok((streamed, found, levels))
}
