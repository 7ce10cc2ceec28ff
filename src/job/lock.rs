//! One writer at a time: a lock on the `.lock` file of a folder, the job's or that of the clocks, which the system drops
//! when the program ends.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Read, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use super::{Error, disk};

pub(super) const FILE: &str = ".lock";
/// How long to wait for another program to finish.
const PATIENCE: Duration = Duration::from_secs(3);
const PAUSE: Duration = Duration::from_millis(50);

/// No holder has more to say, bytes.
const LONGEST_SIGN: u64 = 200;

/// Write into the locked file who holds it, for whoever waits; where that cannot be, nobody is told.
fn sign(mut file: &File) {
    let verb = std::env::args().nth(1).filter(|verb| verb.chars().all(|letter| letter.is_ascii_lowercase()));
    let now = jiff::Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::system()).strftime("%H:%M");
    let sign =
        format!("platenote {}, process {}, since {now}\n", verb.unwrap_or_default(), std::process::id());
    let _ = file.set_len(0).and_then(|()| file.write_all(sign.as_bytes()));
}

/// Who holds the lock, as it says.
fn holder(path: &Path) -> Option<String> {
    let mut sign = String::new();
    File::open(path).ok()?.take(LONGEST_SIGN).read_to_string(&mut sign).ok()?;
    let line = sign.lines().next()?.trim();
    let is_sign = line.starts_with("platenote ") && !line.chars().any(char::is_control);
    is_sign.then(|| line.to_owned())
}

/// The lock, as long as it lives.
#[derive(Debug)]
pub(super) struct Lock {
    _file: File,
    /// Whether the disk knows locks; where not, nothing keeps a second program off.
    pub(super) is_held: bool,
}

impl Lock {
    /// Wait for the lock, a few seconds at most.
    pub(super) fn take(folder: &Path) -> Result<Self, Error> {
        let path = folder.join(FILE);
        // A pipe of that name, in a job from somebody else's hands, would keep us waiting for ever.
        disk::refuse_odd(&path)?;
        let file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(|error| Error::written(&path, error))?;
        let since = Instant::now();
        loop {
            match file.try_lock() {
                Ok(()) => {
                    sign(&file);
                    return Ok(Self { _file: file, is_held: true });
                }
                Err(TryLockError::WouldBlock) if since.elapsed() < PATIENCE => std::thread::sleep(PAUSE),
                Err(TryLockError::WouldBlock) => {
                    return Err(Error::Busy { folder: folder.to_owned(), holder: holder(&path) });
                }
                // Network folders and memory cards may know no locks.
                Err(TryLockError::Error(error)) if error.kind() == ErrorKind::Unsupported => {
                    return Ok(Self { _file: file, is_held: false });
                }
                Err(TryLockError::Error(source)) => {
                    return Err(Error::Io { doing: "locked", file: path, source });
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_waits_is_told_who_holds_the_lock() {
        let folder = tempfile::tempdir().unwrap();
        let held = Lock::take(folder.path()).unwrap();
        assert!(held.is_held);
        let Err(Error::Busy { holder: Some(holder), .. }) = Lock::take(folder.path()) else {
            panic!("it is held")
        };
        assert!(holder.contains(&format!("process {}", std::process::id())), "{holder}");
        drop(held);
        assert!(Lock::take(folder.path()).is_ok());
    }
}
