//! What may be held in memory. A program of its own: its allocator counts.

#[path = "../bench/mod.rs"]
mod bench;
#[path = "../speed/long_recording.rs"]
mod long_recording;
#[path = "../speed/pass_job.rs"]
mod pass_job;
#[path = "../speed/peak.rs"]
mod peak;

mod allocations;
mod processes;
