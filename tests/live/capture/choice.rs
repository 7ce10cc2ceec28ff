//! Which reeds `record` plays: `--from` and `--only`, in a pass with a leak, a doubtful take and a missing one.

use std::io::Write;
use std::path::Path;
use std::process::Command;

use platenote::audio::wav_bytes;
use platenote::job::{Job, JobWriter, NewTake, PassChange};

use super::session::{PLAN, started, wait_for};
use crate::bench::played::played;
use crate::bench::tone::{Companion, ToneSpec};
use crate::microphone::{RATE, environment};

fn store(folder: &Path, place: &str, spec: &ToneSpec) {
    let mut job = JobWriter::open(folder).unwrap();
    job.open_pass("before", &PassChange::default()).unwrap();
    let place = job.instrument().reed_place(place).unwrap();
    let take = NewTake {
        pass: "before".into(),
        place,
        original: None,
        extension: "wav".into(),
        why: "the test says so".into(),
        lossy: false,
        remarks: Vec::new(),
        clock: None,
        recorded: None,
    };
    let bytes = wav_bytes(&spec.render(7).take()).unwrap();
    job.store_bytes(take, &bytes).unwrap();
}

/// What `record` says with these arguments, stopped at once; the microphone gives endless zeros.
fn says(folder: &Path, arguments: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    command.args(["record", "job", "--pass", "before"]).args(arguments).current_dir(folder);
    command.envs(environment(Path::new("/dev/zero")));
    let (mut child, said) = started(&mut command);
    let mut heard = Vec::new();
    wait_for(&said, &mut heard, "due");
    // It may have ended already, with nothing to play.
    let _ = child.stdin.take().unwrap().write_all(b"stop\n");
    let code = child.wait().unwrap().code();
    heard.extend(said.iter());
    let words = heard.concat();
    assert_eq!(code, Some(0), "{words}");
    words
}

#[test]
fn from_and_only_choose_the_reeds_that_are_played() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("job");
    Job::create(&folder, PLAN).unwrap();
    let clean = |hz: f64| played(RATE as u32, hz, 2.5);
    store(&folder, "A1 press", &clean(440.0));
    // Its opposite reed sounds along 25 dB below: a leak as the signal model plants it.
    let leaking = ToneSpec {
        opposite: Some(Companion {
            offset_cents: 12.0,
            level_db: -25.0,
            partials: (1..=10).map(|k| 1.0 / f64::from(k)).collect(),
            share: 1.0,
            own_wander_cents: 0.0,
            forced: false,
            tail_level_db: -25.0,
            tail_sharper_cents: 10.0,
        }),
        ..clean(440.0 * (-12.0f64 / 1200.0).exp2())
    };
    store(&folder, "A1 draw", &leaking);
    // Clipped, so that there is a doubt.
    store(&folder, "A2 press", &ToneSpec { clip_at: Some(0.5), ..clean(493.883) });
    for (arguments, due, left) in [
        (&["--only", "leaks"][..], "due: treble A1 draw,", 1),
        (&["--only", "doubtful"], "due: treble A2 press,", 1),
        (&["--only", "missing"], "due: treble A2 draw,", 1),
        (&["--from", "A1 draw"], "due: treble A1 draw,", 3),
        (&["--from", "A2 press", "--order", "strokes"], "due: treble A2 press,", 3),
        (&["--from", "A1 draw", "--only", "missing"], "due: treble A2 draw,", 1),
        (&[], "due: treble A2 draw,", 1),
    ] {
        let words = says(dir.path(), arguments);
        assert!(words.contains(due), "{arguments:?}: {words}");
        assert!(words.contains(&format!("; {left} left): play it")), "{arguments:?}: {words}");
    }
    store(&folder, "A2 draw", &clean(493.883));
    assert!(says(dir.path(), &[]).contains("nothing is due in pass `before`"));
    assert!(says(dir.path(), &["--only", "missing"]).contains("next:  `--from PLACE` plays reeds once more"));
}
