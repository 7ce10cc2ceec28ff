//! What one sound file gave, as a line of `read --json`; `docs/json.md` describes every field.

use serde::{Deserialize, Serialize};

use super::reading_line::ReadingLine;
use super::reading_words::{RefusalWord, Worded};
use crate::analysis::{Reading, Refusal};
use crate::instrument::Note;
use crate::units::Cents;

/// The version of the shape.
const FORMAT: u32 = 1;

/// What one sound file gave: a reading, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FileLine {
    format: u32,
    file: String,
    #[serde(flatten)]
    outcome: Outcome,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
enum Outcome {
    Read(Box<ReadingLine>),
    Failed {
        error: String,
        next: String,
        /// What the analysis found wanting; `null` where the file itself cannot be read.
        refusal: Option<Worded<RefusalWord>>,
    },
}

impl FileLine {
    /// A file that gave a reading; `against` is the note its pitch is measured against, and how far above it lies.
    pub fn read(file: &str, reading: &Reading, against: Option<(Note, Cents)>) -> Self {
        let line = ReadingLine::from(reading);
        let line = match against {
            Some((note, cents)) => line.against(note, cents),
            None => line,
        };
        Self { format: FORMAT, file: file.into(), outcome: Outcome::Read(Box::new(line)) }
    }

    /// A file whose sound gives no reading, and what to do next.
    pub fn refused(file: &str, refusal: &Refusal, next: &str) -> Self {
        let (error, refusal) = (refusal.to_string(), Some(Worded::from(refusal)));
        Self {
            format: FORMAT,
            file: file.into(),
            outcome: Outcome::Failed { error, next: next.into(), refusal },
        }
    }

    /// A file that cannot be read, and what to do next.
    pub fn unreadable(file: &str, error: &str, next: &str) -> Self {
        let outcome = Outcome::Failed { error: error.into(), next: next.into(), refusal: None };
        Self { format: FORMAT, file: file.into(), outcome }
    }
}
