//! Samples in, reading out: no files, devices, clock, chance or printing.

mod bands;
mod between_partials;
mod close_up;
mod course;
mod envelope;
pub(crate) mod fundamental;
mod hearing;
mod likelihood;
mod noise_beside;
mod octave;
mod onset;
mod opposite;
mod pair;
mod partials;
mod plans;
mod play_curves;
mod reading;
mod second_tone;
mod shared_level;
mod sidebands;
mod signal;
mod smoother;
pub(crate) mod spectrum;
mod steady;
mod tail;
mod turning;

pub use opposite::steady_to_tell_apart;
// Plays of a sealing test are compared by the program itself; not for others yet.
#[doc(hidden)]
pub use play_curves::{COMPARED_PARTIALS, Play, PlayFrame, PlayKind, play_curves};
pub use reading::{
    Clock, CloseUp, Doubt, Expectation, NotMeasured, Opposite, OppositeDetail, OppositeExpectation,
    OppositeLine, Partial, Reading, Refusal, SoundingReed, Tail, Warning,
};

use std::rc::Rc;

use hearing::Hearing;
use signal::Signal;

use crate::take::Take;
use crate::units::{Cents, Decibels, Hz};

/// A take that has been listened to: its pitch is known, the opposite reed has not been looked for yet.
///
/// In two halves, because the opposite reed's pitch is known only once the other stroke's take has been heard.
pub struct Heard {
    hearing: Hearing,
    expected: Option<Hz>,
    lossy: bool,
    remarks: Vec<String>,
}

/// Wander worth a word, cents over the steady stretch.
const WORTH_A_WORD_CENTS: f64 = 4.0;
/// A tone this little above the noise is worth a word, dB.
const NOISY_DB: f64 = 20.0;
/// So far from the expected note is worth a word, cents.
const UNEXPECTED_CENTS: f64 = 60.0;
impl Heard {
    /// The sounding reed's pitch and half its 95 % interval.
    pub fn pitch(&self) -> (Hz, Cents) {
        (self.hearing.f0, self.hearing.uncertainty())
    }

    /// Look for the opposite reed and give the whole reading. Asked a second time it may answer otherwise: what it has
    /// told apart stays told apart.
    pub fn reading(&mut self, opposite: OppositeExpectation) -> Reading {
        let hearing = &mut self.hearing;
        opposite::tell_apart(hearing, opposite);
        let look = |hearing: &Hearing| {
            let stretch = sidebands::stretch(hearing);
            let lines = Rc::new(sidebands::beside_partials(hearing, &stretch, &[]));
            (stretch, lines)
        };
        let mut seen = look(hearing);
        let octave = if hearing.pair.is_none() { octave::octave(hearing, &seen.1) } else { None };
        if octave.is_some() {
            // The low reed is followed by its odd partials from here on.
            seen = look(hearing);
        }
        let reeds = sounding_reeds(hearing, octave.as_ref());
        let untold = if hearing.signal.is_badly_clipped() {
            Some(NotMeasured::Clipped)
        } else {
            hearing.pair.as_ref().map(|_| NotMeasured::SeveralReeds)
        };
        let bare = |opposite| (opposite, OppositeDetail::default());
        let ((opposite, opposite_detail), tail) = match untold {
            _ if opposite == OppositeExpectation::None => {
                (bare(Opposite::NotLooked), tail::tail(hearing, opposite))
            }
            Some(reason) => (
                bare(opposite::fully(hearing, opposite).unwrap_or(Opposite::Unresolved {
                    evidence: 0.0,
                    needs: None,
                    reason,
                })),
                Tail::NotMeasured(reason),
            ),
            None => (opposite::opposite(hearing, opposite, seen), tail::tail(hearing, opposite)),
        };
        let count = reeds.len();
        Reading {
            f0: hearing.f0,
            uncertainty: hearing.uncertainty(),
            doubt: hearing.doubt,
            steady: hearing.steady,
            level: course::level(hearing),
            onset: onset::onset(hearing),
            breath: course::breath(hearing),
            pitch_per_db: course::pitch_per_db(hearing),
            partials: partial_levels(hearing),
            opposite,
            opposite_detail,
            tail,
            reeds,
            warnings: self.warnings(count),
        }
    }

    /// The neighbourhood of the partial in which a second tone shows best, as [`Heard::reading`] saw it.
    ///
    /// `second` is the tone to look at and `partial` the partial, so that two takes can be drawn alike; without them the
    /// reading's own tone and the partial that shows it best.
    pub fn close_up(
        &self,
        reading: &Reading,
        second: Option<Cents>,
        partial: Option<u32>,
    ) -> Option<CloseUp> {
        close_up::close_up(&self.hearing, reading, second, partial)
    }

