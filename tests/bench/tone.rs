//! What sounds in a take: the plain description from which `render.rs` makes the samples.

use super::room::Room;
use super::truth::{Breath, Truth};
use platenote::take::Take;

/// What sounds in a take. Start from [`ToneSpec::plain`] or from `natural::random_natural`.
#[derive(Debug, Clone)]
pub struct ToneSpec {
    /// Samples per second, as the card states them.
    pub rate_hz: u32,
    /// Pitch of the sounding reed at the mean pressure.
    pub f0_hz: f64,
    /// Amplitudes of its partials, any scale; those above 0.49 of the rate are left out.
    pub partials: Vec<f64>,
    /// Before the air comes, s.
    pub lead_in_s: f64,
    /// From the air to 90 % of the level, s; with 0 the recording begins inside the note.
    pub attack_s: f64,
    /// From there until the air stops, s.
    pub steady_s: f64,
    /// What comes after.
    pub tail: Tail,
    /// The bellows' wander.
    pub wander: Wander,
    /// The bellows' tremor.
    pub tremor: Option<Tremor>,
    /// Noise that follows the air.
    pub breath: Option<Breath>,
    /// Power of the tone over white noise, dB.
    pub snr_db: Option<f64>,
    /// The room.
    pub room: Option<Room>,
    /// How fast the card runs, parts per million.
    pub clock_ppm: f64,
    /// Mains hum.
    pub mains: Option<Mains>,
    /// Low rumble, power re the tone, dB.
    pub rumble_db: Option<f64>,
    /// The opposite reed.
    pub opposite: Option<Companion>,
    /// Other notes, or further reeds, sounding along.
    pub others: Vec<Companion>,
    /// Level of the tone, dBFS (power).
    pub level_dbfs: f64,
    /// Clip at this part of the highest peak.
    pub clip_at: Option<f64>,
}

/// What follows when the air stops.
#[derive(Debug, Clone, PartialEq)]
pub enum Tail {
    /// The recording ends inside the note.
    CutOff,
    /// The air stops abruptly and the tongues ring freely.
    Ring {
        /// How much sharper they ring, cents.
        sharper_cents: f64,
        /// Time in which the fundamental falls to 1/e, s.
        decay_s: f64,
        /// How long the recording goes on, s.
        length_s: f64,
    },
    /// The air dies away slowly over this time, s.
    Fade(f64),
}

/// Slow wander of the bellows pressure, as pitch.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Wander {
    /// 5 to 95 % range of the random part, cents.
    pub range_cents: f64,
    /// Its correlation time, s.
    pub correlation_s: f64,
    /// Straight part, cents per second.
    pub slope_cents_per_s: f64,
    /// Level change that goes with it: dB louder for each cent lower.
    pub db_per_cent: f64,
}

/// Tremor of the bellows.
#[derive(Debug, Clone, PartialEq)]
pub struct Tremor {
    /// How fast, Hz.
    pub rate_hz: f64,
    /// Depth of the level, as a part of it.
    pub depth: f64,
    /// Depth of the pitch, cents.
    pub cents: f64,
    /// How far the partials differ in depth and in time, 0 to 1.
    pub spread: f64,
}

/// Mains hum with its harmonics.
#[derive(Debug, Clone, PartialEq)]
pub struct Mains {
    /// 50 or 60 Hz, a little off.
    pub hz: f64,
    /// Level of its fundamental re the tone's strongest partial, dB.
    pub level_db: f64,
    /// How many harmonics; each about 4 dB weaker than the one before.
    pub harmonics: usize,
}

/// A second voice.
#[derive(Debug, Clone, PartialEq)]
pub struct Companion {
    /// Its pitch re the sounding reed, cents.
    pub offset_cents: f64,
    /// Power of its whole series re the sounding reed's, dB.
    pub level_db: f64,
    /// Shape of its spectrum.
    pub partials: Vec<f64>,
    /// Which part of the sounding reed's wander and tremor it shares; 1 for all.
    pub share: f64,
    /// Wander of its own, 5 to 95 % range, cents.
    pub own_wander_cents: f64,
    /// Moves at exactly the sounding reed's pitch while the air flows; its own pitch shows in the tail only.
    pub forced: bool,
    /// Level in the tail re the sounding reed's, when the air stops, dB.
    pub tail_level_db: f64,
    /// How much sharper it rings in the tail, cents.
    pub tail_sharper_cents: f64,
}

/// A take and what was planted in it.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// The samples.
    pub samples: Vec<f32>,
    /// The rate the card states, Hz.
    pub rate_hz: u32,
    /// What was planted.
    pub truth: Truth,
}

impl Rendered {
    /// As a take.
    pub fn take(&self) -> Take {
        Take::new(self.samples.clone(), self.rate_hz)
    }
}

impl ToneSpec {
    /// A perfectly steady tone from the first to the last sample, no noise.
    pub fn plain(rate_hz: u32, f0_hz: f64, partials: Vec<f64>, steady_s: f64) -> Self {
        Self {
            rate_hz,
            f0_hz,
            partials,
            lead_in_s: 0.0,
            attack_s: 0.0,
            steady_s,
            tail: Tail::CutOff,
            wander: Wander::default(),
            tremor: None,
            breath: None,
            snr_db: None,
            room: None,
            clock_ppm: 0.0,
            mains: None,
            rumble_db: None,
            opposite: None,
            others: Vec::new(),
            level_dbfs: -20.0,
            clip_at: None,
        }
    }
}
