//! What holds for a valve, reed and plate after any passes and notes, in order of time.

use std::collections::BTreeMap;

use jiff::Timestamp;
use platenote::instrument::{Face, Instrument, ReedPlace, Stroke, ValvePlace};
use platenote::judgement::{
    Findings, ReedFinding, ReedPitch, Sign, SignKind, Swap, Tune, ValveFinding, Verdict,
};
use platenote::repair::{
    Happening, Mark, PassEvidence, PlateLies, ReedState, Standing, TakeMoment, ValveVerdict, Work,
};
use platenote::units::{Cents, Hz, Measured};
use proptest::prelude::*;

use super::plan;

const ROWS: &str = "[[block.row]]\nname = \"A\"\nnotes = [\"E2\", \"F2\"]\nvalves_mm = 38\n";
/// No sealing test.
static NONE: BTreeMap<ReedPlace, TakeMoment> = BTreeMap::new();
const NOT_JUDGED: Verdict = Verdict::NotJudged { cause: None, needs: None };

/// Something that happens to the outer valve of A1, one an hour.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Told {
    /// A take: the second tone at this level, dB, or none down to this limit.
    Leaks(f64),
    NoSign(f64),
    Suspect,
    NotJudged,
    /// A pass without a take of it.
    Elsewhere,
    Fitted,
    Off,
    Kept,
}

fn hour(n: usize) -> Timestamp {
    let start: Timestamp = "2026-03-02T08:00:00Z".parse().expect("a time");
    start + jiff::SignedDuration::from_hours(i64::try_from(n).expect("few"))
}

fn sign(value: Option<f64>, limit: f64) -> Sign {
    Sign { kind: SignKind::SecondTone, value, limit, stands_out: value.is_some_and(|level| level >= -40.0) }
}

fn findings(instrument: &Instrument, n: usize, told: Told) -> Findings {
    let (verdict, signs) = match told {
        Told::Leaks(level) => (Verdict::Leaks, vec![sign(Some(level), -40.0)]),
        Told::NoSign(limit) => (Verdict::NoSign, vec![sign(None, limit)]),
        Told::Suspect => (Verdict::Suspect, vec![sign(Some(-45.0), -40.0)]),
        _ => (NOT_JUDGED, Vec::new()),
    };
    let place: ValvePlace = instrument.valve_place("A1 outer").expect("a place");
    let valve = ValveFinding {
        place,
        heard_on: Stroke::Press,
        verdict,
        leak: None,
        signs,
        reason: format!("told in step {n}"),
        next: String::new(),
    };
    Findings {
        pass: format!("pass-{n}"),
        reeds: Vec::new(),
        valves: vec![valve],
        swaps: Vec::new(),
        shifts: Vec::new(),
        warnings: Vec::new(),
    }
}

fn reed(instrument: &Instrument, place: &str) -> ReedPlace {
    instrument.reed_place(place).expect("a reed")
}

fn moment(n: usize) -> TakeMoment {
    TakeMoment { n: 1, at: hour(n), day: hour(n).to_zoned_datetime(jiff::tz::TimeZone::UTC).date() }
}

fn mark(instrument: &Instrument, n: usize, place: &str, work: &str) -> Happening {
    let spots = instrument.spots(place).expect("a place");
    let (work, day) = (Work::parse(&[work]).expect("work"), moment(n).day);
    Happening::Mark(Mark { n: n as u32 + 1, at: hour(n), day, spots, work, undone: false })
}

/// The standing after everything that was told.
fn after(told: &[Told]) -> Standing {
    let (instrument, rule) = plan(ROWS);
    let mut passes: Vec<(Findings, BTreeMap<ReedPlace, TakeMoment>)> = Vec::new();
    let mut happenings = Vec::new();
    for (n, told) in told.iter().enumerate() {
        let work = match told {
            Told::Fitted => "valve fitted 38 mm new",
            Told::Off => "valve off",
            Told::Kept => "valve kept",
            _ => {
                let place = if *told == Told::Elsewhere { "A2 press" } else { "A1 press" };
                let takes = BTreeMap::from([(reed(&instrument, place), moment(n))]);
                passes.push((findings(&instrument, n, *told), takes));
                continue;
            }
        };
        happenings.push(mark(&instrument, n, "A1 outer", work));
    }
    let passes: Vec<PassEvidence> =
        passes.iter().map(|(findings, takes)| PassEvidence { findings, takes, plays: &NONE }).collect();
    Standing::of(&instrument, &rule, &happenings, &passes)
}

