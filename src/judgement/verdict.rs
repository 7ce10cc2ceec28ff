//! The verdict on one valve: what was heard of the opposite reed, and the joint evidence of the other signs.

use super::against_block::{self, COMPARISON_NEEDS_PLATES};
use super::robust::median;
use super::scatter::Estimate;
use super::{LeakEvidence, Sign, SignKind, Verdict, words};
use crate::analysis::{NotMeasured, Opposite, Reading, Tail, Warning};
use crate::units::Seconds;

/// How far above the block's leak limit the reached limit may lie for "no sign" to rest on it: the level that the method
/// still finds in the shortest and closest takes it judges (-30 dB at the default limit of -40 dB).
const NO_SIGN_ABOVE_LIMIT_DB: f64 = 10.0;
/// Standard deviations of a tight plate towards a leak from which a valve is suspect: 1 of 48 tight valves (2.04) and a
/// little more for what else makes a suspect. Counted in `tests/rooms/judgement/whole_blocks.rs`.
const SUSPECT_FROM: f64 = 2.15;
/// And from which it leaks: with hands that err more wildly than normal fewer than 0.1 of 48 tight valves.
const LEAKS_FROM: f64 = 3.5;
/// A tail that stands out makes a suspect where the other signs lean to a leak by so many standard deviations.
const LEANS_FROM: f64 = 1.2;
/// Log-likelihood ratio of a second tone: one above the leak limit is seen on fewer than 1 of 1000 tight valves; one below
/// it may come through the metal.
const HEARD_TELLS: f64 = 7.0;
const FAINT_TELLS: f64 = 3.0;

/// What all good takes of a reed say of the opposite one.
pub(crate) struct Sounds {
    /// The steady tone.
    steady: Steady,
    /// The loudest and the quietest of the tails.
    tail_heard: Option<f64>,
    tail_limit: Option<f64>,
    lossy: bool,
    clipped: bool,
}

enum Steady {
    /// Heard in so many takes of those that could tell; the middle level.
    Heard {
        level: f64,
        in_most: bool,
    },
    Quiet {
        limit: f64,
    },
    Untold {
        cause: NotMeasured,
        needs: Option<Seconds>,
    },
    NotLooked,
}

impl Sounds {
    pub(crate) fn of<'a>(takes: impl Iterator<Item = &'a Reading>) -> Self {
        let takes: Vec<&Reading> = takes.collect();
        let (mut levels, mut limits, mut untold) = (Vec::new(), Vec::new(), None);
        for take in &takes {
            match take.opposite {
                Opposite::Sounding { level, .. } => levels.push(level.get()),
                Opposite::Quiet { limit, .. } => limits.push(limit.get()),
                Opposite::Unresolved { needs, reason, .. } => {
                    untold = untold.or(Some((reason, needs)));
                }
                Opposite::NotLooked => {}
            }
        }
        let steady = match (median(&levels), limits.iter().copied().reduce(f64::min), untold) {
            (Some(level), ..) => Steady::Heard { level, in_most: levels.len() >= limits.len() },
            (None, Some(limit), _) => Steady::Quiet { limit },
            (None, None, Some((cause, needs))) => Steady::Untold { cause, needs },
            (None, None, None) => Steady::NotLooked,
        };
        let tails = |wanted: fn(&Tail) -> Option<f64>| {
            takes.iter().filter_map(|take| wanted(&take.tail)).collect::<Vec<_>>()
        };
        let heard = tails(|tail| match tail {
            Tail::Heard { level, .. } => Some(level.get()),
            _ => None,
        });
        let quiet = tails(|tail| match tail {
            Tail::Quiet { limit, .. } => Some(limit.get()),
            _ => None,
        });
        Self {
            steady,
            tail_heard: median(&heard).filter(|_| heard.len() >= quiet.len()),
            tail_limit: quiet.iter().copied().reduce(f64::min),
            lossy: takes.iter().any(|take| take.warnings.contains(&Warning::Lossy)),
            clipped: takes
                .iter()
                .all(|take| take.warnings.iter().any(|warning| matches!(warning, Warning::Clipped { .. }))),
        }
    }
}

