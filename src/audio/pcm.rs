//! Plain samples of a WAV file, decoded a piece at a time.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

use super::wav_header::Pcm;

/// Frames handed on at a time.
const PIECE_FRAMES: u64 = 4096;

/// Decode `pcm` of `file` and hand on interleaved pieces, until `sink` has enough (`false`).
///
/// The decoder gets each piece as a small WAV in memory, under a clean header made from what the look found: it never
/// sees the file's own mistakes, and reads its samples from memory one by one rather than from the file.
pub(super) fn decode(mut file: File, pcm: &Pcm, sink: &mut dyn FnMut(&[f32]) -> bool) -> hound::Result<()> {
    file.seek(SeekFrom::Start(pcm.offset))?;
    let frame_len = usize::from(pcm.channels) * usize::from(pcm.bytes);
    let (mut bytes, mut piece, mut left) = (Vec::new(), Vec::new(), pcm.frames);
    while left > 0 {
        let frames = left.min(PIECE_FRAMES);
        left -= frames;
        let len = frames as usize * frame_len;
        bytes.clear();
        clean_header(pcm, len as u32, &mut bytes);
        (&mut file).take(len as u64).read_to_end(&mut bytes)?;
        piece.clear();
        let mut reader = hound::WavReader::new(bytes.as_slice())?;
        if pcm.float {
            for value in reader.samples::<f32>() {
                piece.push(value?);
            }
        } else {
            let full_scale = f64::from(1_u32 << (pcm.bits - 1));
            for value in reader.samples::<i32>() {
                piece.push((f64::from(value?) / full_scale) as f32);
            }
        }
        if !sink(&piece) {
            break;
        }
    }
    Ok(())
}

fn clean_header(pcm: &Pcm, bytes: u32, header: &mut Vec<u8>) {
    let block = pcm.channels * pcm.bytes;
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
}
