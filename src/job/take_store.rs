//! Takes into the job: copied beside, flushed, renamed, then named in the diary; nothing is ever overwritten.

use std::fs;
use std::io::Read;
use std::path::Path;

use super::event::{ClockFacts, CutFacts, Event, Recorded, RemarkFacts, TakeFacts};
use super::folder::{JobWriter, StoredTake};
use super::layout::TAKES_FOLDER;
use super::plain_name::is_plain_name;
use super::seal_part::SealPart;
use super::{Error, disk};
use crate::instrument::ReedPlace;

/// A take to be stored.
#[derive(Debug, Clone, PartialEq)]
pub struct NewTake {
    /// The pass, which must be open.
    pub pass: String,
    /// The reed it is of.
    pub place: ReedPlace,
    /// Name of the file it comes from, without its folder; `None` when it was recorded.
    pub original: Option<String>,
    /// Ending of the stored file's name, such as `wav`.
    pub extension: String,
    /// Why it is placed there.
    pub why: String,
    /// Whether a lossy coder stood in the way.
    pub lossy: bool,
    /// What the ear remarked, a sentence each.
    pub remarks: Vec<String>,
    /// The clock of the device that recorded it, where it was measured.
    pub clock: Option<ClockFacts>,
    /// When it was recorded, where that was not just now.
    pub recorded: Option<Recorded>,
}

/// What became of a take.
#[derive(Debug, Clone, PartialEq)]
pub enum Stored {
    /// It is stored.
    New(StoredTake),
    /// The same sound is a take of this reed in this pass already; nothing was stored.
    Again(StoredTake),
    /// The diary had this take and its file was gone; the file is back.
    Restored(StoredTake),
}

impl JobWriter {
    /// Store a sound file as a take; the original stays as it is.
    pub fn store_file(&mut self, take: NewTake, file: &Path) -> Result<Stored, Error> {
        let mut sound = disk::open_plain(file)?;
        self.store(take, &mut sound, file, None, None)
    }

    /// Store the bytes of a sound file as a take.
    pub fn store_bytes(&mut self, take: NewTake, bytes: &[u8]) -> Result<Stored, Error> {
        let mut sound = bytes;
        self.store(take, &mut sound, Path::new("recording"), None, None)
    }

    /// Store the bytes of a take that was cut out of a long recording.
    ///
    /// The same note of the same recording is stored once in a pass, however exactly it was cut the first time.
    pub fn store_cut(&mut self, take: NewTake, cut: CutFacts, bytes: &[u8]) -> Result<Stored, Error> {
        if let Some((file, n)) = self.job.withdrawn_cut(&take.pass, &cut) {
            return Err(Error::Withdrawn { file, n });
        }
        if let Some(there) = self.cut_there(&take.pass, &cut).filter(|there| there.path.is_file()) {
            return if there.place == take.place {
                Ok(Stored::Again(there))
            } else {
                Err(Error::SameSound { file: there.facts.file, place: there.place.to_string() })
            };
        }
        let mut sound = bytes;
        self.store(take, &mut sound, Path::new("recording"), Some(cut), None)
    }

    pub(super) fn cut_there(&self, pass: &str, cut: &CutFacts) -> Option<StoredTake> {
        let pass = self.job.pass(pass).ok()?.pass;
        self.job
            .stored_takes(&pass)
            .find(|there| there.facts.cut.as_ref().is_some_and(|there| there.is_same_note(cut)))
    }

    /// Write on a stored take, `file` seen from the job folder, what was noticed only later.
    pub fn remark(&mut self, file: &str, remark: &str) -> Result<(), Error> {
        self.note(Event::Remark(RemarkFacts { file: file.to_owned(), remark: remark.to_owned(), at_s: None }))
    }

    /// Write on a long recording, `file` seen from the job folder, what was noticed after so many seconds of it.
    pub fn remark_at(&mut self, file: &str, remark: &str, at_s: f64) -> Result<(), Error> {
        let facts = RemarkFacts { file: file.to_owned(), remark: remark.to_owned(), at_s: Some(at_s) };
        self.note(Event::Remark(facts))
    }

