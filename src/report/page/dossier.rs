//! What a report is made of.

use crate::instrument::ReedPlace;
use crate::job::{PassFacts, Visit, Workshop};
use crate::judgement::PassReadings;
use crate::repair::{InstrumentPitch, Mark, NextStep, OutOfOrder, Standing, WorkList};
use crate::report::Subject;

/// Everything a report tells.
#[derive(Debug, Clone, Copy)]
pub struct Dossier<'a> {
    /// What was found, as the charts show it.
    pub subject: Subject<'a>,
    /// The passes that are told of, the earlier first.
    pub passes: &'a [PassFacts],
    /// Their readings, in the same order.
    pub readings: &'a [&'a PassReadings],
    /// Which clocks of sound cards were corrected for, one sentence each.
    pub clocks: &'a [String],
    /// What is to be said of the takes, one sentence each.
    pub words: &'a [String],
    /// What findings and marks ask for.
    pub work: &'a WorkList,
    /// The bench notes of the visit.
    pub marks: &'a [Mark],
    /// What holds now, from all passes and notes.
    pub standing: &'a Standing,
    /// Everything that is open, in the order it is best done.
    pub next: &'a [NextStep],
    /// What was done before what it rests on.
    pub astray: &'a [OutOfOrder],
    /// The photos of the visit.
    pub photos: &'a [NotedPhoto],
    /// The visit that is told of.
    pub visit: &'a Visit,
    /// Where A4 stood in each pass of the visit.
    pub pitches: &'a [InstrumentPitch],
    /// Who hands the instrument over.
    pub workshop: &'a Workshop,
    /// Sound to be played from the page.
    pub clips: &'a [Clip],
    /// How many clips were left out for the sake of the page's size.
    pub clips_left_out: usize,
}

/// A short piece of a take, to be listened to.
#[derive(Debug, Clone, PartialEq)]
pub struct Clip {
    /// The reed.
    pub reed: ReedPlace,
    /// The pass.
    pub pass: String,
    /// A whole WAV file.
    pub wav: Vec<u8>,
}

/// A photo of the bench notes.
#[derive(Debug, Clone, PartialEq)]
pub struct NotedPhoto {
    /// The mark's number.
    pub n: u32,
    /// The day it was noted.
    pub day: jiff::civil::Date,
    /// The places it shows, as ranges; empty for the whole job.
    pub places: String,
    /// Where it is stored, seen from the job folder.
    pub file: String,
    /// Its kind and its bytes, where a page can show it and there was room.
    pub picture: Option<(&'static str, Vec<u8>)>,
}
