//! WAV files built byte by byte, right and wrong ones; shares nothing with the reader.

/// The tone all fixtures hold: 0.4, 0.2 and 0.1 at 440, 880 and 1320 Hz.
pub fn tone(rate_hz: u32, seconds: f64) -> Vec<f64> {
    let frames = (f64::from(rate_hz) * seconds) as usize;
    let turn = std::f64::consts::TAU * 440.0 / f64::from(rate_hz);
    let at = |n: usize| turn * n as f64;
    (0..frames)
        .map(|n| 0.4 * at(n).sin() + 0.2 * (2.0 * at(n) + 1.0).sin() + 0.1 * (3.0 * at(n) + 2.0).sin())
        .collect()
}

/// Little-endian integer samples, left-justified in `bytes`, only the upper `valid` bits used.
pub fn integers(samples: &[f64], bytes: u32, valid: u32) -> Vec<u8> {
    let steps = 2_f64.powi(valid as i32 - 1);
    let shift = 8 * bytes - valid;
    let mut out = Vec::new();
    for sample in samples {
        let value = ((sample * steps).round() as i64) << shift;
        let value = if bytes == 1 { value + 128 } else { value };
        out.extend(&value.to_le_bytes()[..bytes as usize]);
    }
    out
}

pub fn floats(samples: &[f64]) -> Vec<u8> {
    samples.iter().flat_map(|&s| (s as f32).to_le_bytes()).collect()
}

/// The first 16 bytes of a format chunk.
pub fn format(tag: u16, channels: u16, rate_hz: u32, bytes: u16, bits: u16) -> Vec<u8> {
    let block = channels.wrapping_mul(bytes);
    let mut out = Vec::new();
    out.extend(tag.to_le_bytes());
    out.extend(channels.to_le_bytes());
    out.extend(rate_hz.to_le_bytes());
    out.extend(rate_hz.wrapping_mul(u32::from(block)).to_le_bytes());
    out.extend(block.to_le_bytes());
    out.extend(bits.to_le_bytes());
    out
}

/// An extensible format chunk (40 bytes).
pub fn extensible(tag: u16, channels: u16, rate_hz: u32, bytes: u16, valid: u16) -> Vec<u8> {
    let mut out = format(0xFFFE, channels, rate_hz, bytes, 8 * bytes);
    out.extend(22_u16.to_le_bytes());
    out.extend(valid.to_le_bytes());
    out.extend(0_u32.to_le_bytes());
    out.extend(tag.to_le_bytes());
    out.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
    out
}

/// A chunk, padded as the format demands.
pub fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut out = sized_chunk(id, body.len() as u32, body);
    out.resize(out.len() + body.len() % 2, 0);
    out
}

/// A chunk whose header claims `size`; not padded.
pub fn sized_chunk(id: &[u8; 4], size: u32, body: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend(size.to_le_bytes());
    out.extend(body);
    out
}

/// The whole file around its chunks.
pub fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    let mut out = sized_chunk(b"RIFF", body.len() as u32 + 4, b"WAVE");
    out.extend(body);
    out
}

/// A plain file: format and data.
pub fn wav(format: Vec<u8>, data: &[u8]) -> Vec<u8> {
    riff(&[chunk(b"fmt ", &format), chunk(b"data", data)])
}

/// One second of the tone, 16 bits, mono, 44.1 kHz: format and data.
pub fn plain() -> (Vec<u8>, Vec<u8>) {
    (format(1, 1, 44_100, 2, 16), integers(&tone(44_100, 1.0), 2, 16))
}
