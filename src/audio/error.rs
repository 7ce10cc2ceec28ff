//! Why a sound file gives no take, and what to do about it.

use std::path::PathBuf;

/// What stopped the ear; [`SoundError::next`] says what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// The file cannot be opened or read at all.
    #[error("cannot read `{}`: {cause}", path.display())]
    Open {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// A folder, a pipe or a device.
    #[error("`{}` is not a file", path.display())]
    NotAFile {
        /// Which path.
        path: PathBuf,
    },
    /// The file holds no bytes.
    #[error("`{}` is empty: 0 bytes", path.display())]
    EmptyFile {
        /// Which file.
        path: PathBuf,
    },
    /// A known kind of file that is not read here.
    #[error(
        "`{}` is {kind}, which is not read here",
        path.display()
    )]
    NotReadHere {
        /// Which file.
        path: PathBuf,
        /// What it is, with its article: `an Opus file`.
        kind: String,
    },
    /// Not a sound file, or one too damaged to read.
    #[error(
        "`{}` cannot be read as sound: {detail}",
        path.display()
    )]
    NotSound {
        /// Which file.
        path: PathBuf,
        /// What was met.
        detail: String,
    },
    /// The rate is out of range.
    #[error(
        "`{}` says {rate_hz} samples per second, and 8000 to 384000 are read",
        path.display()
    )]
    Rate {
        /// Which file.
        path: PathBuf,
        /// As the file says it.
        rate_hz: u32,
    },
    /// More channels than any recorder has.
    #[error("`{}` says {channels} channels, and 1 to {most} are read", path.display())]
    Channels {
        /// Which file.
        path: PathBuf,
        /// As the file says it.
        channels: usize,
        /// The most that are read.
        most: usize,
    },
    /// Longer than any recording of a block.
    #[error("`{}` lasts more than {most_s:.0} s, which is too long for one take", path.display())]
    TooLong {
        /// Which file.
        path: PathBuf,
        /// The longest that is read, seconds.
        most_s: f64,
    },
    /// A small file that holds a long silence, or was made to fill the memory.
    #[error(
        "`{}` has {length} bytes and unpacks to more than {most_s:.0} s, which is too much for one take",
        path.display()
    )]
    Unpacks {
        /// Which file.
        path: PathBuf,
        /// Its size, bytes.
        length: u64,
        /// The most that a file of that size may hold, seconds.
        most_s: f64,
    },
    /// A file that could not be written.
    #[error("cannot write `{}`: {detail}", path.display())]
    Write {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        detail: String,
    },
}

impl SoundError {
    /// What to do next.
    pub fn next(&self) -> &'static str {
        match self {
            SoundError::Open { .. } => "check the name and that the file may be read",
            SoundError::NotAFile { .. } => "name a sound file",
            SoundError::EmptyFile { .. } => "copy the recording again, or record it again",
            SoundError::NotReadHere { .. } => {
                "convert it to WAV or FLAC without changing the sample rate, and record the next takes as WAV"
            }
            SoundError::NotSound { .. } => {
                "play it in any player; if that works, convert it to WAV, else record it again"
            }
            SoundError::Rate { .. } => "record at 48000, or convert it to that",
            SoundError::Channels { .. } => "export the channel with the reed as a file of its own",
            SoundError::TooLong { .. } => {
                "cut it into shorter files; many notes in one file are split by `platenote sweep`"
            }
            SoundError::Unpacks { .. } => "cut the silence off, or convert it to WAV",
            SoundError::Write { .. } => "check that the folder exists, may be written, and has room",
        }
    }
}
