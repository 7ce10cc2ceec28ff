//! Coded sound files: phone and recorder formats, decoded packet by packet.

use std::fs::File;
use std::io::{Seek, SeekFrom};
use std::path::Path;

use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_ALAC, CODEC_ID_FLAC, CODEC_ID_OPUS, CODEC_ID_PCM_ALAW, CODEC_ID_PCM_MULAW,
};
use symphonia::core::codecs::audio::{AudioCodecId, AudioDecoderOptions};
use symphonia::core::errors::Error as Fault;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream, ReadOnlySource};
use symphonia::core::meta::MetadataOptions;

/// More channels than this no recorder has, and a damaged header easily.
pub(super) const MOST_CHANNELS: usize = 256;

/// What a coded file turned out to hold.
#[derive(Debug, Default)]
pub(super) struct Coded {
    /// Of the decoded sound; 0 when nothing was decoded and the file does not say.
    pub rate_hz: u32,
    pub channels: usize,
    pub lossy: bool,
    /// Frames the file promises, when it does.
    pub promised: Option<u64>,
    /// Packets that could not be decoded.
    pub bad_packets: usize,
    /// The sound changes its rate or channels on the way; what follows was left out.
    pub changes: bool,
}

/// Why nothing could be decoded.
pub(super) enum Refusal {
    /// A known codec that is not read here, with its article.
    NotReadHere(&'static str),
    /// Anything else, in words.
    NotSound(String),
}

/// Decode `file` and hand on interleaved pieces with rate and channels, until `sink` has enough (`false`).
pub(super) fn decode(
    file: File,
    path: &Path,
    sink: &mut dyn FnMut(&[f32], u32, usize) -> bool,
) -> Result<Coded, Refusal> {
    let not_sound = |fault: Fault| Refusal::NotSound(fault.to_string());
    let mut format = probe(file, path).map_err(|fault| match fault {
        Fault::Unsupported(_) => Refusal::NotSound("it is in no format that is known here".into()),
        fault => not_sound(fault),
    })?;
    let track = format
        .default_track(TrackType::Audio)
        .ok_or_else(|| Refusal::NotSound("it holds no sound track".into()))?;
    let codec = track.codec_params.as_ref().and_then(|parameters| parameters.audio());
    let codec = codec.ok_or_else(|| Refusal::NotSound("its sound track has no known codec".into()))?;
    if codec.codec == CODEC_ID_OPUS {
        return Err(Refusal::NotReadHere("a file coded with Opus"));
    }
    let mut coded = Coded {
        rate_hz: codec.sample_rate.unwrap_or(0),
        channels: codec.channels.as_ref().map_or(0, |channels| channels.count()),
        lossy: is_lossy(codec.codec),
        promised: track.num_frames,
        ..Coded::default()
    };
    // The decoder would make room for all of them; who asked refuses what gave no sound and has so many.
    if coded.channels > MOST_CHANNELS {
        return Ok(coded);
    }
    let track_id = track.id;
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(codec, &AudioDecoderOptions::default())
        .map_err(not_sound)?;
    let (mut piece, mut begun) = (Vec::new(), false);
    // A file cut short ends with a fault; what came before it is used.
    while let Ok(Some(packet)) = format.next_packet() {
        if packet.track_id != track_id {
            continue;
        }
        let sound = match decoder.decode(&packet) {
            Ok(sound) => sound,
            Err(Fault::DecodeError(_) | Fault::IoError(_)) => {
                coded.bad_packets += 1;
                continue;
            }
            Err(_) if begun => break, // The rest is out of reach; the caller remarks on the missing length.
            Err(fault) => return Err(not_sound(fault)),
        };
        let (rate_hz, channels) = (sound.spec().rate(), sound.num_planes());
        if sound.frames() == 0 || channels == 0 {
            continue;
        }
        if begun && (rate_hz, channels) != (coded.rate_hz, coded.channels) {
            coded.changes = true;
            break;
        }
        (coded.rate_hz, coded.channels, begun) = (rate_hz, channels, true);
        sound.copy_to_vec_interleaved(&mut piece);
        if !sink(&piece, rate_hz, channels) {
            break;
        }
    }
    if !begun && coded.bad_packets > 0 {
        return Err(Refusal::NotSound(format!("none of its {} packets can be decoded", coded.bad_packets)));
    }
    Ok(coded)
}

/// Find out the format. A reader that may seek looks for parts behind the sound, and stumbles over a file cut short;
/// one that may not takes what comes.
fn probe(file: File, path: &Path) -> Result<Box<dyn FormatReader>, Fault> {
    let mut hint = Hint::new();
    if let Some(extension) = path.extension().and_then(|e| e.to_str()) {
        hint.with_extension(extension);
    }
    let attempt = |source: Box<dyn MediaSource>| {
        let stream = MediaSourceStream::new(source, Default::default());
        symphonia::default::get_probe().probe(
            &hint,
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
    };
    let again = file.try_clone().map_err(Fault::IoError)?;
    attempt(Box::new(file)).or_else(|fault| {
        let rewound = || -> std::io::Result<File> {
            let mut file = again;
            file.seek(SeekFrom::Start(0))?;
            Ok(file)
        };
        rewound()
            .map_err(Fault::IoError)
            .and_then(|file| attempt(Box::new(ReadOnlySource::new(file))))
            .map_err(|_| fault)
    })
}

/// Whether a coder of this kind throws sound away: all but plain samples and the two lossless coders.
fn is_lossy(codec: AudioCodecId) -> bool {
    let name =
        symphonia::default::get_codecs().get_audio_decoder(codec).map_or("", |d| d.codec.info.short_name);
    let companded = codec == CODEC_ID_PCM_ALAW || codec == CODEC_ID_PCM_MULAW;
    companded || !(name.starts_with("pcm_") || codec == CODEC_ID_FLAC || codec == CODEC_ID_ALAC)
}
