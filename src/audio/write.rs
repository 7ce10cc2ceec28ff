//! A take as a WAV file.

use std::io::{BufWriter, Cursor, Seek, Write};
use std::path::Path;

use super::SoundError;
use crate::take::Take;

/// Write `take` as a mono WAV of 32-bit floats: exact, every sample comes back bit for bit.
pub fn write_wav(path: &Path, take: &Take) -> Result<(), SoundError> {
    let failed = |detail: String| SoundError::Write { path: path.to_owned(), detail };
    let file = std::fs::File::create(path).map_err(|error| failed(error.to_string()))?;
    write(BufWriter::new(file), take).map_err(|error| failed(error.to_string()))
}

/// The bytes of such a file.
pub fn wav_bytes(take: &Take) -> Result<Vec<u8>, SoundError> {
    let mut bytes = Vec::with_capacity(4 * take.samples.len() + 64);
    write(Cursor::new(&mut bytes), take)
        .map_err(|error| SoundError::Write { path: "a take".into(), detail: error.to_string() })?;
    Ok(bytes)
}

/// The head of a WAV file of 32-bit floats that holds so many frames; of one that still grows where `None`.
///
/// A file that still grows says so as pipes do; what reads it takes all that follows the head, however far it goes.
pub fn wav_head(rate_hz: u32, channels: u16, frames: Option<u64>) -> Vec<u8> {
    let block = 4 * channels;
    let bytes = frames.and_then(|frames| u32::try_from(frames * u64::from(block)).ok());
    // More than fits into 32 bits is written like a length that is not known.
    let (sound, all) =
        bytes.and_then(|bytes| Some((bytes, bytes.checked_add(36)?))).unwrap_or((u32::MAX, u32::MAX));
    let mut head = Vec::with_capacity(44);
    head.extend(b"RIFF");
    head.extend(all.to_le_bytes());
    head.extend(b"WAVEfmt ");
    head.extend(16_u32.to_le_bytes());
    head.extend(3_u16.to_le_bytes());
    head.extend(channels.to_le_bytes());
    head.extend(rate_hz.to_le_bytes());
    head.extend((rate_hz * u32::from(block)).to_le_bytes());
    head.extend(block.to_le_bytes());
    head.extend(32_u16.to_le_bytes());
    head.extend(b"data");
    head.extend(sound.to_le_bytes());
    head
}

/// The bytes of a mono WAV of 16-bit samples, small and played by anything: to listen to, never to measure. What is no
/// number is silent, what is beyond full scale is held there.
pub fn clip_bytes(samples: &[f32], rate_hz: u32) -> Result<Vec<u8>, SoundError> {
    let mut bytes = Vec::with_capacity(2 * samples.len() + 64);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut fill = || -> hound::Result<()> {
        let mut writer = hound::WavWriter::new(Cursor::new(&mut bytes), spec)?;
        for &sample in samples {
            // Casting holds at the ends and makes NaN 0.
            writer.write_sample((f32::from(i16::MAX) * sample).round() as i16)?;
        }
        writer.finalize()
    };
    fill().map_err(|error| SoundError::Write { path: "a clip".into(), detail: error.to_string() })?;
    Ok(bytes)
}

fn write(to: impl Write + Seek, take: &Take) -> hound::Result<()> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: take.rate_hz,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::new(to, spec)?;
    for &sample in &take.samples {
        writer.write_sample(sample)?;
    }
    writer.finalize()
}
