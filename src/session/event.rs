//! What a session has to say; whoever sits in front of it finds the words.

use crate::analysis::{Reading, Refusal};
use crate::instrument::{Note, ReedPlace};
use crate::units::{Cents, Decibels, Hz};

use super::Need;

/// The reed that is due.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// Where it lies.
    pub place: ReedPlace,
    /// How many plates its row has.
    pub row_len: usize,
    /// The note it should give.
    pub note: Note,
    /// The pitch it should have.
    pub target: Hz,
    /// How long it must be held.
    pub need: Need,
    /// How many reeds are left, this one included.
    pub left: usize,
}

/// How things stand in a session at a moment: what a screen or a page shows, many times a second.
#[derive(Debug, Clone, PartialEq)]
pub struct Snapshot {
    /// The reed that is due; `None` when all are done.
    pub due: Option<Due>,
    /// The level now, dBFS, rumble weakened.
    pub level_db: f64,
    /// The noise between the notes, dBFS; not known in the first moments.
    pub floor_db: Option<f64>,
    /// Whether anything was clipped since the snapshot before.
    pub is_clipped: bool,
    /// How long the note that sounds has been steady, s; `None` when none sounds.
    pub steady_s: Option<f64>,
}

/// Something that happened in a session.
#[derive(Debug, Clone, PartialEq)]
pub enum SessionEvent {
    /// A note began.
    Began,
    /// It was a knock.
    Knock,
    /// It has been steady for long enough: stop abruptly.
    Enough,
    /// A take is stored.
    Taken(Box<Taken>),
    /// The note gives no reading; nothing is stored, and the reed is still due.
    NoReading {
        /// The reed that is due.
        place: ReedPlace,
        /// Why.
        refusal: Refusal,
        /// What went wrong with the sound.
        remarks: Vec<String>,
    },
    /// The pitch belongs to another reed; the take is held until it is said which it is, or it is played once more.
    Other(OtherReed),
    /// Something went wrong with a take, and showed only after it was stored.
    Spoiled {
        /// The reed.
        place: ReedPlace,
        /// What went wrong.
        remark: String,
        /// Whether the reed is due at once; else it comes again at the end.
        now: bool,
    },
    /// Something went wrong with the sound between the takes.
    Trouble(String),
}

/// A stored take.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken {
    /// The reed.
    pub place: ReedPlace,
    /// The stored file, seen from the job folder.
    pub file: String,
    /// Which take of this reed in this pass, from 1.
    pub n: u32,
    /// The note the reed should give.
    pub note: Option<Note>,
    /// How far its pitch lies above the target.
    pub deviation: Cents,
    /// What the take tells.
    pub reading: Reading,
    /// Why it should be played again; empty for a good take.
    pub again: Vec<String>,
    /// Whether the reed stays due for that.
    pub stays_due: bool,
    /// How much louder it is than the take of the plate's other stroke.
    pub louder: Option<Decibels>,
}

/// A pitch that is not that of the reed which is due.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherReed {
    /// The reed that is due.
    pub due: ReedPlace,
    /// What was heard.
    pub pitch: Hz,
    /// How far it lies above the due reed's target.
    pub deviation: Cents,
    /// The reed it belongs to, where one alone fits.
    pub belongs_to: Option<ReedPlace>,
    /// Whether the plate's other stroke fits as well, so that the stroke must be said.
    pub is_stroke_open: bool,
}
