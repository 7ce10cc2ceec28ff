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
//! # The rooms, in reading order
//!
//! - [`units`], [`take`]: what the numbers are, and the samples.
//! - [`instrument`]: what lies on the bench.
//! - [`analysis`]: from samples to a reading.
//! - [`audio`]: sound files and the microphone.
//! - [`alignment`]: which reed a file belongs to.
//! - [`judgement`]: from the readings of a pass to findings.
//! - [`repair`]: bench notes, the tray of valves, what fits where and what to do next.
//! - [`tuning`]: from a measured reed to a tuned reed.
//! - [`segmentation`]: one long recording taken apart into its notes.
//! - [`job`]: the job folder.
//! - [`session`]: takes at the bench, one reed after the other.
//! - [`report`]: the charts.
//! - [`evaluation`]: from the job's takes to findings and pages.
//! - [`bench_page`]: the job in a browser.
//! - [`demo`]: an invented job to try it on.
//! - [`cli`]: the front door.
//!
//! Arrows point only from the later ones to the earlier ones; `DEVELOPERS.md` says more.

pub mod alignment;
pub mod analysis;
pub mod audio;
pub mod bench_page;
pub mod cli;
pub mod demo;
pub mod evaluation;
pub mod instrument;
pub mod job;
pub mod judgement;
pub mod repair;
pub mod report;
pub mod segmentation;
pub mod session;
pub mod take;
pub mod tuning;
pub mod units;
