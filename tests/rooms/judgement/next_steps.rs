//! What the restorer is told to do about a valve that could not be judged.

use platenote::analysis::{NotMeasured, Opposite};
use platenote::instrument::{Face, Stroke};
use platenote::judgement::{ValveFinding, Verdict, judge};

use super::built::{change, in_tune, instrument, reed, seconds, valve};

/// Plate 2's press stroke, too few plates to compare with, in which the opposite reed could not be told for this reason.
fn unresolved(reason: NotMeasured, needs: Option<f64>) -> ValveFinding {
    let plan = instrument(3);
    let mut pass = in_tune(&plan);
    change(&mut pass, &reed(2, Stroke::Press), |reading| {
        reading.opposite = Opposite::Unresolved { evidence: 0.0, needs: needs.map(seconds), reason };
    });
    valve(&judge(&plan, &pass), 2, Face::Outer).clone()
}

/// Another take cures each of these in another way: less noise, one rank instead of several, the other stroke's pitch.
#[test]
fn each_reason_for_not_judging_gets_the_advice_that_removes_it() {
    for (reason, advice) in [
        (NotMeasured::Clipped, "bass A2 press again, softer or with the input turned down"),
        (NotMeasured::TooNoisy, "bass A2 press again, nearer to the microphone or in a quieter room"),
        (NotMeasured::SeveralReeds, "bass A2 press again with one rank sounding only"),
        (NotMeasured::OppositeUnknown, "bass A2 draw too"),
        (NotMeasured::TooShort { lasts: 0.2, needs: 0.5 }, "bass A2 press again, longer and steadier"),
    ] {
        let found = unresolved(reason, None);
        assert_eq!(found.verdict, Verdict::NotJudged { cause: Some(reason), needs: None });
        assert!(found.next.contains(advice), "{reason:?}: {}", found.next);
    }
}

/// A length of no time at all, as an old job record may hold, settles nothing: nobody is told to hold a note for it.
#[test]
fn no_length_is_asked_for_where_none_would_do() {
    for needs in [0.0, -1.0] {
        let found = unresolved(NotMeasured::TooClose { steady: 3.0 }, Some(needs));
        assert!(matches!(found.verdict, Verdict::NotJudged { needs: None, .. }), "{:?}", found.verdict);
        assert!(!found.reason.contains("would do"), "{}", found.reason);
        assert!(!found.next.contains("hold the note"), "{}", found.next);
    }
}
