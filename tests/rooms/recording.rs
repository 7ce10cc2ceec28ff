//! A session at the bench without a device: sound in, takes in the job, what is said on the way.

use crate::bench::played::played;
use crate::bench::tone::{Companion, ToneSpec};
use platenote::analysis::{Expectation, Opposite};
use platenote::instrument::ReedPlace;
use platenote::job::{Job, JobWriter, PassChange};
use platenote::session::{
    Agenda, Live, LiveState, Sequence, Session, SessionEvent, Setting, Taken, reeds_in, still_due,
};

const RATE: u32 = 16_000;
const PLAN: &str = r#"format = 1
title = "Three plates"
bellows = "unisonoric"

[[block]]
name = "treble"

[[block.row]]
name = "A"
notes = ["A4", "B4"]

[[block.row]]
name = "B"
notes = ["E4"]
"#;
const A4_HZ: f64 = 440.0;
/// Two semitones of equal temperament above it.
const B4_HZ: f64 = 493.883;

struct Workshop {
    _dir: tempfile::TempDir,
    job: JobWriter,
}

impl Workshop {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        Job::create(dir.path(), PLAN).unwrap();
        let mut job = JobWriter::open(dir.path()).unwrap();
        job.open_pass("before", &PassChange::default()).unwrap();
        Self { _dir: dir, job }
    }

    /// The reeds that are still due, as they are written.
    fn due(&self) -> Vec<String> {
        let all = reeds_in(self.job.instrument(), &Sequence::Plates).unwrap();
        names(&still_due(&self.job, "before", &all))
    }

    fn session(&mut self) -> Session<'_> {
        let all = reeds_in(self.job.instrument(), &Sequence::Plates).unwrap();
        let due = still_due(&self.job, "before", &all);
        let setting = Setting { pass: "before".into(), rate_hz: RATE, channels: 1, clock: None };
        Session::new(&mut self.job, setting, Agenda::new(due))
    }
}

fn names(places: &[ReedPlace]) -> Vec<String> {
    places.iter().map(ToString::to_string).collect()
}

fn spec(hz: f64, steady_s: f64) -> ToneSpec {
    played(RATE, hz, steady_s)
}

/// Let the session hear it block by block; what it says.
fn hear(session: &mut Session, spec: &ToneSpec, seed: u64) -> Vec<SessionEvent> {
    let samples = spec.render(seed).samples;
    samples.chunks(160).flat_map(|block| session.hear(block, Vec::new()).unwrap()).collect()
}

fn taken(said: &[SessionEvent]) -> &Taken {
    said.iter()
        .find_map(|said| if let SessionEvent::Taken(taken) = said { Some(&**taken) } else { None })
        .unwrap_or_else(|| panic!("no take: {said:?}"))
}

#[test]
fn reeds_follow_each_other_and_a_later_session_goes_on() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    let said = hear(&mut session, &spec(A4_HZ, 2.2), 1);
    let place_of = |said: &[SessionEvent]| said.iter().position(|said| *said == SessionEvent::Enough);
    let stored = said.iter().position(|said| matches!(said, SessionEvent::Taken(_)));
    assert!(said.first() == Some(&SessionEvent::Began) && place_of(&said) < stored, "{said:?}");
    assert_eq!(session.due().unwrap().place.to_string(), "treble A1 draw");
    session.skip();
    hear(&mut session, &spec(B4_HZ, 2.2), 2);
    assert_eq!(session.due().unwrap().place.to_string(), "treble A2 draw");
    assert_eq!(names(&session.skipped().cloned().collect::<Vec<_>>()), ["treble A1 draw"]);
    // On from the reed after the last one; what was skipped comes at the end.
    assert_eq!(shop.due(), ["treble A2 draw", "treble B1 press", "treble B1 draw", "treble A1 draw"]);
}

