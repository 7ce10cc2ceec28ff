//! The loop without a microphone: plays made by hand, time as it is heard, marks in a job.

use platenote::analysis::{Expectation, OppositeExpectation};
use platenote::instrument::Stroke;
use platenote::job::{Event, Job, JobWriter};
use platenote::repair::Part;
use platenote::session::{Follow, FollowEvent, Stands, TunePlay, TuneReed, TuneSaid, TuneSetting, Tuning};
use platenote::tuning::Hand;
use platenote::units::Cents;

use crate::bench::played::played;
use crate::judgement::built::cents;

const RATE: u32 = 16_000;
const PLAN: &str = r#"format = 1
title = "Two plates"
bellows = "unisonoric"
reference_hz = 440.0

[[block]]
name = "treble"

[[block.row]]
name = "A"
notes = ["A4", "B4"]
"#;

fn sound(hz: f64, seed: u64) -> Vec<f32> {
    played(RATE, hz, 2.0).render(seed).samples
}

fn quiet(seconds: f64) -> Vec<f32> {
    (0..(seconds * f64::from(RATE)) as usize).map(|n| 1e-4 * ((n * 7919) % 13) as f32).collect()
}

/// Live values every tenth of a second, surer than a cent after a second, from 100 Hz on; and the value after the stop.
#[test]
fn a_note_is_followed_while_it_sounds() {
    for hz in [100.0, 155.0, 440.0, 1760.0] {
        let expectation = Expectation {
            pitch: platenote::units::Hz::new(hz * 1.004),
            opposite: OppositeExpectation::None,
            ..Expectation::default()
        };
        let mut follow = Follow::new(RATE, 1, expectation);
        let mut since_s = Vec::new();
        let mut read = None;
        for block in quiet(0.5).iter().chain(&sound(hz, 3)).copied().collect::<Vec<f32>>().chunks(160) {
            for heard in follow.hear(block) {
                match heard {
                    FollowEvent::Now { f0, uncertainty, since } => {
                        let off = f0.cents_above(platenote::units::Hz::new(hz).unwrap()).get();
                        if since.get() >= 1.0 {
                            assert!(
                                uncertainty.get() < 1.0,
                                "{hz} Hz, {} s: {}",
                                since.get(),
                                uncertainty.get()
                            );
                            assert!(
                                off.abs() <= uncertainty.get(),
                                "{hz} Hz: {off} of {}",
                                uncertainty.get()
                            );
                        }
                        since_s.push(since.get());
                    }
                    FollowEvent::Played(played) => read = Some(played),
                    FollowEvent::Began | FollowEvent::Nothing(_) => {}
                }
            }
        }
        let late = since_s.windows(2).filter(|pair| pair[0] > 0.5 && pair[1] - pair[0] > 0.1).count();
        assert!(since_s.len() > 15 && late == 0, "{hz} Hz: {since_s:?}");
        let read = read.expect("a play").reading;
        let off = read.f0.cents_above(platenote::units::Hz::new(hz).unwrap()).get();
        assert!(off.abs() <= read.uncertainty.get(), "{hz} Hz: {off}");
    }
}

fn setting() -> TuneSetting {
    let hand = Hand { by: "one".into(), tool: "file".into() };
    TuneSetting { rate_hz: RATE, channels: 1, clock: None, hand, keep: None }
}

fn play(tuning: &mut Tuning, hz: f64, seed: u64) -> TunePlay {
    let mut told = None;
    for block in sound(hz, seed).chunks(1600) {
        for said in tuning.hear(block).unwrap() {
            if let TuneSaid::Played(play) = said {
                told = Some(*play);
            }
        }
    }
    told.expect("a play")
}