/// State and the pass of its evidence.
fn state(told: &[Told]) -> (ValveVerdict, Option<String>) {
    let (instrument, _) = plan(ROWS);
    let standing = after(told);
    let valve = standing.valve(&instrument.valve_place("A1 outer").expect("a place")).expect("a standing");
    (valve.state, valve.evidence.as_ref().map(|told| told.pass.clone()))
}

fn is(state: (ValveVerdict, Option<String>), wanted: ValveVerdict, pass: Option<usize>) {
    assert_eq!(state, (wanted, pass.map(|n| format!("pass-{n}"))));
}

#[test]
fn the_newest_evidence_that_answers_the_question_holds() {
    use Told::{Elsewhere, Fitted, Kept, Leaks, NoSign, NotJudged, Off, Suspect};
    is(state(&[]), ValveVerdict::NotRecorded, None);
    is(state(&[Elsewhere]), ValveVerdict::NotRecorded, None);
    is(state(&[NotJudged]), ValveVerdict::NotJudged, None);
    is(state(&[Leaks(-26.0), Elsewhere, NotJudged]), ValveVerdict::Leaks, Some(0));
    is(state(&[NoSign(-50.0), Leaks(-26.0)]), ValveVerdict::Leaks, Some(1));
    is(state(&[Leaks(-26.0), NoSign(-50.0)]), ValveVerdict::NoSign, Some(1));
    // A take that would not have heard it answers nothing, nor does a weaker sign of the same leak.
    is(state(&[Leaks(-36.0), NoSign(-32.0)]), ValveVerdict::Leaks, Some(0));
    is(state(&[Leaks(-26.0), Suspect]), ValveVerdict::Leaks, Some(0));
    is(state(&[Leaks(-26.0), Kept]), ValveVerdict::Leaks, Some(0));
    // A change makes it historic, not gone, and only what is heard after it speaks.
    is(state(&[Leaks(-26.0), Fitted]), ValveVerdict::Changed, Some(0));
    is(state(&[Leaks(-26.0), Fitted, NotJudged]), ValveVerdict::Changed, Some(0));
    is(state(&[Leaks(-36.0), Fitted, NoSign(-32.0)]), ValveVerdict::Changed, Some(0));
    is(state(&[Leaks(-26.0), Fitted, NoSign(-50.0)]), ValveVerdict::NoSign, Some(2));
    is(state(&[Leaks(-26.0), Fitted, Suspect]), ValveVerdict::Suspect, Some(2));
    is(state(&[NoSign(-50.0), Off]), ValveVerdict::Off, Some(0));
    is(state(&[Leaks(-26.0), Off, Fitted, Leaks(-30.0)]), ValveVerdict::Leaks, Some(3));
}

#[test]
fn another_plate_in_its_place_answers_nothing() {
    let (instrument, rule) = plan(ROWS);
    let swap = Swap {
        places: ["A1", "A2"].map(|at| reed(&instrument, &format!("{at} press")).plate).into(),
        sure: true,
    };
    let takes = BTreeMap::from([(reed(&instrument, "A1 press"), moment(1))]);
    let first = BTreeMap::from([(reed(&instrument, "A1 press"), moment(0))]);
    let before = findings(&instrument, 0, Told::Leaks(-26.0));
    let swapped = Findings { swaps: vec![swap], ..findings(&instrument, 1, Told::NoSign(-50.0)) };
    let passes = [
        PassEvidence { findings: &before, takes: &first, plays: &NONE },
        PassEvidence { findings: &swapped, takes: &takes, plays: &NONE },
    ];
    let standing = Standing::of(&instrument, &rule, &[], &passes);
    let valve = standing.valve(&instrument.valve_place("A1 outer").expect("a place")).expect("a standing");
    assert_eq!(valve.state, ValveVerdict::Leaks);
    assert!(valve.reason().contains("another plate lies here"), "{}", valve.reason());
    assert_eq!(standing.swaps.len(), 1);
    // A later pass that shows no swap any more: they were put right.
    let again = BTreeMap::from([
        (reed(&instrument, "A1 press"), moment(2)),
        (reed(&instrument, "A2 press"), moment(2)),
    ]);
    let right = findings(&instrument, 2, Told::NoSign(-50.0));
    let passes =
        [passes.as_slice(), &[PassEvidence { findings: &right, takes: &again, plays: &NONE }]].concat();
    let standing = Standing::of(&instrument, &rule, &[], &passes);
    assert!(standing.swaps.is_empty());
}

