//! A known tone against a sound card's clock.

use crate::analysis::{self, Clock, Expectation, OppositeExpectation, Refusal};
use crate::job::ClockFacts;
use crate::take::Take;
use crate::units::{Cents, Hz};

/// A clock moves by so much with the warmth of a day and with age, ppm, so it is never known better (from memory: quartz
/// crystals keep within some ppm at room temperature and age by some ppm a year).
const KEEPS_WITHIN_PPM: f64 = 5.0;
/// What holds of any consumer's clock without measuring, ppm.
const UNMEASURED_PPM: f64 = 100.0;
/// Sound of 48 000 samples per second labelled 44 100, or the reverse, as a ratio.
const RATE_RATIO: f64 = 48_000.0 / 44_100.0;
/// How near to that ratio a tone must lie to be taken for it, ppm.
const RATE_WITHIN_PPM: f64 = 2_000.0;

/// Why a tone does not tell the clock.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ToneError {
    /// No tone is heard.
    #[error("no steady tone is heard: {0}")]
    Refused(Refusal),
    /// The tone is that of a wrong sample rate.
    #[error(
        "the tone is heard at {heard} instead of {tone}, the ratio of 48000 to 44100: the sample rate is not what it is said to be"
    )]
    WrongRate {
        /// What was heard.
        heard: Hz,
        /// What sounds.
        tone: Hz,
    },
    /// The tone is another one.
    #[error(
        "the tone is heard at {heard}, {off} from {tone}; no clock is off by more than {} ppm",
        ClockFacts::MOST_PPM
    )]
    OtherTone {
        /// What was heard.
        heard: Hz,
        /// What should sound.
        tone: Hz,
        /// The distance.
        off: Cents,
    },
    /// It would be no gain.
    #[error(
        "this tone tells the clock within {uncertainty_ppm:.0} ppm, and any card is taken to be within 100 ppm without it"
    )]
    NoGain {
        /// Half the 95 % interval, ppm.
        uncertainty_ppm: f64,
    },
}

impl ToneError {
    /// What to do next.
    pub fn next(&self) -> &'static str {
        match self {
            ToneError::Refused(_) => {
                "play the tone evenly for 20 s, near the microphone, or by a cable; nothing else should sound"
            }
            ToneError::WrongRate { .. } => {
                "set the input to its own rate in the system's settings, or correct the file's rate; then measure again"
            }
            ToneError::OtherTone { .. } => {
                "check the frequency that was typed, and that nothing plays it faster or slower"
            }
            ToneError::NoGain { .. } => {
                "use a surer tone, for longer and without noise, and say how sure it is with `--tone-within`"
            }
        }
    }
}

/// How far the clock that recorded `take` is off, when the tone in it is really one of `tone` within `within_ppm`.
pub fn clock_against(take: &Take, tone: Hz, within_ppm: f64) -> Result<Clock, ToneError> {
    let expectation = Expectation {
        pitch: Some(tone),
        opposite: OppositeExpectation::None,
        clock: Clock { error_ppm: 0.0, uncertainty_ppm: 0.0 },
    };
    let (heard, doubt) = analysis::listen(take, &expectation).map_err(ToneError::Refused)?.pitch();
    let ratio = tone.get() / heard.get();
    let error_ppm = 1e6 * (ratio - 1.0);
    if error_ppm.abs() > ClockFacts::MOST_PPM {
        let is_rate = [ratio, 1.0 / ratio]
            .iter()
            .any(|ratio| 1e6 * (ratio / RATE_RATIO - 1.0).abs() <= RATE_WITHIN_PPM);
        return Err(if is_rate {
            ToneError::WrongRate { heard, tone }
        } else {
            ToneError::OtherTone { heard, tone, off: heard.cents_above(tone) }
        });
    }
    let doubt_ppm = 1e6 * ((doubt.get() / 1200.0).exp2() - 1.0);
    let uncertainty_ppm = doubt_ppm.hypot(within_ppm).hypot(KEEPS_WITHIN_PPM);
    if uncertainty_ppm >= UNMEASURED_PPM {
        return Err(ToneError::NoGain { uncertainty_ppm });
    }
    Ok(Clock { error_ppm, uncertainty_ppm })
}
