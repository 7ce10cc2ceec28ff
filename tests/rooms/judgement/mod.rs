//! The judgement on built readings: no sound, so that each rule is tested for itself.

mod against_block;
pub mod built;
mod changes;
mod laws;
mod next_steps;
mod odds;
mod player;
mod reeds;
mod statistics;
mod swaps;
mod valves;
mod whole_blocks;
