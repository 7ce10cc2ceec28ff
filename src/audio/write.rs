//! A take as a WAV file.

use std::path::Path;

use super::Error;
use crate::take::Take;

/// Write `take` as a mono WAV of 32-bit floats: exact, every sample comes back bit for bit.
pub fn write_wav(path: &Path, take: &Take) -> Result<(), Error> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: take.rate_hz,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let write = || -> hound::Result<()> {
        let mut writer = hound::WavWriter::create(path, spec)?;
        for &sample in &take.samples {
            writer.write_sample(sample)?;
        }
        writer.finalize()
    };
    write().map_err(|e| Error::Write { path: path.to_owned(), detail: e.to_string() })
}