    pub(super) fn store(
        &mut self,
        take: NewTake,
        sound: &mut dyn Read,
        from: &Path,
        cut: Option<CutFacts>,
        seal_part: Option<SealPart>,
    ) -> Result<Stored, Error> {
        if !is_plain_name(&take.pass) {
            return Err(Error::PassName { pass: take.pass });
        }
        let pass = self.job.pass(&take.pass)?.pass;
        // The diary and the folder know it by what it was opened with.
        let opened = self.job.opened_as(&pass);
        if !is_plain_name(&opened) {
            return Err(Error::PassName { pass: opened });
        }
        let folder = self.job.folder().join(TAKES_FOLDER).join(&opened);
        disk::stay_inside(self.job.folder(), &folder)?;
        disk::make_folder(&folder)?;
        let mut part = disk::new_part(&folder)?;
        let (sha256, bytes) = disk::copy_hashed(sound, &mut part).map_err(|error| Error::Io {
            doing: "copied",
            file: from.into(),
            source: error,
        })?;
        part.as_file().sync_all().map_err(|error| Error::written(&folder, error))?;
        if let Some(there) = self.job.stored_takes(&pass).find(|there| there.facts.sha256 == sha256) {
            if there.place != take.place {
                return Err(Error::SameSound { file: there.facts.file, place: there.place.to_string() });
            }
            // The diary, from somebody else's hands, may name a folder that leads elsewhere.
            for above in there.path.ancestors().skip(1).take_while(|above| *above != self.job.folder()) {
                disk::stay_inside(self.job.folder(), above)?;
            }
            // Whatever lies there now, altered or not, is left as it is.
            return Ok(match disk::persist_new(part, &there.path)? {
                Some(_) => {
                    self.clear_parts_of(&there.path);
                    Stored::Again(there)
                }
                None => {
                    disk::flush_folder(&folder)?;
                    self.clear_parts_of(&there.path);
                    Stored::Restored(there)
                }
            });
        }
        let place = &take.place;
        let stem =
            format!("{}-{}{}-{}", place.plate.block, place.plate.row, place.plate.number, place.stroke);
        let ending = ending(&take.extension);
        if let Some((file, n)) = self.job.withdrawn_sound(&opened, &sha256) {
            return Err(Error::Withdrawn { file, n });
        }
        let unnamed = self.unnamed_with(&folder, &opened, &stem, &sha256)?;
        let (n, name) = match unnamed {
            // Stored once, and cut off before the diary knew: only the line is missing.
            Some(found) => found,
            None => {
                let mut n = 1 + self.highest(&pass, place);
                let mut waiting = Some(part);
                let mut name = String::new();
                while let Some(part) = waiting.take() {
                    name = format!("{stem}-{n}{ending}");
                    waiting = disk::persist_new(part, &folder.join(&name))?;
                    if waiting.is_some() {
                        n += 1;
                    }
                }
                disk::flush_folder(&folder)?;
                (n, name)
            }
        };
        let facts = TakeFacts {
            pass: opened.clone(),
            place: place.to_string(),
            file: format!("{TAKES_FOLDER}/{opened}/{name}"),
            n,
            sha256,
            bytes,
            original: take.original,
            why: take.why,
            lossy: take.lossy,
            remarks: take.remarks,
            clock: take.clock,
            cut,
            recorded: take.recorded.map(|recorded| recorded.to_string()),
            sealed: seal_part.map(|part| part.state),
            kind: seal_part.and_then(|part| part.kind),
        };
        let path = folder.join(&name);
        let place = take.place;
        let at = facts.sounded_at(self.append(Event::Take(facts.clone()))?);
        self.clear_parts_of(&path);
        Ok(Stored::New(StoredTake { place, path, at, facts: TakeFacts { pass, ..facts }, with: Vec::new() }))
    }

    /// Take away what earlier attempts that were cut off left of the stored file `whole`.
    pub(super) fn clear_parts_of(&self, whole: &Path) {
        if self.is_locked() {
            disk::clear_parts_of(whole);
        }
    }

    fn highest(&self, pass: &str, place: &ReedPlace) -> u32 {
        let of_reed = self.job.stored_takes(pass).filter(|take| take.place == *place);
        of_reed.map(|take| take.facts.n).max().unwrap_or(0)
    }

    /// A file of this reed that holds the very sound and that the diary does not name.
    fn unnamed_with(
        &self,
        folder: &Path,
        pass: &str,
        stem: &str,
        sha256: &str,
    ) -> Result<Option<(u32, String)>, Error> {
        // Those that were moved or withdrawn are named all the same.
        let named: Vec<&str> = self
            .job
            .diary()
            .iter()
            .filter_map(|line| line.event.stored_file())
            .map(|(file, _)| file)
            .collect();
        let entries = fs::read_dir(folder).map_err(|error| Error::read(folder, error))?;
        for entry in entries.flatten() {
            let Ok(shown) = entry.file_name().into_string() else { continue };
            // Some file systems show names in other capitals than they were given.
            let rest = shown.get(..stem.len()).filter(|start| start.eq_ignore_ascii_case(stem));
            let Some(rest) = rest.and_then(|_| shown.get(stem.len()..)?.strip_prefix('-')) else {
                continue;
            };
            let name = format!("{stem}-{rest}");
            let Ok(n) = rest.split('.').next().unwrap_or_default().parse() else { continue };
            let is_file = fs::symlink_metadata(folder.join(&name)).is_ok_and(|facts| facts.is_file());
            if !is_file || named.contains(&format!("{TAKES_FOLDER}/{pass}/{name}").as_str()) {
                continue;
            }
            if disk::hash_of(&folder.join(&name)).is_ok_and(|hash| hash == sha256) {
                return Ok(Some((n, name)));
            }
        }
        Ok(None)
    }
}

/// The ending with its point, in lower case; none where it is not a plain one.
fn ending(extension: &str) -> String {
    let is_plain =
        (1..=5).contains(&extension.len()) && extension.bytes().all(|byte| byte.is_ascii_alphanumeric());
    if is_plain { format!(".{}", extension.to_ascii_lowercase()) } else { String::new() }
}
