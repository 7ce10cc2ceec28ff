//! Platenote finds leaking reed valves and measures tuning from recordings of free-reed instruments.
//!
//! A restorer sounds each reed of a block once on press and once on draw. From each take the sounding reed's pitch is
//! measured with an honest uncertainty, and the plate's opposite reed is listened for: behind a leaking valve it sounds
//! along. All takes of a pass together give a verdict for every valve and the tuning work for every reed. The program
//! `platenote` is a thin front door to this library; `docs/method.md` explains what is measured and why.
//!
//! # Example
//!
//! A take goes in, a reading comes out:
//!
//! ```
//! use platenote::analysis::{self, Expectation, Refusal};
//! use platenote::take::Take;
//! use platenote::units::Hz;
//! use std::f64::consts::TAU;
//!
//! // Two seconds of a tone of 441 Hz, eight partials, each weaker than the one below.
//! let rate_hz = 48_000;
//! let tone = |t: f64| (1..=8).map(f64::from).map(|k| 0.1 / k * (TAU * 441.0 * k * t).sin()).sum::<f64>();
//! let samples = (0..2 * rate_hz).map(|n| tone(f64::from(n) / f64::from(rate_hz)) as f32).collect();
//!
//! let reading = analysis::read(&Take::new(samples, rate_hz), &Expectation::default())?;
//! let off = reading.f0.cents_above(Hz::STANDARD_A4);
//! println!("{:.2} ± {:.2} cents", off.get(), reading.uncertainty.get()); // 3.93 ± 0.17 cents
//! assert!((off.get() - 3.930).abs() < 0.001);
//! # Ok::<(), Refusal>(())
//! ```
//!
//! A sound file into a reading:
//!
//! ```
//! use platenote::analysis::{self, Expectation, Opposite};
//!
//! fn main() -> Result<(), Box<dyn std::error::Error>> {
//!     let take = platenote::read_file("fixtures/tone-440hz.flac".as_ref())?;
//!     let reading = analysis::read(&take, &Expectation::default())?;
//!     println!("{} ± {}", reading.f0, reading.uncertainty);
//!     match reading.opposite {
//!         Opposite::Sounding { level, .. } => println!("a second tone at {level}"),
//!         Opposite::Quiet { limit, .. } => println!("no second tone above {limit}"),
//!         _ => println!("a second tone cannot be told"),
//!     }
//!     assert!(reading.f0.cents_above(platenote::units::Hz::STANDARD_A4).get().abs() < 0.1);
//!     Ok(())
//! }
//! ```
//!
//! # What is public
//!
//! [`units`], [`take`] and [`analysis`], with [`read_file`] for sound files. All other rooms belong to the program
//! `platenote` and its tests: they are left out of this documentation and change without notice. `DEVELOPERS.md` shows
//! them in order.

pub mod analysis;
pub mod take;
pub mod units;

pub use audio::{SoundError, read_file};

#[doc(hidden)]
pub mod alignment;
#[doc(hidden)]
pub mod audio;
#[doc(hidden)]
pub mod bench_page;
#[doc(hidden)]
pub mod cli;
#[doc(hidden)]
pub mod demo;
#[doc(hidden)]
pub mod evaluation;
#[doc(hidden)]
pub mod instrument;
#[doc(hidden)]
pub mod job;
#[doc(hidden)]
pub mod judgement;
#[doc(hidden)]
pub mod repair;
#[doc(hidden)]
pub mod report;
#[doc(hidden)]
pub mod segmentation;
#[doc(hidden)]
pub mod session;
#[doc(hidden)]
pub mod tuning;
