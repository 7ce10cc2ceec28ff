//! A sound file of any length, a piece at a time: nothing is kept, so memory does not grow with the file.

use std::fs::File;
use std::path::Path;

use super::sound_file::{check, coded_pass, cut_short, open, refuse_known};
use super::wav_header::{self, Pcm, WavHeader};
use super::{SoundError, pcm};

/// A piece of a sound file: frames of all channels, interleaved.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    /// The samples, full scale at ±1.
    pub sound: &'a [f32],
    /// How many channels are interleaved, at least one.
    pub channels: usize,
    /// Samples per second of each.
    pub rate_hz: u32,
}

/// What a streamed file turned out to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Streamed {
    /// Samples per second.
    pub rate_hz: u32,
    /// Channels.
    pub channels: usize,
    /// Frames that went by.
    pub frames: u64,
    /// Whether a lossy coder stood in the way.
    pub lossy: bool,
    /// What was noticed, one sentence each.
    pub remarks: Vec<String>,
}

/// Hand a sound file to `sink` a piece at a time, until it has enough (`false`).
///
/// Reads the kinds [`super::read_file`] reads, and fails as it does, but for length: there is no longest file.
pub fn stream_file(path: &Path, sink: &mut dyn FnMut(Piece) -> bool) -> Result<Streamed, SoundError> {
    let (mut file, length) = open(path)?;
    refuse_known(path, &mut file)?;
    match wav_header::header(&mut file, length)
        .map_err(|cause| SoundError::Open { path: path.into(), cause })?
    {
        WavHeader::Pcm(pcm) => {
            check(path, pcm.rate_hz, usize::from(pcm.channels))?;
            stream_pcm(path, &pcm, sink)
        }
        WavHeader::Coded { channels, rate_hz } => {
            check(path, rate_hz, usize::from(channels))?;
            stream_coded(path, sink)
        }
        WavHeader::NotWav => stream_coded(path, sink),
        WavHeader::Unread(kind) => Err(SoundError::NotReadHere { path: path.into(), kind }),
        WavHeader::Damaged(detail) => Err(SoundError::NotSound { path: path.into(), detail }),
    }
}

fn stream_pcm(path: &Path, pcm: &Pcm, sink: &mut dyn FnMut(Piece) -> bool) -> Result<Streamed, SoundError> {
    let (channels, rate_hz) = (usize::from(pcm.channels), pcm.rate_hz);
    let file = File::open(path).map_err(|cause| SoundError::Open { path: path.into(), cause })?;
    let (mut frames, mut goes_on) = (0, true);
    pcm::decode(file, pcm, &mut |sound| {
        if goes_on {
            frames += (sound.len() / channels) as u64;
            goes_on = sink(Piece { sound, channels, rate_hz });
        }
        goes_on
    })
    .map_err(|fault| SoundError::NotSound { path: path.into(), detail: fault.to_string() })?;
    let mut remarks = Vec::new();
    if goes_on {
        remarks.extend(cut_short(pcm.promised, frames, 0, rate_hz));
    }
    if pcm.more_data {
        remarks.push("the file holds a second stretch of sound, which was left out".into());
    }
    Ok(Streamed { rate_hz, channels, frames, lossy: false, remarks })
}

fn stream_coded(path: &Path, sink: &mut dyn FnMut(Piece) -> bool) -> Result<Streamed, SoundError> {
    let (mut frames, mut goes_on, mut refused) = (0, true, None);
    let coded = coded_pass(path, &mut |sound, rate_hz, channels| {
        if frames == 0 {
            refused = check(path, rate_hz, channels).err();
        }
        frames += (sound.len() / channels.max(1)) as u64;
        goes_on = refused.is_none() && sink(Piece { sound, channels, rate_hz });
        goes_on
    })?;
    if let Some(refused) = refused {
        return Err(refused);
    }
    if frames == 0 {
        check(path, coded.rate_hz, coded.channels.max(1))?;
    }
    let mut remarks = Vec::new();
    if goes_on {
        // Some formats count a coder's delay in, some don't: a quarter of a second less is not yet a loss.
        let slack = if coded.lossy { u64::from(coded.rate_hz / 4) } else { 0 };
        remarks.extend(cut_short(coded.promised, frames, slack, coded.rate_hz));
    }
    if coded.bad_packets > 0 {
        let bad = coded.bad_packets;
        remarks.push(format!("{bad} damaged pieces of the file were left out; the sound jumps there"));
    }
    if coded.changes {
        let kept_s = frames as f64 / f64::from(coded.rate_hz.max(1));
        remarks
            .push(format!("the sample rate or channels change after {kept_s:.2} s; the rest was left out"));
    }
    Ok(Streamed {
        rate_hz: coded.rate_hz,
        channels: coded.channels.max(1),
        frames,
        lossy: coded.lossy,
        remarks,
    })
}
