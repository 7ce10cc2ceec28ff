//! The bench page with the real program: hostile clients, and a browser without a screen that takes a job from an empty
//! folder to its report.

#![cfg_attr(not(all(target_os = "linux", feature = "mic")), allow(dead_code))]

#[cfg(all(target_os = "linux", feature = "mic"))]
mod browser;
mod client;
mod contrast;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod faults;
mod hostile;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod looks;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod pages;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod paper;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod pictures;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod recording_screen;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod sitting;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod stands;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod walk;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod wire;
