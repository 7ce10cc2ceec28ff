//! The other rooms of the library, one module for each.

#[path = "../bench/mod.rs"]
mod bench;

mod charts;
mod golden_instrument;
mod judgement;
mod reading_line;
mod record;
mod recording;
mod sealing;
mod sound_files;
mod structure;
mod sweeping;
mod tuning;
mod valves;
