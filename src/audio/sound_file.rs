//! A sound file as a take.
//!
//! Decoded a piece at a time: a long file of several channels goes by twice, once to choose the channel and once to keep
//! it; a mono or short one once. So memory grows with one channel's length and never with what a header claims.

use std::fs::File;
use std::path::Path;

use super::channels::Listener;
use super::coded::MOST_CHANNELS;
use super::guard::guarded;
use super::wav_header::{self, Pcm, WavHeader};
use super::{SoundError, coded, pcm};
use crate::take::Take;

/// The rates that are read.
const RATES: std::ops::RangeInclusive<u32> = 8_000..=384_000;
/// The longest channel kept, in samples: 5.8 minutes at 48 kHz. To read such a take needs some 2 GB, 120 bytes a sample.
const MOST_SAMPLES: usize = 1 << 24;
/// A coded file unpacks to at most so many samples of a channel for each of its bytes. Quiet speech at 8 kbit/s and 48 kHz
/// has 48; only silence has more, without end: 39 kB of FLAC hold 50 minutes.
const MOST_FOR_A_BYTE: u64 = 64;
/// And to so many more whatever its size: 11 s at 48 kHz, for a take that is mostly silence.
const MOST_BESIDE: u64 = 1 << 19;
/// All channels of a file of up to so many samples are held until one is chosen: 4 MB, 10 s of stereo at 48 kHz.
const MOST_HELD: u64 = 1 << 20;

/// Read a sound file: WAV of any common kind, or AIFF, CAF, FLAC, MP3, Ogg Vorbis, M4A.
///
/// One channel is used as it is: of several that carry sound, the one whose tone stands highest above its noise, and
/// the choice is remarked. A file cut short is used as far as it goes, and remarked. Values that are not finite are
/// kept: the analysis reports them. A file without samples gives an empty take.
///
/// Fails when the file cannot be opened, is of a kind not read here, says a rate outside 8 to 384 kHz or more than 256
/// channels, is longer than 2²⁴ samples, or unpacks to many times its size; each message says what to do.
pub fn read_file(path: &Path) -> Result<Take, SoundError> {
    let (mut file, length) = open(path)?;
    refuse_known(path, &mut file)?;
    match wav_header::header(&mut file, length)
        .map_err(|cause| SoundError::Open { path: path.into(), cause })?
    {
        WavHeader::Pcm(pcm) => {
            check(path, pcm.rate_hz, usize::from(pcm.channels))?;
            read_pcm(path, &pcm)
        }
        WavHeader::Coded { channels, rate_hz } => {
            check(path, rate_hz, usize::from(channels))?;
            read_coded(path, length)
        }
        WavHeader::NotWav => read_coded(path, length),
        WavHeader::Unread(kind) => Err(SoundError::NotReadHere { path: path.into(), kind }),
        WavHeader::Damaged(detail) => Err(SoundError::NotSound { path: path.into(), detail }),
    }
}

pub(super) fn open(path: &Path) -> Result<(File, u64), SoundError> {
    let cannot = |cause| SoundError::Open { path: path.into(), cause };
    let about = std::fs::metadata(path).map_err(cannot)?; // Before opening: opening a pipe would wait.
    if !about.is_file() {
        return Err(SoundError::NotAFile { path: path.into() });
    }
    if about.len() == 0 {
        return Err(SoundError::EmptyFile { path: path.into() });
    }
    Ok((File::open(path).map_err(cannot)?, about.len()))
}