#[test]
fn work_on_a_reed_asks_for_a_new_pitch_and_a_plate_lies_where_it_was_put() {
    let (instrument, rule) = plan(ROWS);
    let place = reed(&instrument, "A1 press");
    let cents = |value| Cents::new(value).expect("cents");
    let pitch = |off: f64, tune| ReedFinding {
        place: place.clone(),
        note: instrument.reeds().next().expect("a reed").1.note,
        target: Hz::new(82.0).expect("a pitch"),
        pitch: Ok(ReedPitch {
            f0: Hz::new(82.0).expect("a pitch"),
            deviation: Measured { value: cents(off), uncertainty: cents(0.2) },
            tune: Some(tune),
        }),
        warnings: Vec::new(),
    };
    let with = |n, off, tune| Findings {
        reeds: vec![pitch(off, tune)],
        ..findings(&instrument, n, Told::NotJudged)
    };
    let (flat, good) = (with(0, -8.0, Tune::Raise), with(3, 0.1, Tune::Leave));
    let takes = [0, 3].map(|n| BTreeMap::from([(place.clone(), moment(n))]));
    let passes = [(&flat, &takes[0]), (&good, &takes[1])].map(|(findings, takes)| PassEvidence {
        findings,
        takes,
        plays: &NONE,
    });
    let notes = [mark(&instrument, 1, "A1", "lifted"), mark(&instrument, 2, "A1 press", "tuned")];
    let state = |notes: &[Happening], passes: &[PassEvidence]| {
        let standing = Standing::of(&instrument, &rule, notes, passes);
        let plate = standing.plate(&place.plate).expect("a plate").state;
        (standing.reed(&place).expect("a reed").state, plate)
    };
    assert_eq!(state(&[], &passes[..1]), (ReedState::Raise, PlateLies::InPlace));
    assert_eq!(state(&notes, &passes[..1]), (ReedState::WorkedOn, PlateLies::Lifted));
    assert_eq!(state(&notes, &passes), (ReedState::InTune, PlateLies::Lifted));
    let whole = Standing::of(&instrument, &rule, &notes, &passes);
    assert_eq!(
        whole.reed(&place).expect("a reed").heard.len(),
        2,
        "every pitch is kept for the years to come"
    );
}

fn any_told() -> impl Strategy<Value = Told> {
    prop_oneof![
        (-38.0..-20.0).prop_map(Told::Leaks),
        (-60.0..-28.0).prop_map(Told::NoSign),
        Just(Told::Suspect),
        Just(Told::NotJudged),
        Just(Told::Elsewhere),
        Just(Told::Fitted),
        Just(Told::Off),
        Just(Told::Kept),
    ]
}

proptest! {
    /// Whatever happened before: what does not answer changes nothing, and a change is open until it is heard.
    #[test]
    fn nothing_is_forgotten_and_nothing_claimed(history in proptest::collection::vec(any_told(), 0..12)) {
        let with = |last: Told| [history.as_slice(), &[last]].concat();
        let now = state(&history);
        prop_assert_eq!(state(&with(Told::Elsewhere)), now.clone());
        prop_assert_eq!(state(&with(Told::Kept)).1, now.1.clone());
        let unjudged = state(&with(Told::NotJudged));
        if now.0 == ValveVerdict::NotRecorded {
            prop_assert_eq!(unjudged.0, ValveVerdict::NotJudged);
        } else {
            prop_assert_eq!(unjudged, now.clone());
        }
        prop_assert_eq!(state(&with(Told::Fitted)).0, ValveVerdict::Changed);
        if now.0 != ValveVerdict::Off {
            prop_assert_eq!(state(&with(Told::Leaks(-25.0))).0, ValveVerdict::Leaks);
        }
        // No verdict without a take that gave it.
        let gave = |wanted: fn(&Told) -> bool| history.iter().any(wanted);
        match now.0 {
            ValveVerdict::Leaks => prop_assert!(gave(|told| matches!(told, Told::Leaks(_)))),
            ValveVerdict::NoSign => prop_assert!(gave(|told| matches!(told, Told::NoSign(_)))),
            ValveVerdict::Suspect => prop_assert!(gave(|told| *told == Told::Suspect)),
            ValveVerdict::Changed => prop_assert!(gave(|told| matches!(told, Told::Fitted | Told::Off))),
            ValveVerdict::Off => prop_assert!(gave(|told| *told == Told::Off)),
            _ => {}
        }
        // The face is the one that was told of; the other was never heard.
        let (instrument, _) = plan(ROWS);
        let inner = ValvePlace { face: Face::Inner, ..instrument.valve_place("A1 outer").expect("a place") };
        prop_assert_eq!(after(&history).valve(&inner).expect("a standing").state, ValveVerdict::NotRecorded);
    }
}
