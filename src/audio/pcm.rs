//! Plain samples of a WAV file, decoded a piece at a time.

use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek, SeekFrom};

use super::wav_look::Pcm;

/// Frames handed on at a time.
const PIECE_FRAMES: usize = 4096;

/// Decode `pcm` of `file` and hand on interleaved pieces until `sink` has enough, which it says with `false`.
///
/// The decoder gets a clean header made from what the look found, so that it never sees the file's own mistakes.
pub(super) fn decode(mut file: File, pcm: &Pcm, sink: &mut dyn FnMut(&[f32]) -> bool) -> hound::Result<()> {
    file.seek(SeekFrom::Start(pcm.offset))?;
    let frame = u64::from(pcm.channels) * u64::from(pcm.bytes);
    let bytes = (pcm.frames * frame).min(u64::from(u32::MAX) / frame * frame);
    let sound = BufReader::with_capacity(1 << 16, file).take(bytes);
    let mut reader = hound::WavReader::new(Cursor::new(clean_header(pcm, bytes as u32)).chain(sound))?;
    let piece_len = PIECE_FRAMES * usize::from(pcm.channels);
    let mut piece = Vec::with_capacity(piece_len.min(bytes as usize / usize::from(pcm.bytes)));
    let mut hand_on = |value: f32, piece: &mut Vec<f32>| {
        piece.push(value);
        piece.len() < piece_len || {
            let more = sink(piece);
            piece.clear();
            more
        }
    };
    if pcm.float {
        for value in reader.samples::<f32>() {
            if !hand_on(value?, &mut piece) {
                return Ok(());
            }
        }
    } else {
        let full_scale = f64::from(1_u32 << (pcm.bits - 1));
        for value in reader.samples::<i32>() {
            if !hand_on((f64::from(value?) / full_scale) as f32, &mut piece) {
                return Ok(());
            }
        }
    }
    sink(&piece);
    Ok(())
}

fn clean_header(pcm: &Pcm, bytes: u32) -> Vec<u8> {
    let block = pcm.channels * pcm.bytes;
    let mut header = Vec::with_capacity(44);
    header.extend(b"RIFF");
    header.extend(bytes.saturating_add(36).to_le_bytes());
    header.extend(b"WAVEfmt ");
    header.extend(16_u32.to_le_bytes());
    header.extend(if pcm.float { 3_u16 } else { 1 }.to_le_bytes());
    header.extend(pcm.channels.to_le_bytes());
    header.extend(pcm.rate_hz.to_le_bytes());
    header.extend((pcm.rate_hz * u32::from(block)).to_le_bytes());
    header.extend(block.to_le_bytes());
    header.extend(pcm.bits.to_le_bytes());
    header.extend(b"data");
    header.extend(bytes.to_le_bytes());
    header
}
