//! The reading: what one take tells, as plain data.

use crate::units::{Cents, Dbfs, Decibels, Hz, Seconds, Span};

/// What is known of the take beforehand. Everything helps, nothing is trusted blindly.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Expectation {
    /// The pitch the reed should have.
    pub pitch: Option<Hz>,
    /// The opposite reed, where the plate has one.
    pub opposite: OppositeExpectation,
    /// The sound card's clock; 100 ppm unknown when not calibrated.
    pub clock: Clock,
}

/// What is known of the opposite reed.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum OppositeExpectation {
    /// Nothing: look for it around the sounding reed.
    #[default]
    Unknown,
    /// Its own take gave this pitch.
    Known {
        /// Its pitch.
        pitch: Hz,
        /// How sure that is, 95 %.
        within: Cents,
    },
    /// The plate carries one reed only: do not look.
    None,
}

/// The sample clock against true time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    /// How fast the card runs, parts per million; positive when it takes more samples per second than it says.
    pub error_ppm: f64,
    /// Half the 95 % interval of that, parts per million.
    pub uncertainty_ppm: f64,
}

impl Default for Clock {
    /// Not calibrated: consumer oscillators are within 100 ppm (HD Audio: 24 MHz ± 2.4 kHz).
    fn default() -> Self {
        Self { error_ppm: 0.0, uncertainty_ppm: 100.0 }
    }
}

/// What one take tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Mean pitch over the steady stretch.
    pub f0: Hz,
    /// Half the 95 % interval of the pitch: noise, bellows wander and clock together.
    pub uncertainty: Cents,
    /// What the uncertainty is made of.
    pub doubt: Doubt,
    /// The stretch that was measured.
    pub steady: Span,
    /// Root-mean-square level of the steady stretch.
    pub level: Dbfs,
    /// From the first sound of air to 90 % of the steady level.
    pub onset: Result<Seconds, NotMeasured>,
    /// Noise between the partials against the tone.
    pub breath: Result<Decibels, NotMeasured>,
    /// How the pitch follows the level within the take, cents per dB, with half its 95 % interval.
    pub pitch_per_db: Result<(f64, f64), NotMeasured>,
    /// The partials that carry the reading, ascending.
    pub partials: Vec<Partial>,
    /// The opposite reed in the steady tone.
    pub opposite: Opposite,
    /// Its lines where it was heard, or from where on the limit holds.
    pub opposite_detail: OppositeDetail,
    /// The opposite reed after the air has stopped.
    pub tail: Tail,
    /// Each reed when two or more sound fully, low to high; else empty.
    pub reeds: Vec<SoundingReed>,
    /// Doubts that must reach table and page.
    pub warnings: Vec<Warning>,
}

/// The parts of the pitch's uncertainty, each half a 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    /// From the noise.
    pub noise: Cents,
    /// From the wander of the pitch over the steady stretch.
    pub wander: Cents,
    /// From the sound card's clock.
    pub clock: Cents,
}

/// A partial of the tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Partial {
    /// 1 for the fundamental.
    pub number: u32,
    /// Level re the strongest partial.
    pub level: Decibels,
    /// Level above the noise in one hertz.
    pub above_noise: Decibels,
}

/// The opposite reed in the steady tone.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Opposite {
    /// Heard as a second tone.
    Sounding {
        /// Power of its whole series re the sounding reed's.
        level: Decibels,
        /// Its pitch re the sounding reed's.
        offset: Cents,
        /// Half the 95 % interval of that.
        uncertainty: Cents,
        /// Log-likelihood ratio, natural logarithm.
        evidence: f64,
    },
    /// Not heard.
    Quiet {
        /// It is below this level re the sounding reed, 95 %.
        limit: Decibels,
        /// Log-likelihood ratio of the best candidate.
        evidence: f64,
    },
    /// Cannot be told in this take.
    Unresolved {
        /// Log-likelihood ratio of the best candidate.
        evidence: f64,
        /// Steady time that would settle it, where a longer take would.
        needs: Option<Seconds>,
        /// Why.
        reason: NotMeasured,
    },
    /// Not looked for: the plate has one reed.
    NotLooked,
}

/// What belongs to [`Opposite`] besides: its lines, or how far its limit reaches.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OppositeDetail {
    /// The lines of the second tone, ascending; empty unless it was heard.
    pub lines: Vec<OppositeLine>,
    /// The limit holds for an opposite reed at least this far from the sounding one; `None` without a limit.
    pub limit_from: Option<Cents>,
}

/// A line of the second tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OppositeLine {
    /// 1 for its fundamental.
    pub number: u32,
    /// Power re the whole series of the sounding reed.
    pub level: Decibels,
}

/// The opposite reed in the tail, when both tongues ring freely.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Tail {
    /// Heard ringing at its own pitch.
    Heard {
        /// Level re the sounding reed's tail at the moment the air stops.
        level: Decibels,
        /// Its pitch re the sounding reed's tail.
        offset: Cents,
        /// Log-likelihood ratio.
        evidence: f64,
    },
    /// Not heard.
    Quiet {
        /// It is below this level re the sounding reed's tail, 95 %.
        limit: Decibels,
        /// Log-likelihood ratio of the best candidate.
        evidence: f64,
    },
    /// Could not be measured.
    NotMeasured(NotMeasured),
}

