//! One long recording of a block: taken apart, placed, shown and stored.

#[path = "../bench/mod.rs"]
mod bench;

mod placing;
mod program;
mod real;
mod splitting;
mod stands;
