//! The bench page with the real program: hostile clients, and a browser without a screen that takes a job from an empty
//! folder to its report.

mod client;
mod hostile;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod browser;
#[cfg(all(target_os = "linux", feature = "mic"))]
#[path = "../bench/mod.rs"]
mod bench;
#[cfg(all(target_os = "linux", feature = "mic"))]
#[path = "../capture/microphone.rs"]
mod microphone;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod sitting;
