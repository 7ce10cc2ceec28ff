//! The sentences of a valve finding: what stands out, and what to do next.

use super::{LeakEvidence, Sign, SignKind, ValveFinding, Verdict, leak_size};
use crate::analysis::NotMeasured;
use crate::instrument::{Face, PlatePlace, ReedPlace};

/// Longer than this nobody holds a bass note steady on one stroke, s (common practice, no source).
const LONGEST_NOTE_S: f64 = 12.0;

/// The figures of signs, as one clause; those of which nothing was heard have none.
pub(crate) fn signs(signs: &[&Sign]) -> String {
    let figure = |sign: &&Sign| Some(self::figure(sign.kind, sign.value?, sign.limit));
    signs.iter().filter_map(figure).collect::<Vec<_>>().join("; ")
}

/// A size that was found, in the restorer's words.
pub(crate) fn size_found(size: f64, low: Option<f64>, high: Option<f64>, note: f64) -> String {
    let at_least = match low {
        Some(low) if low > 0.0 => format!("at least {}", millimetres(low, note)),
        _ => "no lower bound".to_string(),
    };
    let at_most = high.map_or(String::new(), |high| format!(", at most {}", millimetres(high, note)));
    format!("as if the valve stood off by {} ({at_least}{at_most})", millimetres(size, note))
}

/// Down to which size a leak would have shown.
pub(crate) fn would_have_shown(high: Option<f64>, note: f64) -> String {
    match high {
        Some(high) => {
            format!(
                "a valve standing off by {} would have shown in level, start and pitch",
                millimetres(high, note)
            )
        }
        None => "nothing stands out of the scatter of this block, and no size of leak surely would have"
            .to_string(),
    }
}

fn millimetres(size: f64, note: f64) -> String {
    let slit = leak_size::slit_mm(size, note);
    if slit < 0.095 { format!("{slit:.2} mm") } else { format!("{slit:.1} mm") }
}

/// Name the place in the order to look, for valves in the first third of those that were judged and that stay unsure.
pub(crate) fn order_to_look(finding: &mut ValveFinding, judged: usize, note: Option<f64>) {
    let Some(LeakEvidence { rank: Some(rank), size, .. }) = finding.leak else { return };
    if finding.verdict != Verdict::NoSign || 3 * rank as usize > judged {
        return;
    }
    let as_if = size.zip(note).map_or(String::new(), |(size, note)| {
        format!(", which sounds as if it stood off by {}", millimetres(size, note))
    });
    finding.next = format!(
        "not cleared: number {rank} of {judged} in the order to look{as_if}; the sealing test compares it open and sealed"
    );
}

/// What to do next about a valve that was listened to.
pub(crate) fn next(verdict: &Verdict, reed: &ReedPlace, face: Face, one_note: bool) -> String {
    match verdict {
        Verdict::Leaks => match face {
            Face::Outer => {
                "the plate stays in place, the valve is in reach: look whether it lies flat and shuts".into()
            }
            Face::Inner => "lift the plate: look whether the valve behind it lies flat and shuts".into(),
        },
        Verdict::Suspect => format!(
            "record {reed} again, softer: signs of a leak grow at low pressure; or seal the valve and compare"
        ),
        Verdict::NotJudged { cause: Some(NotMeasured::TooClose { .. }), .. } if one_note => {
            "record more plates of this block on both strokes, or seal the valve and compare".into()
        }
        Verdict::NotJudged { needs: Some(needs), .. } if needs.get() <= LONGEST_NOTE_S => {
            format!("record {reed} again and hold the note steady for {:.1} s", needs.get())
        }
        Verdict::NotJudged { cause, .. } => match cause {
            Some(NotMeasured::Clipped) => {
                format!("record {reed} again, softer or with the input turned down")
            }
            Some(NotMeasured::TooNoisy) => {
                format!("record {reed} again, nearer to the microphone or in a quieter room")
            }
            Some(NotMeasured::TooClose { .. }) => format!(
                "the reeds are too close to be told apart by pitch; seal the valve and compare {reed} open and sealed"
            ),
            Some(NotMeasured::SeveralReeds) => format!("record {reed} again with one rank sounding only"),
            Some(NotMeasured::OppositeUnknown) => format!("record {} too", other_stroke(reed)),
            _ => format!("record {reed} again, longer and steadier"),
        },
        Verdict::NoSign | Verdict::Tight | Verdict::NoValve => String::new(),
    }
}

/// Sentences on plates that depart on both strokes.
pub(crate) fn both_strokes(plates: &[(PlatePlace, SignKind)]) -> Vec<String> {
    plates
        .iter()
        .map(|(place, kind)| {
            let how = if *kind == SignKind::SlowStart { "slow to start" } else { "weak" };
            format!(
                "{place} is {how} on both strokes against its neighbours: look at the pallet, the block's seat, the wax and both valves"
            )
        })
        .collect()
}

/// One sign's figure and its limit.
fn figure(kind: SignKind, value: f64, limit: f64) -> String {
    match kind {
        SignKind::SecondTone => {
            format!("the opposite reed sounds along at {value:.0} dB (a leak from {limit:.0} dB up)")
        }
        SignKind::TailTone => {
            format!(
                "after the air stops the opposite reed rings at {value:.0} dB (stands out from {limit:.0} dB up)"
            )
        }
        SignKind::Breath => format!("breath {value:+.1} dB against the block (limit {limit:+.1} dB)"),
        SignKind::SlowStart => {
            format!("the start takes {value:.2} times as long as expected (limit {limit:.2})")
        }
        SignKind::WeakTone if value < 0.0 => {
            format!("the tone is {:.1} dB stronger than expected (limit {:.1} dB)", -value, -limit)
        }
        SignKind::WeakTone => format!("the tone is {value:.1} dB weaker than expected (limit {limit:.1} dB)"),
        SignKind::PitchPull => {
            format!(
                "the pitch lies {value:+.1} cents from what the other stroke suggests (limit {limit:+.1})"
            )
        }
    }
}

fn other_stroke(reed: &ReedPlace) -> ReedPlace {
    ReedPlace { plate: reed.plate.clone(), stroke: reed.stroke.other() }
}