#[test]
fn a_note_of_another_reed_is_named_and_kept_only_when_it_is_meant() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    let said = hear(&mut session, &spec(B4_HZ, 2.2), 1);
    let Some(SessionEvent::Other(other)) = said.last() else { panic!("{said:?}") };
    assert_eq!(other.due.to_string(), "treble A1 press");
    assert_eq!(other.belongs_to.as_ref().unwrap().to_string(), "treble A2 press");
    assert!((other.deviation.get() - 200.0).abs() < 1.0, "{}", other.deviation);
    // The right one comes: the other is forgotten.
    assert_eq!(taken(&hear(&mut session, &spec(A4_HZ, 2.2), 2)).place.to_string(), "treble A1 press");
    assert_eq!(session.there(None).unwrap(), None);
    // Played twice, it is meant: a plate may lie in another's place.
    hear(&mut session, &spec(B4_HZ, 2.2), 3);
    assert_eq!(taken(&hear(&mut session, &spec(B4_HZ, 2.2), 4)).place.to_string(), "treble A1 draw");
    // Or it is said to be the other reed's.
    hear(&mut session, &spec(329.63, 2.2), 5);
    // Both strokes of the plate have that pitch: which one it was must be said.
    assert_eq!(session.there(None).unwrap(), None);
    let kept = session.there(Some(platenote::instrument::Stroke::Press)).unwrap().unwrap();
    assert_eq!(taken(std::slice::from_ref(&kept)).place.to_string(), "treble B1 press");
    assert_eq!(shop.due(), ["treble B1 draw", "treble A2 press", "treble A2 draw"]);
}

#[test]
fn a_short_take_is_kept_and_asked_for_again_but_not_for_ever() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    for n in 1..=3 {
        let said = hear(&mut session, &spec(A4_HZ, 0.7), n);
        let taken = taken(&said);
        assert!(taken.again[0].starts_with("it was steady for 0."), "{:?}", taken.again);
        assert_eq!((taken.n, taken.stays_due), (n as u32, n < 3));
    }
    assert_eq!(session.due().unwrap().place.to_string(), "treble A1 draw");
}

#[test]
fn the_other_strokes_take_says_where_to_look_and_how_long_to_hold() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    hear(&mut session, &spec(A4_HZ, 2.2), 1);
    let usual = session.due().unwrap().need.hold_s;
    // 10 cents lower, with the opposite reed 30 dB below: a leak as the signal model plants it.
    let draw = ToneSpec {
        opposite: Some(Companion {
            offset_cents: 10.0,
            level_db: -30.0,
            partials: (1..=10).map(|k| 1.0 / f64::from(k)).collect(),
            share: 1.0,
            own_wander_cents: 0.0,
            forced: false,
            tail_level_db: -30.0,
            tail_sharper_cents: 10.0,
        }),
        ..spec(A4_HZ * (-10.0f64 / 1200.0).exp2(), 2.2)
    };
    let said = hear(&mut session, &draw, 2);
    let Opposite::Sounding { level, offset, .. } = taken(&said).reading.opposite else {
        panic!("{:?}", taken(&said).reading.opposite)
    };
    assert!((level.get() + 30.0).abs() < 1.5 && (offset.get() - 10.0).abs() < 0.5, "{level} {offset}");
    session.back();
    // 10 cents are 2.5 Hz apart: less than usual would do, so the least counts.
    assert!(session.due().unwrap().need.hold_s <= usual);
}

#[test]
fn lost_sound_that_shows_late_is_written_on_the_take() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    hear(&mut session, &spec(A4_HZ, 2.2), 1);
    let said = session.hear(&[0.0; 160], vec!["about 0.30 s of sound were lost".into()]).unwrap();
    assert!(matches!(said.as_slice(), [SessionEvent::Spoiled { now: true, .. }]), "{said:?}");
    assert_eq!(session.due().unwrap().place.to_string(), "treble A1 press");
    let takes = shop.job.takes("before");
    assert_eq!(takes[0].1[0].facts.remarks, ["about 0.30 s of sound were lost"]);
    assert_eq!(shop.due()[0], "treble A1 press", "a take that lost sound is no take to rely on");
}