    fn warnings(&self, n_reeds: usize) -> Vec<Warning> {
        let hearing = &self.hearing;
        let mut warnings = Vec::new();
        if n_reeds > 1 {
            warnings.push(Warning::SeveralReeds { count: n_reeds });
        }
        if !hearing.signal.clipped.is_empty() {
            warnings.push(Warning::Clipped { count: hearing.signal.clipped.len() });
        }
        if hearing.signal.not_finite > 0 {
            warnings.push(Warning::NotFinite { count: hearing.signal.not_finite });
        }
        let range = hearing::pitch_range(hearing);
        if range > WORTH_A_WORD_CENTS && n_reeds < 2 {
            warnings.push(Warning::Wandering { range });
        }
        let snr = course::tone_over_noise(hearing);
        if snr < NOISY_DB {
            warnings.push(Warning::Noisy { snr });
        }
        if let Some(expected) = self.expected {
            let cents = hearing.f0.cents_above(expected).get();
            if cents.abs() > UNEXPECTED_CENTS {
                warnings.push(Warning::Unexpected { cents });
            }
        }
        if let Some(stranger) =
            hearing.coarse.stranger.filter(|s| n_reeds < 2 && s.hz > 0.7 * hearing.coarse.hz)
        {
            warnings.push(Warning::OtherTone { hz: stranger.hz });
        }
        if self.lossy {
            warnings.push(Warning::Lossy);
        }
        warnings.extend(self.remarks.iter().cloned().map(Warning::Remark));
        warnings
    }
}

/// The reeds that sound fully together, low to high; empty for one alone.
fn sounding_reeds(hearing: &Hearing, octave: Option<&octave::OctaveReed>) -> Vec<SoundingReed> {
    let level = |ratio: f64| Decibels::new(10.0 * ratio.max(1e-12).log10()).unwrap_or(Decibels::ZERO);
    let clock = hearing.doubt.clock.get();
    let reed = |hz: f64, uncertainty: f64, ratio: f64| SoundingReed {
        f0: hearing.corrected(hz),
        uncertainty: hearing::cents(uncertainty.hypot(clock)),
        level: level(ratio),
    };
    if let Some(pair) = &hearing.pair {
        let stronger = pair.high_over_low.max(1.0);
        return vec![
            reed(pair.low.0, pair.low.1, 1.0 / stronger),
            reed(pair.high.0, pair.high.1, pair.high_over_low / stronger),
        ];
    }
    octave.map_or_else(Vec::new, |octave| {
        let stronger = octave.power_ratio.max(1.0);
        let high = 2.0 * hearing.measured_hz * (octave.cents / 1200.0).exp2();
        let own = hearing.uncertainty().get();
        vec![
            reed(hearing.measured_hz, own, 1.0 / stronger),
            reed(high, own.hypot(octave.uncertainty), octave.power_ratio / stronger),
        ]
    })
}

fn partial_levels(hearing: &Hearing) -> Vec<Partial> {
    let strongest =
        hearing.partials.bands.iter().map(|band| band.amplitude.norm_sqr()).fold(1e-300, f64::max);
    let level = |ratio: f64| Decibels::new(10.0 * ratio.max(1e-30).log10()).unwrap_or(Decibels::ZERO);
    hearing
        .partials
        .bands
        .iter()
        .map(|band| Partial {
            number: band.number as u32,
            level: level(band.amplitude.norm_sqr() / strongest),
            above_noise: level(band.amplitude.norm_sqr() / band.noise),
        })
        .collect()
}

/// Listen to one take: everything but the opposite reed.
///
/// # Example
/// The pitch of either stroke of a plate is what the other stroke's opposite reed is looked for by:
/// ```
/// # use platenote::analysis::{Expectation, OppositeExpectation, listen};
/// # use platenote::take::Take;
/// # let tone = |hz: f64| {
/// #     let wave = |n: u32| (1..6).map(|k| 0.1 * (std::f64::consts::TAU * hz * f64::from(k * n) / 48e3).sin()).sum::<f64>();
/// #     Take::new((0..96_000).map(|n| wave(n) as f32).collect(), 48_000)
/// # };
/// let (press, draw) = (tone(440.0), tone(441.5));
/// let (pitch, within) = listen(&draw, &Expectation::default())?.pitch();
/// let mut heard = listen(&press, &Expectation::default())?;
/// let reading = heard.reading(OppositeExpectation::Known { pitch, within });
/// println!("{:?}", reading.opposite);
/// # Ok::<(), platenote::analysis::Refusal>(())
/// ```
#[must_use = "listening changes nothing by itself"]
pub fn listen(take: &Take, expectation: &Expectation) -> Result<Heard, Refusal> {
    Ok(Heard {
        hearing: Hearing::new(take, expectation)?,
        expected: expectation.pitch,
        lossy: take.lossy,
        remarks: take.remarks.clone(),
    })
}

/// Read one take: pitch with its uncertainty, level, onset, breath, the opposite reed in tone and tail, warnings.
///
/// # Example
/// ```
/// use platenote::analysis::{Expectation, Refusal, read};
/// use platenote::take::Take;
///
/// let silence = Take::new(vec![0.0; 48_000], 48_000);
/// assert_eq!(read(&silence, &Expectation::default()), Err(Refusal::Silent));
/// ```
#[must_use = "reading changes nothing by itself"]
pub fn read(take: &Take, expectation: &Expectation) -> Result<Reading, Refusal> {
    Ok(listen(take, expectation)?.reading(expectation.opposite))
}