/// Refuse by their first bytes the kinds that are known and not read.
pub(super) fn refuse_known(path: &Path, file: &mut File) -> Result<(), SoundError> {
    use std::io::Read;
    let mut head = Vec::new();
    file.take(64).read_to_end(&mut head).map_err(|cause| SoundError::Open { path: path.into(), cause })?;
    let kind = match head.as_slice() {
        [b'R', b'F', b'6', b'4', ..] => "an RF64 file (WAV for more than 4 GB)",
        [b'B', b'W', b'6', b'4', ..] => "a BW64 file (WAV for more than 4 GB)",
        [b'R', b'I', b'F', b'X', ..] => "a big-endian WAV file (RIFX)",
        [b'r', b'i', b'f', b'f', 0x2E, 0x91, ..] => "a Wave64 file",
        [b'.', b's', b'n', b'd', ..] => "an AU file",
        [b'#', b'!', b'A', b'M', b'R', ..] => "an AMR file",
        [0x30, 0x26, 0xB2, 0x75, ..] => "a Windows Media file",
        [b'c', b'a', b'f', b'f', ..] => return check_caf(path, &head),
        ogg if ogg.starts_with(b"OggS") && holds(ogg, b"OpusHead") => "a file coded with Opus",
        ogg if ogg.starts_with(b"OggS") && holds(ogg, b"Speex   ") => "a file coded with Speex",
        _ => return Ok(()),
    };
    Err(SoundError::NotReadHere { path: path.into(), kind: kind.into() })
}

/// Refuse a CAF whose first chunk claims packets that no sound has: the decoder would make room for all of it.
fn check_caf(path: &Path, head: &[u8]) -> Result<(), SoundError> {
    const MOST: u32 = 1 << 16; // 256 channels of 32 bits are 1 KiB, and coded packets last a fraction of a second.
    let number = |at: usize| {
        let bytes = head.get(at..at + 4).and_then(|bytes| bytes.try_into().ok());
        bytes.map_or(0, u32::from_be_bytes)
    };
    // After the file's head of 8 and the chunk's of 12 bytes: rate (8), kind (4), flags (4), then these.
    for (at, what) in [(36, "bytes"), (40, "frames")] {
        if number(at) > MOST {
            let detail = format!("it says packets of {} {what}", number(at));
            return Err(SoundError::NotSound { path: path.into(), detail });
        }
    }
    Ok(())
}

