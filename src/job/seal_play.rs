//! Plays of sealing tests in the job: kept as takes, told apart from the ordinary ones by what the diary says of them.

use std::path::Path;

use super::event::CutFacts;
use super::folder::{Job, JobWriter, StoredTake};
use super::seal_part::{SealPart, SealState};
use super::take_store::{NewTake, Stored};
use super::{Error, disk};
use crate::instrument::ReedPlace;

impl JobWriter {
    /// Store a sound file as a play of a sealing test; the original stays as it is.
    pub fn store_seal_file(&mut self, take: NewTake, part: SealPart, file: &Path) -> Result<Stored, Error> {
        let mut sound = disk::open_plain(file)?;
        self.store(take, &mut sound, file, None, Some(part))
    }

    /// Store the bytes of a sound file as a play of a sealing test.
    pub fn store_seal_bytes(&mut self, take: NewTake, part: SealPart, bytes: &[u8]) -> Result<Stored, Error> {
        let mut sound = bytes;
        self.store(take, &mut sound, Path::new("recording"), None, Some(part))
    }

    /// Store a note of a long recording that is a row's sealed pass; the same note is stored once in a pass.
    pub fn store_sealed_cut(&mut self, take: NewTake, cut: CutFacts, bytes: &[u8]) -> Result<Stored, Error> {
        if let Some(there) = self.cut_there(&take.pass, &cut).filter(|there| there.path.is_file()) {
            return if there.place == take.place {
                Ok(Stored::Again(there))
            } else {
                Err(Error::SameSound { file: there.facts.file, place: there.place.to_string() })
            };
        }
        let mut sound = bytes;
        let part = SealPart { state: SealState::Sealed, kind: None };
        self.store(take, &mut sound, Path::new("recording"), Some(cut), Some(part))
    }
}

impl Job {
    /// The plays of sealing tests of a pass: every reed of the plan that has any, each with its plays in order.
    pub fn seal_plays(&self, pass: &str) -> Vec<(ReedPlace, Vec<StoredTake>)> {
        let mut stored: Vec<StoredTake> =
            self.stored_takes(pass).filter(|take| take.facts.sealed.is_some()).collect();
        let mut plays = Vec::new();
        for (place, _) in self.instrument().reeds() {
            let of_reed: Vec<StoredTake> = stored.extract_if(.., |take| take.place == place).collect();
            if !of_reed.is_empty() {
                plays.push((place, of_reed));
            }
        }
        plays
    }
}
