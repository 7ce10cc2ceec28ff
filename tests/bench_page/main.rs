//! The bench page with the real program: hostile clients, and a browser without a screen that takes a job from an empty
//! folder to its report.

#![cfg_attr(not(all(target_os = "linux", feature = "mic")), allow(dead_code))]

#[cfg(all(target_os = "linux", feature = "mic"))]
#[path = "../bench/mod.rs"]
mod bench;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod browser;
#[cfg(all(target_os = "linux", feature = "mic"))]
#[path = "../bench/chromium.rs"]
mod chromium;
mod client;
mod hostile;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod looks;
#[cfg(all(target_os = "linux", feature = "mic"))]
#[path = "../capture/microphone.rs"]
#[allow(dead_code)] // The tests of live capture use the rest of it.
mod microphone;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod pages;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod sitting;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod wire;