/// Everything that tells of one valve.
pub(crate) struct ValveEvidence<'a> {
    pub sounds: Sounds,
    /// The signs against the block; `None` where there was nothing to compare with.
    pub estimate: Option<&'a Estimate>,
    pub leak_limit: f64,
    /// From where a tail stands out, and whether that comes from the block.
    pub tail_limit: (f64, bool),
    /// Whether both reeds of the plate have one note: then the second tone tests nothing.
    pub one_note: bool,
    pub opposite_note: f64,
    /// Whether the whole plate is weak or late: then it need not be the valve.
    pub plate_off: bool,
}

impl ValveEvidence<'_> {
    /// The joint estimate, where the level counts in it: without it nothing can be told of the size.
    fn joint(&self) -> Option<&Estimate> {
        self.estimate.filter(|estimate| estimate.has_level())
    }

    /// The signs, what stands out first.
    pub(crate) fn signs(&self) -> Vec<Sign> {
        let quiet = |kind, limit| Sign { kind, value: None, limit, stands_out: false };
        let loud =
            |kind, level: f64, limit| Sign { kind, value: Some(level), limit, stands_out: level >= limit };
        let mut signs = Vec::new();
        match self.sounds.steady {
            Steady::Heard { level, .. } => signs.push(loud(SignKind::SecondTone, level, self.leak_limit)),
            Steady::Quiet { limit } => signs.push(quiet(SignKind::SecondTone, limit)),
            Steady::Untold { .. } | Steady::NotLooked => {}
        }
        match (self.sounds.tail_heard, self.sounds.tail_limit) {
            (Some(level), _) => {
                let mut sign = loud(SignKind::TailTone, level, self.tail_limit.0.max(self.leak_limit));
                // A ring louder than the played reed's is not the opposite tongue.
                sign.stands_out &= level <= 0.0;
                signs.push(sign);
            }
            (None, Some(limit)) => signs.push(quiet(SignKind::TailTone, limit)),
            (None, None) => {}
        }
        signs.extend(self.estimate.into_iter().flat_map(against_block::as_signs));
        signs.sort_by_key(|sign| (!sign.stands_out, sign.kind));
        signs
    }

    /// The figures, the rank still to be given; `None` where nothing usable was recorded.
    pub(crate) fn leak(&self, verdict: &Verdict) -> Option<LeakEvidence> {
        let told = match self.sounds.steady {
            Steady::Heard { level, in_most: true } if level >= self.leak_limit => HEARD_TELLS,
            Steady::Heard { .. } => FAINT_TELLS,
            _ => 0.0,
        };
        if matches!(verdict, Verdict::NotJudged { .. } | Verdict::NoValve) {
            return None;
        }
        let mut leak = self.joint().map_or(LeakEvidence::NONE, Estimate::leak);
        leak.evidence += told;
        Some(leak)
    }

    pub(crate) fn verdict(&self) -> (Verdict, String) {
        let signs = self.signs();
        let out: Vec<&Sign> = signs.iter().filter(|sign| sign.stands_out).collect();
        let deviations = self.joint().map_or(0.0, Estimate::deviations);
        let tone = match self.sounds.steady {
            Steady::Heard { level, in_most } => Some(level >= self.leak_limit && in_most),
            _ => None,
        };
        let tail = out.iter().any(|sign| sign.kind == SignKind::TailTone);
        if tone == Some(true) || (deviations >= LEAKS_FROM && !self.plate_off) {
            return (Verdict::Leaks, self.pointing("consistent with a leak", &out));
        }
        if tone.is_some() {
            let heard: Vec<&Sign> =
                signs.iter().filter(|sign| sign.stands_out || sign.kind == SignKind::SecondTone).collect();
            return (Verdict::Suspect, self.pointing("one weaker sign", &heard));
        }
        if deviations >= SUSPECT_FROM || (tail && deviations >= LEANS_FROM) {
            return (Verdict::Suspect, self.pointing("the signs together lean to a leak", &out));
        }
        self.nothing_found()
    }

    fn pointing(&self, head: &str, signs: &[&Sign]) -> String {
        let mut text = head.to_string();
        let figures = words::signs(signs);
        if !figures.is_empty() {
            text += &format!(": {figures}");
        }
        let leak = self.joint().map(Estimate::leak);
        match leak.and_then(|leak| Some((leak.size?, leak))) {
            Some((size, leak)) => {
                text += if figures.is_empty() { ": " } else { "; " };
                text + &words::size_found(size, leak.low, leak.high, self.opposite_note)
            }
            None => text,
        }
    }

    fn nothing_found(&self) -> (Verdict, String) {
        let enough = |limit: &f64| *limit <= self.leak_limit + NO_SIGN_ABOVE_LIMIT_DB;
        let lossy = if self.sounds.lossy {
            "; the file was stored by a lossy coder, which may have removed a weak tone"
        } else {
            ""
        };
        let mut clauses = Vec::new();
        let joint = self.joint().map(Estimate::leak);
        let tail = self.sounds.tail_limit.filter(enough);
        let steady = match self.sounds.steady {
            Steady::Quiet { limit } => Some(limit).filter(enough),
            _ => None,
        };
        if let (Some(limit), false) = (steady, self.one_note && joint.is_some()) {
            clauses.push(format!("the opposite reed lies below {limit:.0} dB"));
        }
        if let Some(leak) = joint {
            let untested = match self.sounds.steady {
                _ if self.one_note => {
                    "both reeds have one note, so the second tone does not test this valve; "
                }
                Steady::Untold { .. } | Steady::NotLooked => "the second tone could not be asked here; ",
                _ => "",
            };
            clauses.push(format!("{untested}{}", words::would_have_shown(leak.high, self.opposite_note)));
        } else if let (None, Some(limit)) = (steady, tail) {
            clauses.push(format!("after the air stops the opposite reed lies below {limit:.0} dB"));
        }
        if !clauses.is_empty() {
            return (Verdict::NoSign, clauses.join("; ") + lossy);
        }
        self.not_judged()
    }

    /// Neither the opposite reed could be asked nor the block.
    fn not_judged(&self) -> (Verdict, String) {
        let few = format!(
            "and with fewer than {COMPARISON_NEEDS_PLATES} plates measured on both strokes, or no level of this one, there is nothing to compare it with"
        );
        let (cause, needs, why) = match &self.sounds.steady {
            _ if self.sounds.clipped => (Some(NotMeasured::Clipped), None, NotMeasured::Clipped.to_string()),
            Steady::Quiet { limit } => {
                let why = format!(
                    "only a tone above {limit:.0} dB would have been heard, and the block's leak limit is {:.0} dB",
                    self.leak_limit
                );
                (Some(NotMeasured::TooNoisy), None, why)
            }
            Steady::Untold { cause, .. } if self.one_note => (
                Some(*cause),
                None,
                "both reeds have one note, so the second tone does not test this valve".into(),
            ),
            Steady::Untold { cause, needs } => (Some(*cause), *needs, cause.to_string()),
            Steady::NotLooked | Steady::Heard { .. } => {
                (None, None, "the opposite reed was not looked for".to_string())
            }
        };
        let needs = needs.filter(|needs: &Seconds| needs.get() > 0.0);
        let would_do = needs.map_or(String::new(), |needs| format!(" ({:.1} s would do)", needs.get()));
        (Verdict::NotJudged { cause, needs }, format!("{why}{would_do}, {few}"))
    }
}
