//! A look at the header of a WAV file: what it holds and where, whatever its chunks' order and sizes claim.
//!
//! Recorders and pipes write many slightly wrong headers. The look finds format and sound itself, so that the decoder
//! is handed a clean header and exactly the bytes that are there.

use std::io::{self, Read, Seek, SeekFrom};

/// What the look found.
#[derive(Debug, PartialEq)]
pub(super) enum WavHeader {
    /// Plain samples, ready for `pcm`.
    Pcm(Pcm),
    /// A WAV with coded sound, for `coded`.
    Coded { channels: u16, rate_hz: u32 },
    /// A WAV whose samples nothing here reads, in words.
    Unread(String),
    /// A damaged WAV, in words.
    Damaged(String),
    /// Not a WAV at all.
    NotWav,
}

/// Plain samples in a WAV file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pcm {
    pub channels: u16,
    pub rate_hz: u32,
    /// 32-bit floats; else integers, unsigned when they are one byte wide.
    pub float: bool,
    /// Bytes of one sample in the file, 1 to 4.
    pub bytes: u16,
    /// Bits that count, a multiple of 8; below `8 * bytes` only for 24 bits in four bytes.
    pub bits: u16,
    /// Where the samples begin.
    pub offset: u64,
    /// Whole frames that are there.
    pub frames: u64,
    /// Frames the header promises, when it promises any.
    pub promised: Option<u64>,
    /// A second data chunk was left out.
    pub more_data: bool,
}

struct Format {
    tag: u16,
    channels: u16,
    rate_hz: u32,
    block: u16,
    bits: u16,
}

const TAG_PCM: u16 = 1;
const TAG_FLOAT: u16 = 3;
const TAG_EXTENSIBLE: u16 = 0xFFFE;
/// Pipes write sizes from here up when they don't know the length (0x7FFFF000 and 0xFFFFFFFF are common).
const STREAMED: u32 = 0x7FFF_F000;
/// No header has more chunks; a file of empty chunks must not hold us up.
const MOST_CHUNKS: usize = 10_000;

/// Look at the header of `file`, which is `length` bytes long.
pub(super) fn header(file: &mut (impl Read + Seek), length: u64) -> io::Result<WavHeader> {
    let mut head = [0; 12];
    file.seek(SeekFrom::Start(0))?;
    if length < 12 || file.read_exact(&mut head).is_err() || &head[..4] != b"RIFF" || &head[8..] != b"WAVE" {
        return Ok(WavHeader::NotWav);
    }
    let (mut format, mut data, mut more_data) = (None, None, false);
    let mut at = 12;
    for _ in 0..MOST_CHUNKS {
        let Some((id, size)) = chunk(file, at, length)? else { break };
        let body = at + 8;
        let streamed = size == 0 || size >= STREAMED;
        match &id {
            b"fmt " if format.is_none() => format = read_format(file, size, length - body)?,
            b"data" if data.is_some() => more_data = true,
            b"data" if streamed && !chunks_follow(file, body, length)? => {
                data = Some((body, length - body, None));
                break; // The writer did not know the length: all that follows is sound.
            }
            b"data" => data = Some((body, u64::from(size).min(length - body), Some(u64::from(size)))),
            _ => {}
        }
        at = next_chunk(file, body + u64::from(size), length)?;
    }
    Ok(match (format, data) {
        (None, _) => WavHeader::Damaged("it is a WAV without a format chunk".into()),
        (_, None) => WavHeader::Damaged("it is a WAV without a data chunk".into()),
        (Some(format), Some(data)) => judge(&format, data, more_data),
    })
}

/// What format and data together mean; `data` is where the sound begins, the bytes there, the bytes promised.
fn judge(format: &Format, data: (u64, u64, Option<u64>), more_data: bool) -> WavHeader {
    let (offset, there, promised) = data;
    let (channels, rate_hz) = (format.channels, format.rate_hz);
    let float = match (format.tag, format.bits) {
        (_, _) if channels == 0 => return WavHeader::Damaged("it says 0 channels".into()),
        (TAG_PCM, 1..=32) => false,
        (TAG_FLOAT, 32) => true,
        (TAG_PCM | TAG_FLOAT, bits) if bits != 64 || format.tag == TAG_PCM => {
            return WavHeader::Unread(format!("a WAV file with samples of {bits} bits"));
        }
        _ => return WavHeader::Coded { channels, rate_hz },
    };
    // Bits that don't fill their bytes are left-justified (the standard's rule), so the whole container counts.
    // 24 bits in four bytes under a plain tag are the exception common in practice: the low three bytes count.
    let four_for_three = format.bits == 24 && u32::from(format.block) == 4 * u32::from(channels);
    let bytes = if four_for_three { 4 } else { format.bits.div_ceil(8) };
    let bits = if four_for_three { 24 } else { 8 * bytes };
    let frame = u64::from(channels) * u64::from(bytes);
    WavHeader::Pcm(Pcm {
        channels,
        rate_hz,
        float,
        bytes,
        bits,
        offset,
        frames: there / frame,
        promised: promised.map(|bytes| bytes / frame),
        more_data,
    })
}

/// Name and size of the chunk at `at`; `None` where no chunk header fits.
fn chunk(file: &mut (impl Read + Seek), at: u64, length: u64) -> io::Result<Option<([u8; 4], u32)>> {
    if at.saturating_add(8) > length {
        return Ok(None);
    }
    let (mut id, mut size) = ([0; 4], [0; 4]);
    file.seek(SeekFrom::Start(at))?;
    file.read_exact(&mut id)?;
    file.read_exact(&mut size)?;
    Ok(Some((id, u32::from_le_bytes(size))))
}

/// Where the chunk after one that ends at `end` begins: odd sizes are padded, but some writers forget.
fn next_chunk(file: &mut (impl Read + Seek), end: u64, length: u64) -> io::Result<u64> {
    if end.is_multiple_of(2) {
        return Ok(end);
    }
    let named = |found: Option<([u8; 4], u32)>| found.is_some_and(|(id, _)| is_name(&id));
    let unpadded = !named(chunk(file, end + 1, length)?) && named(chunk(file, end, length)?);
    Ok(if unpadded { end } else { end + 1 })
}

fn is_name(id: &[u8; 4]) -> bool {
    id.iter().all(|byte| (0x20..0x7F).contains(byte))
}

/// Whether well-formed chunks fill the file from `at` to its end.
fn chunks_follow(file: &mut (impl Read + Seek), mut at: u64, length: u64) -> io::Result<bool> {
    for _ in 0..MOST_CHUNKS {
        match chunk(file, at, length)? {
            Some((id, size)) if is_name(&id) => at = next_chunk(file, at + 8 + u64::from(size), length)?,
            _ => break,
        }
    }
    Ok(at == length || at == length + 1)
}

fn read_format(file: &mut impl Read, size: u32, left: u64) -> io::Result<Option<Format>> {
    let size = u64::from(size).min(left);
    if size < 16 {
        return Ok(None);
    }
    let mut bytes = [0; 26];
    let taken = size.min(26) as usize;
    file.read_exact(&mut bytes[..taken])?;
    let word = |at: usize| u16::from_le_bytes([bytes[at], bytes[at + 1]]);
    let extensible = word(0) == TAG_EXTENSIBLE && taken == 26;
    Ok(Some(Format {
        tag: if extensible { word(24) } else { word(0) },
        channels: word(2),
        rate_hz: u32::from_le_bytes([bytes[4], bytes[5], bytes[6], bytes[7]]),
        block: word(12),
        bits: word(14),
    }))
}
