//! The real program while time goes by: sound that comes as it is played, the bench page, and accidents.

#[path = "../bench/mod.rs"]
mod bench;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod microphone;

mod bench_page;
mod capture;
mod safety;
