//! Sound files that came over the page, kept aside under a number until they are accepted.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use tempfile::TempDir;

use super::Error;

/// Letters of a file's name that are kept.
const LONGEST_NAME: usize = 120;

/// The files that wait to be accepted; gone with the program.
#[derive(Default)]
pub(super) struct Staging {
    inner: Mutex<Option<Staged>>,
}

struct Staged {
    folder: TempDir,
    files: BTreeMap<u32, PathBuf>,
    count: u32,
}

impl Staging {
    /// A file to write to, with its number.
    pub fn add(&self, name: &str) -> Result<(u32, PathBuf), Error> {
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        let staged = match &mut *inner {
            Some(staged) => staged,
            none => none.insert(Staged {
                folder: tempfile::tempdir().map_err(Error::Server)?,
                files: BTreeMap::new(),
                count: 0,
            }),
        };
        staged.count += 1;
        let folder = staged.folder.path().join(staged.count.to_string());
        std::fs::create_dir(&folder).map_err(Error::Server)?;
        let file = folder.join(plain(name));
        staged.files.insert(staged.count, file.clone());
        Ok((staged.count, file))
    }

    pub fn file(&self, id: u32) -> Result<PathBuf, Error> {
        let inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        let file = inner.as_ref().and_then(|staged| staged.files.get(&id).cloned());
        file.ok_or_else(|| Error::Word("the sound files are no longer there; drop them once more".into()))
    }

    pub fn forget(&self, id: u32) {
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(file) = inner.as_mut().and_then(|staged| staged.files.remove(&id)) {
            let _ = std::fs::remove_file(file);
        }
    }
}

/// A file's name without anything that leads elsewhere.
pub(super) fn plain(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or("");
    let kept: String = last.chars().filter(|letter| !letter.is_control()).take(LONGEST_NAME).collect();
    let kept = kept.trim_start_matches(['.', '-']).trim();
    if kept.is_empty() { "sound".into() } else { kept.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_files_name_leads_nowhere() {
        for (name, wanted) in [
            ("bass-A7-press.wav", "bass-A7-press.wav"),
            ("../../etc/passwd", "passwd"),
            ("C:\\sound\\a b.wav", "a b.wav"),
            ("-rf", "rf"),
            (".hidden", "hidden"),
            ("a\nb", "ab"),
            ("", "sound"),
            ("..", "sound"),
        ] {
            assert_eq!(plain(name), wanted);
        }
    }
}
