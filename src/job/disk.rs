//! Files that are there whole or not at all: written beside, flushed, renamed, the folder flushed.

use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use tempfile::NamedTempFile;

use super::Error;

/// Begins the name of a file that is still being written; one that is left over was never finished.
pub(super) const PART_PREFIX: &str = ".part-";

/// Write a whole file: afterwards it holds `bytes`, or, when this fails, what it held before.
pub fn write_whole(file: &Path, bytes: &[u8]) -> Result<(), Error> {
    let folder = folder_of(file);
    let mut part = new_part(folder)?;
    part.write_all(bytes)
        .and_then(|()| part.as_file().sync_all())
        .map_err(|error| Error::written(file, error))?;
    part.persist(file).map_err(|failed| Error::written(file, failed.error))?;
    flush_folder(folder)
}

/// An unfinished file in `folder`; it goes away by itself unless it is renamed.
pub(super) fn new_part(folder: &Path) -> Result<NamedTempFile, Error> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PART_PREFIX);
    #[cfg(unix)]
    {
        // As any other file the person makes; the process's mask takes its share off.
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder).map_err(|error| Error::written(folder, error))
}

/// Give the finished part its name; gives the part back when a file has the name already.
pub(super) fn persist_new(part: NamedTempFile, file: &Path) -> Result<Option<NamedTempFile>, Error> {
    if fs::symlink_metadata(file).is_ok() {
        return Ok(Some(part));
    }
    match part.persist_noclobber(file) {
        Ok(_) => Ok(None),
        Err(failed) if failed.error.kind() == io::ErrorKind::AlreadyExists => Ok(Some(failed.file)),
        // Some memory cards know no way to rename that refuses; the lock keeps others off meanwhile.
        Err(failed) => match failed.file.persist(file) {
            Ok(_) => Ok(None),
            Err(failed) => Err(Error::written(file, failed.error)),
        },
    }
}

/// Take away cut-off copies in the folder of `whole` that hold nothing but its beginning. Only with the lock held: they
/// are then nobody's, and what is in them is in `whole`. Any other is left, for it may be all there is of a sound.
pub(super) fn clear_parts_of(whole: &Path) {
    let Ok(entries) = fs::read_dir(folder_of(whole)) else { return };
    for entry in entries.flatten() {
        let is_part = entry.file_name().to_string_lossy().starts_with(PART_PREFIX)
            && entry.file_type().is_ok_and(|kind| kind.is_file());
        if is_part && begins_with(whole, &entry.path()).unwrap_or(false) {
            let _ = fs::remove_file(entry.path()); // One that stays is named by `verify`, and does no harm.
        }
    }
}

/// Whether the file `whole` begins with all that `part` holds.
fn begins_with(whole: &Path, part: &Path) -> io::Result<bool> {
    let open = |file: &Path| open_plain(file).map(BufReader::new).map_err(io::Error::other);
    let (mut whole, mut part) = (open(whole)?, open(part)?);
    loop {
        let (there, here) = (whole.fill_buf()?, part.fill_buf()?);
        if here.is_empty() {
            return Ok(true);
        }
        let count = here.len().min(there.len());
        if count == 0 || there.get(..count) != here.get(..count) {
            return Ok(false);
        }
        whole.consume(count);
        part.consume(count);
    }
}

/// Refuse a link in the job that leads out of it: a job from somebody else's hands must not have us write elsewhere.
pub(super) fn stay_inside(job: &Path, path: &Path) -> Result<(), Error> {
    if fs::symlink_metadata(path).is_err() {
        return Ok(()); // Not there yet.
    }
    let inside = |job: PathBuf| path.canonicalize().is_ok_and(|path| path.starts_with(job));
    if job.canonicalize().is_ok_and(inside) {
        return Ok(());
    }
    Err(Error::LeadsOut { file: path.to_owned() })
}

/// All bytes of a plain file; `None` where there is none.
pub fn read_plain(file: &Path) -> Result<Option<Vec<u8>>, Error> {
    let mut bytes = Vec::new();
    match open_plain(file) {
        Ok(mut open) => open.read_to_end(&mut bytes).map_err(|error| Error::read(file, error))?,
        Err(Error::Io { source, .. }) if source.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    Ok(Some(bytes))
}

/// Flush a folder, so that a rename in it outlives a power cut.
pub(super) fn flush_folder(folder: &Path) -> Result<(), Error> {
    // Other systems than Unix offer no such flush.
    #[cfg(unix)]
    File::open(folder).and_then(|folder| folder.sync_all()).map_err(|error| Error::written(folder, error))?;
    let _ = folder;
    Ok(())
}

/// Make a folder and those above it.
pub(super) fn make_folder(folder: &Path) -> Result<(), Error> {
    fs::create_dir_all(folder).map_err(|error| Error::written(folder, error))?;
    flush_folder(folder_of(folder))
}

/// Copy everything and return its SHA-256 in hexadecimal and its length in bytes.
pub(super) fn copy_hashed(from: &mut dyn Read, mut to: impl Write) -> io::Result<(String, u64)> {
    let mut hash = Sha256::new();
    let mut length = 0;
    let mut buffer = vec![0; 64 * 1024];
    loop {
        let count = match from.read(&mut buffer) {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        let chunk = buffer.get(..count).unwrap_or_default();
        hash.update(chunk);
        to.write_all(chunk)?;
        length += count as u64;
    }
    let hex = hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    Ok((hex, length))
}

/// The SHA-256 of a plain file, in hexadecimal.
pub fn hash_of(file: &Path) -> Result<String, Error> {
    let mut from = open_plain(file)?;
    copy_hashed(&mut from, io::sink()).map(|(hash, _)| hash).map_err(|error| Error::read(file, error))
}

/// The SHA-256 of what was read already, in hexadecimal.
pub(super) fn hash_of_bytes(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Refuse what is there and is no plain file; what is not there yet may be made.
pub(super) fn refuse_odd(file: &Path) -> Result<(), Error> {
    match fs::metadata(file) {
        Ok(kind) if !kind.is_file() => Err(Error::NotAFile { file: file.to_owned() }),
        _ => Ok(()),
    }
}

/// Open a plain file; a folder, a pipe or a device is refused, since reading it might never end.
pub(super) fn open_plain(file: &Path) -> Result<File, Error> {
    let kind = fs::metadata(file).map_err(|error| Error::read(file, error))?;
    if !kind.is_file() {
        return Err(Error::NotAFile { file: file.to_owned() });
    }
    File::open(file).map_err(|error| Error::read(file, error))
}

fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}
