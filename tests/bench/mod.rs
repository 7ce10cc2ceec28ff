//! The test bench: builds reed sounds from the physics, plants what is to be found, and counts what was found.
//!
//! It shares no method and no code with `src/`; of the crate it uses the public types only.
//! Two generators that know nothing of each other: `tone` and `render` add up partials, `reed` solves the equations of motion.
//!
//! ```ignore
//! let spec = natural::random_natural(seed, 55.0, 1760.0);
//! let rendered = spec.render(seed);
//! let reading = read(&rendered.take(), &Expectation::default());
//! let truth = rendered.truth.mean_pitch_hz(start_s, end_s);
//! ```

// Each test file uses its own part of the bench.
#![allow(dead_code)]

pub mod chance;
pub mod chromium;
pub mod dark;
pub mod natural;
pub mod played;
pub mod player;
pub mod reed;
pub mod render;
pub mod room;
pub mod sealing;
pub mod sitting;
pub mod statistics;
pub mod tone;
pub mod truth;
pub mod voice;
