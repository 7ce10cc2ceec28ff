//! How far the instrument is known to stand from its plan: as a person says, or as the job's takes say.

use crate::alignment::KnownOffset;
use crate::evaluation::{TuningOffset, tuning_offset};
use crate::job::Job;
use crate::units::Cents;

/// How likely what is typed holds, and what takes of the same and of another pass say: takes may have been placed one
/// reed on, and between two passes there may have been tuning.
const TYPED_HOLDS: f64 = 0.9999;
const SAME_PASS_HOLDS: f64 = 0.995;
const OTHER_PASS_HOLDS: f64 = 0.97;

/// What is known, and from where.
#[derive(Debug, Clone)]
pub struct KnownStanding {
    /// The offset with its spread.
    pub offset: KnownOffset,
    /// Where it is known from.
    pub from: OffsetSource,
}

/// Where it is known from.
#[derive(Debug, Clone)]
pub enum OffsetSource {
    /// A person said it.
    Said,
    /// Takes of the job say it.
    Takes(TuningOffset),
}

/// What the person says, else what the takes of the job say; takes of the recording with this SHA-256 do not count.
pub fn known_offset(said: Option<KnownOffset>, job: &Job, pass: &str, sha256: &str) -> Option<KnownStanding> {
    if let Some(offset) = said {
        return Some(KnownStanding { offset, from: OffsetSource::Said });
    }
    let standing = tuning_offset(job, pass, sha256)?;
    let holds = if standing.pass == pass { SAME_PASS_HOLDS } else { OTHER_PASS_HOLDS };
    let offset = KnownOffset { centre: standing.offset, spread: standing.doubt, holds };
    Some(KnownStanding { offset, from: OffsetSource::Takes(standing) })
}

/// An offset as a person says it, right within `spread`.
pub fn said_offset(centre: Cents, spread: Cents) -> KnownOffset {
    KnownOffset { centre, spread, holds: TYPED_HOLDS }
}

impl KnownStanding {
    /// The word for where it comes from, in JSON.
    pub fn word(&self) -> &'static str {
        match self.from {
            OffsetSource::Said => "typed",
            OffsetSource::Takes(_) => "takes",
        }
    }
}