/// One of several reeds that sound fully together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundingReed {
    /// Its pitch.
    pub f0: Hz,
    /// Half the 95 % interval of that.
    pub uncertainty: Cents,
    /// Level re the strongest.
    pub level: Decibels,
}

/// Why a value is missing.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotMeasured {
    /// The recording begins when the note already sounds.
    #[error("the recording begins inside the note")]
    AttackCut,
    /// The recording ends before the note does.
    #[error("the recording ends inside the note")]
    TailCut,
    /// The note fades too slowly for a free ring to be heard.
    #[error("the air did not stop abruptly")]
    SlowStop,
    /// What is left after the stop is too short.
    #[error("the tail lasts {lasts:.3} s and needs {needs:.3} s")]
    TailTooShort {
        /// How long it lasts, s.
        lasts: f64,
        /// How long it would have to, s.
        needs: f64,
    },
    /// What rings after the stop is louder than the played reed's own ring or rings at other pitches as well, so it is not
    /// the opposite tongue.
    #[error("what rings after the stop is not the played reed and its opposite alone")]
    TailUnclear,
    /// The two reeds are too close for this take.
    #[error("the reeds are too close to tell apart in {steady:.2} s of steady tone")]
    TooClose {
        /// The steady time, s.
        steady: f64,
    },
    /// The noise hides it.
    #[error("the noise lies too high")]
    TooNoisy,
    /// The steady stretch is too short.
    #[error("the steady stretch lasts {lasts:.2} s and needs {needs:.2} s")]
    TooShort {
        /// How long it lasts, s.
        lasts: f64,
        /// How long it would have to, s.
        needs: f64,
    },
    /// Too many samples are clipped.
    #[error("the recording is clipped")]
    Clipped,
    /// Several reeds sound fully, so the weak one cannot be judged.
    #[error("several reeds sound fully together")]
    SeveralReeds,
    /// The level hardly moves, so nothing can be said of its effect.
    #[error("the level hardly moves in this take")]
    LevelEven,
    /// The level swells, and pitch and colour with it, so that no steady second tone can be told.
    #[error("the level swells; hold the note at one pressure")]
    Swelling,
    /// The opposite pitch is not known.
    #[error("the opposite reed's pitch is not known")]
    OppositeUnknown,
}

/// A doubt that does not stop the reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Warning {
    /// Samples at full scale.
    #[error("{count} samples are clipped; play softer or turn the input down")]
    Clipped {
        /// How many samples lie in runs of three or more at full scale.
        count: usize,
    },
    /// Values that are not numbers were taken as silence.
    #[error("{count} samples are not finite numbers and were taken as silence")]
    NotFinite {
        /// How many.
        count: usize,
    },
    /// The pitch wanders more than a reed's own bend explains.
    #[error("the pitch wanders by {range:.1} cents over the steady stretch")]
    Wandering {
        /// Range of the short-time pitch, 5 to 95 %, cents.
        range: f64,
    },
    /// The noise is strong.
    #[error("the tone stands only {snr:.0} dB above the noise")]
    Noisy {
        /// Tone over noise, dB.
        snr: f64,
    },
    /// The pitch is far from the expected note.
    #[error("the pitch lies {cents:+.0} cents from the expected note")]
    Unexpected {
        /// How far, cents.
        cents: f64,
    },
    /// A lossy coder stood in the way.
    #[error("the file was stored by a lossy coder; weak tones may be missing from it")]
    Lossy,
    /// Another note sounds along.
    #[error("another tone sounds along at about {hz:.1} Hz")]
    OtherTone {
        /// Where, Hz.
        hz: f64,
    },
    /// The ear's own remark.
    #[error("{0}")]
    Remark(String),
    /// Several reeds sound fully.
    #[error("{count} reeds sound fully together")]
    SeveralReeds {
        /// How many.
        count: usize,
    },
}

/// Why a take gives no reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// No samples at all.
    #[error("the take holds no samples")]
    Empty,
    /// The rate is out of range.
    #[error("the sample rate is {rate_hz} Hz and must lie between 8000 and 384000 Hz")]
    Rate {
        /// As given.
        rate_hz: u32,
    },
    /// Nothing but silence or a constant.
    #[error("the take is silent")]
    Silent,
    /// No tone stands out.
    #[error("no steady tone stands out of the noise")]
    NoTone,
    /// The note is too short.
    #[error("the note sounds for {sounds:.2} s and needs {needs:.2} s")]
    TooShort {
        /// How long it sounds, s.
        sounds: f64,
        /// How long it would have to, s.
        needs: f64,
    },
    /// No stretch is steady enough.
    #[error("no stretch of the note is steady")]
    NotSteady,
}

/// The neighbourhood of one partial, for drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct CloseUp {
    /// Which partial of the sounding reed is in the middle.
    pub partial: u32,
    /// Offset from the sounding reed, cents, ascending.
    pub offset_cents: Vec<f64>,
    /// Level re this partial, dB, same length.
    pub level_db: Vec<f64>,
}