#[test]
fn lost_sound_between_the_notes_spoils_nothing() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    let quiet = spec(A4_HZ, 2.2).render(9).samples;
    let quiet = &quiet[..8_000];
    for _ in 0..6 {
        session.hear(quiet, Vec::new()).unwrap();
    }
    let said = session.hear(quiet, vec!["about 0.30 s of sound were lost".into()]).unwrap();
    assert!(matches!(said.as_slice(), [SessionEvent::Trouble(_)]), "{said:?}");
    for _ in 0..4 {
        session.hear(quiet, Vec::new()).unwrap();
    }
    assert_eq!(taken(&hear(&mut session, &spec(A4_HZ, 2.2), 1)).again, Vec::<String>::new());
}

#[test]
fn noise_is_no_take() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    // A saw or a shout, without a tone: white noise for a second between two quiet ones.
    let mut chance = crate::bench::chance::Chance::split(5, 0);
    let noise: Vec<f32> = (0..4 * RATE)
        .map(|n| (if (RATE..2 * RATE).contains(&n) { 0.1 } else { 1e-4 } * chance.normal()) as f32)
        .collect();
    let said: Vec<SessionEvent> =
        noise.chunks(160).flat_map(|block| session.hear(block, Vec::new()).unwrap()).collect();
    assert!(matches!(said.as_slice(), [SessionEvent::Began, SessionEvent::NoReading { .. }]), "{said:?}");
    assert_eq!(shop.due().len(), 6);
}

/// The issue's figure: 250 ms from A3 up, 250 ms and 4 periods below, after the tone has come up.
#[test]
fn the_live_reading_comes_soon_and_is_right() {
    for (n, hz) in [55.0, 82.4, 130.8, 220.0, 440.0, 880.0, 1760.0].into_iter().enumerate() {
        let tone = ToneSpec { rate_hz: 48_000, ..spec(hz, 1.5) };
        let samples = tone.render(n as u64).samples;
        let mut live = Live::new(48_000, 1, Expectation::default());
        let allowed_s = if hz < 220.0 { 0.25 + 4.0 / hz } else { 0.25 };
        let mut first = None;
        let mut last = None;
        for (block, sound) in samples.chunks(240).enumerate() {
            match live.hear(sound) {
                Some(LiveState::Note(reading, _)) => {
                    first.get_or_insert(((block + 1) as f64 * 0.005, reading.f0.get()));
                    last = Some(reading);
                }
                Some(LiveState::Quiet) => break,
                None => {}
            }
        }
        let (first_s, first_hz) = first.unwrap_or_else(|| panic!("{hz} Hz: no reading"));
        let after_s = first_s - (tone.lead_in_s + tone.attack_s);
        assert!(after_s < allowed_s, "{hz} Hz: after {after_s:.3} s, {allowed_s:.3} s are allowed");
        // The right note from the first reading on; a quarter tone is the farthest that still names it.
        assert!((1200.0 * (first_hz / hz).log2()).abs() < 50.0, "{hz} Hz: first {first_hz}");
        let last = last.unwrap();
        let off = 1200.0 * (last.f0.get() / hz).log2();
        assert!(off.abs() < last.uncertainty.get(), "{hz} Hz: {off} ± {}", last.uncertainty.get());
    }
}

