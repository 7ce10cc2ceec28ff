//! `seal` end to end: the real program leads a sealing test at the microphone, play by play.

use platenote::job::{Job, SealState};
use serde_json::Value;

use super::session::{Bench, PLAYED_HZ, with_job};
use crate::bench::played::played;
use crate::microphone::RATE;

/// A play of A1 press, at this share of the full amplitude.
fn play(share: f32, seed: u64) -> Vec<f32> {
    played(RATE as u32, PLAYED_HZ[0], 1.4).render(seed).samples.iter().map(|sample| share * sample).collect()
}

/// Open 4.4 dB softer than sealed; one play that was meant to be sealed and was not is withdrawn and played again.
#[test]
fn a_sealing_test_is_led_to_its_verdict_and_a_play_withdrawn() {
    let dir = with_job();
    let words = ["seal", "job", "A1 outer", "--pass", "check", "--blown", "held", "--json"];
    let mut bench = Bench::running(dir.path(), &words);
    bench.play(&play(0.6, 1));
    bench.play(&play(0.6, 2));
    bench.rest(1.2);
    bench.type_line("again");
    bench.rest(0.3);
    for (seed, share) in [(3, 1.0), (4, 0.6), (5, 1.0)] {
        bench.play(&play(share, seed));
    }
    let (code, lines, words) = bench.end();
    assert_eq!(code, Some(0), "{words}");
    let of_kind = |kind: &str| lines.iter().filter(|line| line["kind"] == kind).collect::<Vec<&Value>>();
    let states: Vec<&str> =
        of_kind("seal_play").iter().map(|line| line["sealed"].as_str().unwrap()).collect();
    assert_eq!(states, ["open", "sealed", "sealed", "open", "sealed"], "{words}");
    let told = of_kind("sealing").pop().unwrap_or_else(|| panic!("no verdict: {words}"));
    assert_eq!(
        (&told["verdict"], &told["way"], &told["pairs"]),
        (&"leaks".into(), &"held".into(), &2.into())
    );
    let difference = told["difference_db"].as_f64().unwrap();
    assert!((difference - 4.4).abs() < 0.3, "{told}");
    for said in
        ["press: lay a soft pad", "never press a tongue", "play 2: treble A1 press, sealed", "is withdrawn"]
    {
        assert!(words.contains(said), "`{said}` is not in {words}");
    }
    let job = Job::open(&dir.path().join("job")).unwrap();
    let [(_, plays)] = &job.seal_plays("check")[..] else { panic!("one reed was tested") };
    let kept: Vec<SealState> = plays.iter().filter_map(|play| play.facts.sealed).collect();
    assert_eq!(kept, [SealState::Open, SealState::Sealed, SealState::Open, SealState::Sealed]);
}
