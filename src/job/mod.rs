//! The job folder: plan, diary, takes; the only room that reads or writes it.
//!
//! [`Job`] reads, [`JobWriter`] writes while it keeps other writers off. `docs/job-format.md` describes the files.

mod account;
mod clocks;
mod corrections;
mod diary;
mod disk;
mod error;
mod event;
mod file_line;
mod folder;
mod later_pass;
mod layout;
mod lock;
mod long_recording;
mod moved_by_hand;
mod nearest;
mod notes;
mod photo_store;
mod plain_name;
mod plan;
mod plan_by_hand;
mod plan_change;
mod reading_line;
mod reading_words;
mod readings;
pub mod recent;
mod seal_bench;
mod seal_part;
mod seal_play;
mod table;
mod take_store;
mod tray_csv;
mod verify;
mod visits;
mod workshop;
mod workshop_tray;

pub use clocks::{Clocks, DeviceClock, FOLDER_VARIABLE, config_folder};
pub use corrections::{Correction, PassAmendment, TakeEntry};
pub use diary::{DiaryLine, OddLine, Oddity};
pub use disk::{hash_of, read_plain, write_whole};
pub use error::Error;
pub use event::{
    AmendedFacts, ClockFacts, CutFacts, Event, LotFacts, MarkFacts, MeasuredIn, MergedFacts, MoveFacts,
    PassFacts, PhotoFacts, PlateMove, PlatesFacts, PlayFacts, Recorded, RemarkFacts, RenamedFacts,
    RenewFacts, StockFacts, TakeFacts, UndoneFacts, VisitFacts, WithdrawnFacts,
};
pub use file_line::FileLine;
pub use folder::{Job, JobWriter, PassChange, StoredTake};
pub use later_pass::LaterPass;
pub use long_recording::LongRecording;
pub use moved_by_hand::MovedByHand;
pub use photo_store::picture_ending;
pub use plain_name::is_plain_name;
pub use plan::{FORMAT, Fault, Origins, Plan, PlanEdit, PlateNumbers, Template};
pub use reading_line::ReadingLine;
pub use readings::{KeptReading, READINGS_KEY, Readings};
pub use seal_bench::{KnownLeak, SealBenchFile};
pub use seal_part::{BlownKind, SealPart, SealState};
pub use table::{Table, TableRow};
pub use take_store::{NewTake, Stored};
pub use tray_csv::{tray_from_csv, tray_to_csv};
pub use verify::{Discrepancy, DiscrepancyKind, Verified, verify};
pub use visits::Visit;
pub use workshop::Workshop;
pub use workshop_tray::{Reservation, WorkshopTray};