/// The issue's figure: the reading is there half a second after the take has ended. What takes time is the call that
/// gets its last samples: it listens, stores the take and reads what is known of the opposite reed. Fastest of three, since
/// other programs run meanwhile.
#[test]
fn the_reading_is_there_within_half_a_second_after_the_take() {
    let mut shop = Workshop::new();
    let all = reeds_in(shop.job.instrument(), &Sequence::Plates).unwrap();
    let setting = Setting { pass: "before".into(), rate_hz: 48_000, channels: 2, clock: None };
    let mut session = Session::new(&mut shop.job, setting, Agenda::new(all));
    let mut took = Vec::new();
    for n in 0..3 {
        let spec = ToneSpec { rate_hz: 48_000, ..spec(A4_HZ, 4.0) };
        let stereo: Vec<f32> = spec.render(n).samples.iter().flat_map(|x| [*x, 0.5 * *x]).collect();
        for block in stereo.chunks(480) {
            let begun = std::time::Instant::now();
            let said = session.hear(block, Vec::new()).unwrap();
            if said.iter().any(|said| matches!(said, SessionEvent::Taken(_))) {
                took.push(begun.elapsed().as_secs_f64());
            }
        }
        session.again();
    }
    let fastest = took.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(took.len() == 3 && fastest < 0.45, "{took:?} s; half a second less a screen's 0.05 s is allowed");
}

#[test]
fn strokes_that_are_not_played_alike_are_told() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    assert_eq!(taken(&hear(&mut session, &spec(A4_HZ, 2.2), 1)).louder, None);
    let louder = ToneSpec { level_dbfs: spec(A4_HZ, 2.2).level_dbfs + 6.0, ..spec(A4_HZ, 2.2) };
    let said = hear(&mut session, &louder, 2);
    assert!((taken(&said).louder.unwrap().get() - 6.0).abs() < 0.3, "{:?}", taken(&said).louder);
    // 2 dB are played alike.
    hear(&mut session, &spec(B4_HZ, 2.2), 3);
    let alike = ToneSpec { level_dbfs: spec(B4_HZ, 2.2).level_dbfs - 2.0, ..spec(B4_HZ, 2.2) };
    assert_eq!(taken(&hear(&mut session, &alike, 4)).louder, None);
}

#[test]
fn orders_follow_the_row_the_stroke_or_the_list() {
    let shop = Workshop::new();
    let order = |order| names(&reeds_in(shop.job.instrument(), &order).unwrap());
    let short = |names: &[String]| names.iter().map(|name| name.replace("treble ", "")).collect::<Vec<_>>();
    let strokes = short(&order(Sequence::Strokes));
    assert_eq!(strokes, ["A1 press", "A2 press", "A1 draw", "A2 draw", "B1 press", "B1 draw"]);
    let listed = short(&order(Sequence::Listed("B1, A2..A1 draw".into())));
    assert_eq!(listed, ["B1 press", "B1 draw", "A2 draw", "A1 draw"]);
    assert!(reeds_in(shop.job.instrument(), &Sequence::Listed("A9".into())).is_err());
    assert!(reeds_in(shop.job.instrument(), &Sequence::Listed("A1 outer".into())).is_err());
}

/// A fan is switched on: it stands out for good, has no pitch, and would be one endless note.
#[test]
fn a_room_that_became_loud_is_learnt_anew() {
    let mut shop = Workshop::new();
    let mut session = shop.session();
    let mut chance = crate::bench::chance::Chance::split(7, 0);
    let mut room = |seconds: u32, level: f64| -> Vec<f32> {
        (0..seconds * RATE).map(|_| (level * chance.normal()) as f32).collect()
    };
    for block in room(1, 1e-4).chunks(160) {
        session.hear(block, Vec::new()).unwrap();
    }
    for block in room(3, 3e-3).chunks(160) {
        session.hear(block, Vec::new()).unwrap();
    }
    assert!(session.look().steady_s.is_some(), "the fan is taken for a note");
    session.learn_room();
    for block in room(2, 3e-3).chunks(160) {
        assert_eq!(session.hear(block, Vec::new()).unwrap(), []);
    }
    let now = session.look();
    // White noise of that root mean square lies at -50 dBFS.
    assert!(now.steady_s.is_none() && (now.floor_db.unwrap() + 51.0).abs() < 3.0, "{now:?}");
}
