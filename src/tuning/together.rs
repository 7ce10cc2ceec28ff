//! Two ranks that sound together: the beats heard, against those of the two reeds alone.

use crate::instrument::ReedPlace;
use crate::units::{Cents, Hz};

/// A reed of several is looked for this near to where it sounds alone, cents: reeds pull each other by far less.
const OWN_PITCH_CENTS: f64 = 30.0;

/// A take in which reeds of two ranks sound on purpose.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeTogether {
    /// The reed the take is of.
    pub place: ReedPlace,
    /// The reed that sounds along.
    pub with: ReedPlace,
    /// The stored file, seen from the job folder.
    pub file: String,
    /// The beats, or why they are not told.
    pub beats: Result<Together, String>,
}

/// Beats of two ranks sounding together, heard and as their single takes would give them.
///
/// Ranks an octave apart beat at the upper reed's fundamental: the lower one counts with its second harmonic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Together {
    /// Heard while both sound, per second.
    pub heard: f64,
    /// The difference of the two single reeds, per second.
    pub computed: f64,
    /// Half the 95 % interval of heard less computed.
    pub uncertainty: f64,
}

impl Together {
    /// From the two pitches heard together and the two heard alone, each with half its 95 % interval.
    pub fn of(together: [(Hz, Cents); 2], alone: [(Hz, Cents); 2]) -> Self {
        let (low, high) = (alone[0].0.get().min(alone[1].0.get()), alone[0].0.get().max(alone[1].0.get()));
        let harmonic = (high / low).round().max(1.0);
        let at = |hz: Hz| {
            if harmonic > 1.0 && hz.get() * harmonic.sqrt() < high { hz.get() * harmonic } else { hz.get() }
        };
        let beats = |pair: [(Hz, Cents); 2]| (at(pair[0].0) - at(pair[1].0)).abs();
        let doubt = |(hz, cents): (Hz, Cents)| at(hz) * ((cents.get() / 1200.0).exp2() - 1.0);
        let all = together.into_iter().chain(alone).map(doubt).fold(0.0, f64::hypot);
        Self { heard: beats(together), computed: beats(alone), uncertainty: all }
    }

    /// The same from all pitches heard in a take; `None` where the two reeds are not among them.
    pub fn among(heard: &[(Hz, Cents)], alone: [(Hz, Cents); 2]) -> Option<Self> {
        let off = |at: usize, own: usize| heard[at].0.cents_above(alone[own].0).abs().get();
        let all = 0..heard.len();
        let pairs = all.clone().flat_map(|first| all.clone().map(move |second| (first, second)));
        let fitting = pairs.filter(|(first, second)| {
            first != second && off(*first, 0).max(off(*second, 1)) <= OWN_PITCH_CENTS
        });
        let nearest = |(first, second): &(usize, usize)| off(*first, 0) + off(*second, 1);
        let (first, second) = fitting.min_by(|left, right| nearest(left).total_cmp(&nearest(right)))?;
        Some(Self::of([heard[first], heard[second]], alone))
    }

    /// How much the reeds pull each other, beats per second; `None` where the doubt hides it.
    pub fn pull(&self) -> Option<f64> {
        let pull = self.heard - self.computed;
        (pull.abs() > self.uncertainty).then_some(pull)
    }
}
