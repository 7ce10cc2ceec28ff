//! One writer at a time: a lock on the `.lock` file of a folder, the job's or that of the clocks, which the system drops
//! when the program ends.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::ErrorKind;
use std::path::Path;
use std::time::{Duration, Instant};

use super::{Error, disk};

pub(super) const FILE: &str = ".lock";
/// How long to wait for another program to finish.
const PATIENCE: Duration = Duration::from_secs(3);
const PAUSE: Duration = Duration::from_millis(50);

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
                Ok(()) => return Ok(Self { _file: file, is_held: true }),
                Err(TryLockError::WouldBlock) if since.elapsed() < PATIENCE => std::thread::sleep(PAUSE),
                Err(TryLockError::WouldBlock) => return Err(Error::Busy { folder: folder.to_owned() }),
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
