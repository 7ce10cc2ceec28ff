//! A take as a WAV file.

use std::io::{BufWriter, Cursor, Seek, Write};
use std::path::Path;

use super::Error;
use crate::take::Take;

/// Write `take` as a mono WAV of 32-bit floats: exact, every sample comes back bit for bit.
pub fn write_wav(path: &Path, take: &Take) -> Result<(), Error> {
    let failed = |detail: String| Error::Write { path: path.to_owned(), detail };
    let file = std::fs::File::create(path).map_err(|error| failed(error.to_string()))?;
    write(BufWriter::new(file), take).map_err(|error| failed(error.to_string()))
}

/// The bytes of such a file.
pub fn wav_bytes(take: &Take) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::with_capacity(4 * take.samples.len() + 64);
    write(Cursor::new(&mut bytes), take)
        .map_err(|error| Error::Write { path: "a take".into(), detail: error.to_string() })?;
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
