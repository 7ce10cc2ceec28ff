//! What is found in a long recording.

use crate::units::{Cents, Dbfs, Hz};

/// A sound that stood out: a note, or something else.
#[derive(Debug, Clone, PartialEq)]
pub struct Detection {
    /// First frame of the cut: it keeps the quiet before the sound.
    pub from: u64,
    /// The frame after its last: it keeps the tail.
    pub to: u64,
    /// Where the sound begins, s from the start of the recording.
    pub start_s: f64,
    /// Where it stops, s.
    pub stop_s: f64,
    /// What it is.
    pub kind: DetectionKind,
}

/// What a sound is.
#[derive(Debug, Clone, PartialEq)]
pub enum DetectionKind {
    /// A note.
    Note(Note),
    /// No note.
    Other(NoNote),
}

/// What is known of a note before it is listened to closely.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// Its pitch, within some cents.
    pub pitch: Hz,
    /// How far the pitch moves within the note: half the range of its middle, cents.
    pub spread: Cents,
    /// Its level in the channel that shows it best.
    pub level: Dbfs,
    /// Whether that channel is clipped in it.
    pub is_clipped: bool,
    /// Whether all of it is there.
    pub whole: Completeness,
}

/// Whether all of a note is in the recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Completeness {
    /// Start and stop are there.
    Complete,
    /// The recording begins inside it.
    BeginCut,
    /// The recording ends inside it.
    EndCut,
    /// It is longer than a take may be, and was cut.
    TooLong,
}

/// Why a sound is no note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoNote {
    /// A knock, a click: over at once.
    Knock,
    /// A tone, and too short for a note.
    Blip {
        /// How long it sounds, s.
        lasts_s: f64,
        /// Its pitch.
        pitch: Hz,
    },
    /// Noise without a tone: scraping, a cough, the bellows.
    Noise,
    /// The pitch never rests long enough: speech.
    Unsteady,
}

impl NoNote {
    /// What it is, in words.
    pub fn words(&self) -> &'static str {
        match self {
            NoNote::Knock => "a knock",
            NoNote::Blip { .. } => "a tone too short for a note",
            NoNote::Noise => "noise without a tone",
            NoNote::Unsteady => "a sound whose pitch never rests, such as speech",
        }
    }
}