#[test]
fn from_out_of_tune_to_the_settled_check_with_the_other_reed_watched() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("job");
    Job::create(&folder, PLAN).unwrap();
    let mut job = JobWriter::open(&folder).unwrap();
    let reeds = Stroke::BOTH.map(|stroke| {
        let place = job.instrument().reed_place(&format!("A1 {stroke}")).unwrap();
        let target = job.instrument().target(&place).unwrap();
        TuneReed::new(place, "A4".parse().unwrap(), target, Cents::ZERO, cents(2.0))
    });
    let mut tuning = Tuning::new(&mut job, setting(), reeds.to_vec(), Vec::new(), Vec::new());
    let at = |off: f64| 440.0 * (off / 1200.0).exp2();
    tuning.hear(&quiet(0.6)).unwrap();

    // The press reed: sharp, so the root; a go moves it, the other way it moves by nothing noted.
    let first = play(&mut tuning, at(12.0), 1);
    assert_eq!((first.stands, first.advice.unwrap().part), (Stands::Out, Part::Root));
    assert!(first.go.is_none());
    let again = play(&mut tuning, at(12.1), 2);
    assert!(again.go.is_none(), "a second play is no go");
    let second = play(&mut tuning, at(6.0), 3);
    let (mark, filing, moved) = second.go.clone().expect("a go");
    assert!((moved.value.get() + 6.1).abs() < 0.3 && filing.part == Part::Root && mark == 1);
    // It was five strokes in truth.
    let TuneSaid::Word(word) = tuning.correct(None, 5).unwrap() else { panic!("no word") };
    assert!(word.contains("filed root 5 strokes with file by one"), "{word}");
    let third = play(&mut tuning, at(0.5), 4);
    assert_eq!(third.stands, Stands::AtOnce);
    // Meanwhile the other reed is due, and in tolerance.
    assert_eq!(tuning.look().due.unwrap().place.stroke, Stroke::Draw);
    assert_eq!(play(&mut tuning, at(-1.0), 5).stands, Stands::Settled);
    // Then the first one waits for its minute, and is asked for again.
    assert!(tuning.look().due.is_none() && !tuning.is_done());
    for _ in 0..12 {
        tuning.hear(&quiet(5.0)).unwrap();
    }
    assert_eq!(tuning.look().due.unwrap().place.stroke, Stroke::Press);
    let settled = play(&mut tuning, at(1.2), 6);
    assert_eq!(settled.stands, Stands::Settled);
    assert!(settled.rate.is_some_and(|rate| (0.2..1.5).contains(&rate.per_minute)), "{:?}", settled.rate);
    assert!(tuning.is_done());
    assert_eq!(tuning.gain().reeds, 1);
    drop(tuning);

    // What the job keeps teaches the next sitting.
    let goes = platenote::evaluation::goes(&job);
    assert_eq!(goes.len(), 1 + 1, "{goes:?}");
    assert_eq!(platenote::evaluation::gains(&job).len(), 1);
    let plays = job.diary().iter().filter(|line| matches!(line.event, Event::Play(_))).count();
    assert_eq!(plays, 6);
    let standing: Vec<String> =
        job.marks().iter().filter(|mark| !mark.undone).map(|mark| mark.work.to_string()).collect();
    assert!(
        standing[0] == "filed root 5 strokes with file by one" && standing.last().unwrap() == "tuned",
        "{standing:?}"
    );
}

#[test]
fn a_reed_that_still_moves_is_asked_for_with_its_rate() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("job");
    Job::create(&folder, PLAN).unwrap();
    let mut job = JobWriter::open(&folder).unwrap();
    let place = job.instrument().reed_place("A1 press").unwrap();
    let target = job.instrument().target(&place).unwrap();
    let reed = TuneReed::new(place, "A4".parse().unwrap(), target, Cents::ZERO, cents(1.0));
    let mut tuning = Tuning::new(&mut job, setting(), vec![reed], Vec::new(), Vec::new());
    let at = |off: f64| 440.0 * (off / 1200.0).exp2();
    tuning.hear(&quiet(0.6)).unwrap();
    play(&mut tuning, at(9.0), 1);
    assert!(play(&mut tuning, at(-0.5), 2).go.is_some());
    // Half a minute later it has risen by a cent: two a minute.
    for _ in 0..5 {
        tuning.hear(&quiet(5.0)).unwrap();
    }
    let moving = play(&mut tuning, at(0.5), 3);
    assert_eq!(moving.stands, Stands::Moves);
    assert!(moving.rate.is_some_and(|rate| (1.5..2.6).contains(&rate.per_minute)), "{:?}", moving.rate);
    for _ in 0..14 {
        tuning.hear(&quiet(5.0)).unwrap();
    }
    assert_eq!(play(&mut tuning, at(0.6), 4).stands, Stands::Settled);
}
