//! `tray.toml`: the tray of the workshop, kept once for all jobs in the person's configuration folder, and which job its valves are
//! reserved for.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::event::LotFacts;
use super::folder::Job;
use super::notes::{lot, lot_facts};
use super::{Error, clocks, disk};
use crate::repair::{Lot, Tray};

const FILE: &str = "tray.toml";
const FORMAT: i64 = 1;

/// The workshop's tray with its reservations.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkshopTray {
    file: PathBuf,
    whole: WorkshopTrayToml,
}

/// Valves that lie in the tray of a job, and come from the workshop's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reservation {
    /// The job's folder.
    pub job: PathBuf,
    /// What the job is called.
    pub title: String,
    /// The day, `2026-04-30`.
    pub day: String,
    /// The valves.
    pub lot: LotFacts,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct WorkshopTrayToml {
    format: i64,
    #[serde(default, rename = "lot")]
    lots: Vec<LotFacts>,
    #[serde(default, rename = "reserved")]
    reserved: Vec<Reservation>,
}

impl WorkshopTray {
    /// Read this person's tray; without a file it is empty.
    pub fn open() -> Result<Self, Error> {
        let file = clocks::config_folder()?.join(FILE);
        let whole = match disk::read_plain(&file)? {
            None => WorkshopTrayToml { format: FORMAT, lots: Vec::new(), reserved: Vec::new() },
            Some(bytes) => toml::from_str(&String::from_utf8_lossy(&bytes))
                .map_err(|error| Error::read(&file, io::Error::other(error.message().to_owned())))?,
        };
        Ok(Self { file, whole })
    }

    /// The valves that no job has.
    pub fn free(&self) -> Tray {
        Tray::new(self.whole.lots.iter().filter_map(lot))
    }

    /// The valves that lie in the trays of jobs.
    pub fn reserved(&self) -> impl Iterator<Item = (&Reservation, Lot)> {
        self.whole.reserved.iter().filter_map(|one| Some((one, lot(&one.lot)?)))
    }

    /// Valves were counted; `whole` when there are no others that no job has.
    pub fn count(&mut self, lots: &[Lot], whole: bool) -> Result<(), Error> {
        let mut tray = if whole { Tray::default() } else { self.free() };
        lots.iter().for_each(|lot| tray.recount(lot.clone()));
        self.keep(&tray)
    }

    /// Take these valves out for a job.
    pub fn reserve(&mut self, job: &Job, lots: &[Lot]) -> Result<(), Error> {
        let mut tray = self.free();
        let day = jiff::ZonedDateTime::now().date().to_string();
        for wanted in lots {
            let there =
                tray.lots().iter().find(|there| there.is_same_kind(wanted)).map_or(0, |lot| lot.count);
            tray.recount(Lot { count: there.saturating_sub(wanted.count), ..wanted.clone() });
            self.whole.reserved.push(Reservation {
                job: whole_path(job.folder()),
                title: job.title().to_owned(),
                day: day.clone(),
                lot: lot_facts(wanted),
            });
        }
        self.keep(&tray)
    }

    /// Take back what a job had reserved and still has in its tray; gives what is to be taken out of that.
    pub fn release(&mut self, job: &Job) -> Result<Vec<Lot>, Error> {
        let folder = whole_path(job.folder());
        let (own, others) = self.whole.reserved.drain(..).partition(|one| one.job == folder);
        self.whole.reserved = others;
        let own: Vec<Reservation> = own;
        let mut tray = self.free();
        let mut back = Vec::new();
        for lot in Tray::new(own.iter().filter_map(|one| lot(&one.lot))).lots() {
            let held = job.bench().tray;
            let there = held.lots().iter().find(|there| there.is_same_kind(lot)).map_or(0, |lot| lot.count);
            let count = lot.count.min(there);
            if count > 0 {
                tray.put(Lot { count, ..lot.clone() });
                back.push(Lot { count, ..lot.clone() });
            }
        }
        self.keep(&tray)?;
        Ok(back)
    }

    fn keep(&mut self, tray: &Tray) -> Result<(), Error> {
        self.whole.lots = tray.lots().iter().map(lot_facts).collect();
        let text = toml::to_string(&self.whole)
            .map_err(|error| Error::written(&self.file, io::Error::other(error)))?;
        let folder = self.file.parent().unwrap_or(Path::new("."));
        disk::make_folder(folder)?;
        disk::write_whole(&self.file, text.as_bytes())
    }
}

/// The same folder however it is reached.
fn whole_path(folder: &Path) -> PathBuf {
    fs::canonicalize(folder).unwrap_or_else(|_| folder.to_owned())
}