fn holds(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

pub(super) fn check(path: &Path, rate_hz: u32, channels: usize) -> Result<(), SoundError> {
    if !(1..=MOST_CHANNELS).contains(&channels) {
        return Err(SoundError::Channels { path: path.into(), channels, most: MOST_CHANNELS });
    }
    if !RATES.contains(&rate_hz) {
        return Err(SoundError::Rate { path: path.into(), rate_hz });
    }
    Ok(())
}

fn too_long(path: &Path, rate_hz: u32) -> SoundError {
    SoundError::TooLong { path: path.into(), most_s: MOST_SAMPLES as f64 / f64::from(rate_hz) }
}

fn read_pcm(path: &Path, pcm: &Pcm) -> Result<Take, SoundError> {
    if pcm.frames > MOST_SAMPLES as u64 {
        return Err(too_long(path, pcm.rate_hz));
    }
    let channels = usize::from(pcm.channels);
    let pass = |sink: &mut dyn FnMut(&[f32])| {
        let file = File::open(path).map_err(|cause| SoundError::Open { path: path.into(), cause })?;
        let mut all = |piece: &[f32]| {
            sink(piece);
            true
        };
        pcm::decode(file, pcm, &mut all)
            .map_err(|e| SoundError::NotSound { path: path.into(), detail: e.to_string() })
    };
    let mut take = Take::new(Vec::new(), pcm.rate_hz);
    if channels == 1 {
        take.samples.reserve_exact(pcm.frames as usize);
        pass(&mut |piece| take.samples.extend_from_slice(piece))?;
    } else {
        let mut listener = Listener::new(channels, pcm.rate_hz);
        let mut held = Vec::new();
        let hold = pcm.frames * channels as u64 <= MOST_HELD;
        pass(&mut |piece| {
            listener.hear(piece);
            if hold {
                held.extend_from_slice(piece);
            }
        })?;
        let chosen = remark_choice(listener, channels, &mut take.remarks);
        take.samples.reserve_exact(pcm.frames as usize);
        let mut keep = |piece: &[f32]| take.samples.extend(piece.iter().skip(chosen).step_by(channels));
        if hold { keep(&held) } else { pass(&mut keep)? }
    }
    take.remarks.extend(cut_short(pcm.promised, pcm.frames, 0, pcm.rate_hz));
    if pcm.more_data {
        take.remarks.push("the file holds a second stretch of sound, which was left out".into());
    }
    Ok(take)
}

fn read_coded(path: &Path, length: u64) -> Result<Take, SoundError> {
    let most =
        MOST_BESIDE.saturating_add(length.saturating_mul(MOST_FOR_A_BYTE)).min(MOST_SAMPLES as u64) as usize;
    let mut listener: Option<Listener> = None;
    let (mut mono, mut heard, mut first_refused) = (Vec::new(), 0_usize, None);
    let coded = coded_pass(path, &mut |piece, rate_hz, channels| {
        if heard == 0 {
            first_refused = check(path, rate_hz, channels).err();
        }
        heard += piece.len() / channels;
        if first_refused.is_some() || heard > most {
            return false;
        }
        if channels == 1 {
            mono.extend_from_slice(piece);
        } else {
            listener.get_or_insert_with(|| Listener::new(channels, rate_hz)).hear(piece);
        }
        true
    })?;
    if let Some(refused) = first_refused {
        return Err(refused);
    }
    if heard > MOST_SAMPLES {
        return Err(too_long(path, coded.rate_hz));
    }
    if heard > most {
        return Err(SoundError::Unpacks {
            path: path.into(),
            length,
            most_s: most as f64 / f64::from(coded.rate_hz),
        });
    }
    if heard == 0 {
        check(path, coded.rate_hz, coded.channels.max(1))?;
    }
    let mut take = Take { lossy: coded.lossy, ..Take::new(mono, coded.rate_hz) };
    if let Some(listener) = listener {
        let chosen = remark_choice(listener, coded.channels, &mut take.remarks);
        coded_pass(path, &mut |piece, _, channels| {
            take.samples.extend(piece.iter().skip(chosen).step_by(channels));
            take.samples.len() < most
        })?;
    }
    // Some formats count a coder's delay in, some don't: a quarter of a second less is not yet a loss.
    let slack = if coded.lossy { u64::from(coded.rate_hz / 4) } else { 0 };
    take.remarks.extend(cut_short(coded.promised, take.samples.len() as u64, slack, coded.rate_hz));
    if coded.bad_packets > 0 {
        take.remarks.push(format!(
            "{} damaged pieces of the file were left out; the sound jumps there",
            coded.bad_packets
        ));
    }
    if coded.changes {
        let kept = take.length_s();
        take.remarks
            .push(format!("the sample rate or channels change after {kept:.2} s; the rest was left out"));
    }
    Ok(take)
}

pub(super) fn coded_pass(
    path: &Path,
    sink: &mut dyn FnMut(&[f32], u32, usize) -> bool,
) -> Result<coded::Coded, SoundError> {
    let file = File::open(path).map_err(|cause| SoundError::Open { path: path.into(), cause })?;
    let damaged = || Err(coded::Refusal::NotSound("it is damaged in a way the decoder does not know".into()));
    guarded(|| coded::decode(file, path, sink)).unwrap_or_else(damaged).map_err(|refusal| match refusal {
        coded::Refusal::NotReadHere(kind) => SoundError::NotReadHere { path: path.into(), kind: kind.into() },
        coded::Refusal::NotSound(detail) => SoundError::NotSound { path: path.into(), detail },
    })
}

fn remark_choice(listener: Listener, channels: usize, remarks: &mut Vec<String>) -> usize {
    let choice = listener.choose();
    if choice.carrying > 1 {
        let (carrying, number) = (choice.carrying, choice.channel + 1);
        remarks.push(format!(
            "{carrying} of {channels} channels carry sound of their own; channel {number}, the clearest, was used"
        ));
    }
    choice.channel
}

/// That the file is cut short by more than `slack` frames, in a sentence.
pub(super) fn cut_short(promised: Option<u64>, there: u64, slack: u64, rate_hz: u32) -> Option<String> {
    let seconds = |frames: u64| frames as f64 / f64::from(rate_hz);
    let promised = promised.filter(|&promised| promised > there.saturating_add(slack))?;
    let (says, has) = (seconds(promised), seconds(there));
    Some(format!("the file is cut short: it says {says:.2} s, {has:.2} s are there"))
}
