//! Platenote finds leaking reed valves and measures tuning from recordings of free-reed instruments.
//!
//! The rooms in reading order: [`take`] and [`units`], [`instrument`], [`analysis`], [`judgement`], [`record`],
//! [`audio`], [`report`], [`demo`], [`cli`].

pub mod analysis;
pub mod audio;
pub mod cli;
pub mod demo;
pub mod instrument;
pub mod judgement;
pub mod placing;
pub mod record;
pub mod report;
pub mod take;
pub mod units;
