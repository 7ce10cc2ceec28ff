//! `record` killed at a random moment, while it hears reeds from a microphone that the test plays into.

use std::fs;
use std::io::Write;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use platenote::audio::read_file;
use platenote::job::Job;

use super::crashes::check_after;
use super::{Dice, Workshop, rounds};
use crate::bench::played::played;
use crate::microphone::{Microphone, Plug, RATE, environment};

/// One plate, so that the rest is soon played.
const PLAN: &str = "format = 1\ntitle = \"Trial\"\nbellows = \"unisonoric\"\n[[block]]\nname = \"treble\"\n\
    [[block.row]]\nname = \"A\"\nnotes = [\"A4\"]\n";
/// Its press and its draw reed, some cents off A4 at 440 Hz.
const REEDS: [(&str, f64); 2] = [("treble A1 press", 440.9), ("treble A1 draw", 439.2)];
const RECORD: [&str; 5] = ["record", "job", "--pass", "before", "--lines"];
/// Benches at work side by side: most of their time is sound going by.
const N_BENCHES: u64 = 4;

/// The program at the bench and the microphone it listens to.
struct AtTheBench {
    child: Child,
    /// `None` when the program ended before it listened, as nothing was due.
    microphone: Option<Microphone>,
}

impl AtTheBench {
    fn start(workshop: &Workshop, words: &[&str]) -> Self {
        Self::started(workshop, workshop.command(words))
    }

    fn started(workshop: &Workshop, mut command: Command) -> Self {
        let plug = Plug::new(&workshop.path(""));
        command.envs(environment(&plug.path)).stdin(Stdio::piped());
        let said = workshop.path("said.txt");
        let file = fs::File::create(&said).unwrap();
        let mut child = command.stdout(Stdio::null()).stderr(file).spawn().unwrap();
        let begun = Instant::now();
        let is_listening = loop {
            if fs::read_to_string(&said).unwrap().contains("listening to `") {
                break true;
            }
            if child.try_wait().unwrap().is_some() {
                break false;
            }
            assert!(begun.elapsed() < Duration::from_secs(60), "the program does not listen");
            std::thread::sleep(Duration::from_millis(5));
        };
        Self { child, microphone: is_listening.then(|| plug.into_microphone()) }
    }
}

fn at_a_plate() -> Workshop {
    let workshop = Workshop::new();
    fs::write(workshop.path("job/plan.toml"), PLAN).unwrap();
    workshop
}

/// The reeds without a take.
fn what_is_left(workshop: &Workshop) -> Vec<f64> {
    let job = Job::open(&workshop.path("job")).unwrap();
    let taken: Vec<String> = job.takes("before").iter().map(|(place, _)| place.to_string()).collect();
    let left = REEDS.iter().filter(|(place, _)| !taken.iter().any(|taken| taken == place));
    left.map(|(_, hz)| *hz).collect()
}

/// They are played one after the other; nobody plays the same sound twice.
fn play_of(reeds: &[f64], dice: &mut Dice) -> Vec<f32> {
    reeds.iter().flat_map(|hz| played(RATE as u32, *hz, 2.2).render(dice.below(1 << 30)).samples).collect()
}

/// Start `record`, play what is left, and kill it: after a random part of that, or when it stores a take.
fn record_and_kill(workshop: &Workshop, dice: &mut Dice, while_it_stores: bool) {
    let sound = play_of(&what_is_left(workshop), dice);
    let AtTheBench { mut child, microphone } = AtTheBench::start(workshop, &RECORD);
    let mut microphone = microphone.expect("a reed is due");
    let before = (workshop.diary().len(), workshop.files_in("job/takes/before"));
    std::thread::scope(|scope| {
        scope.spawn(move || while microphone.play(&sound) {});
        if while_it_stores {
            let begun = Instant::now();
            let is_same = || workshop.files_in("job/takes/before") == before.1;
            while is_same() && begun.elapsed() < Duration::from_secs(20) {
                std::thread::sleep(Duration::from_micros(200));
            }
            let power = dice.below(8);
            std::thread::sleep(Duration::from_micros(dice.below(200 << power)));
        } else {
            std::thread::sleep(Duration::from_millis(dice.below(4_600)));
        }
        child.kill().unwrap();
        assert!(!child.wait().unwrap().success(), "it would have listened for ever");
    });
}

/// Record until every reed has its take. On a busy machine sound may be lost, and a reed is then due again.
fn finish(workshop: &Workshop, dice: &mut Dice) {
    for _ in 0..4 {
        let sound = play_of(&what_is_left(workshop), dice);
        let AtTheBench { mut child, microphone } = AtTheBench::start(workshop, &RECORD);
        if let Some(mut microphone) = microphone {
            microphone.play(&sound);
            // It follows the sound for a moment after the last take, and ends by itself.
            let begun = Instant::now();
            while begun.elapsed() < Duration::from_millis(1_800) && microphone.play_quiet() {}
            let _ = writeln!(child.stdin.as_mut().unwrap(), "stop");
            while microphone.play_quiet() && child.try_wait().unwrap().is_none() {}
        }
        let said = fs::read_to_string(workshop.path("said.txt")).unwrap();
        assert!(child.wait().unwrap().success(), "{said}");
        if what_is_left(workshop).is_empty() {
            return;
        }
    }
    panic!("not every reed has its take: {}", fs::read_to_string(workshop.path("said.txt")).unwrap());
}

/// Kill it some times at one job, then let it finish.
fn a_job_with_kills(seed: u64, n_kills: u64) -> (u64, usize) {
    let (workshop, mut dice) = (at_a_plate(), Dice(seed));
    let (mut n_done, mut n_unfinished) = (0, 0);
    while n_done < n_kills && !what_is_left(&workshop).is_empty() {
        let before = (workshop.diary(), workshop.takes());
        let while_it_stores = dice.below(2) == 0;
        record_and_kill(&workshop, &mut dice, while_it_stores);
        n_done += 1;
        n_unfinished = check_after(&workshop, &before, n_done as usize).max(n_unfinished);
    }
    let before = (workshop.diary(), workshop.takes());
    finish(&workshop, &mut dice);
    check_after(&workshop, &before, n_done as usize);
    // A whole take that the diary missed is brought in by what `verify` says is to be done.
    for (kind, place) in workshop.troubles() {
        assert_eq!(kind, "unlisted", "{place}: a cut line is set aside by the next run");
        if !place.contains(".part-") {
            workshop.done(&["add", "job", &format!("job/{place}"), "--pass", "before"]);
        }
    }
    let left = workshop.troubles();
    assert!(left.iter().all(|(_, place)| place.starts_with("takes/before/.part-")), "{left:?}");
    (n_done, n_unfinished)
}

#[test]
fn record_killed_at_any_moment_costs_the_take_that_sounded_and_no_other() {
    let n_each = rounds(4).div_ceil(N_BENCHES);
    let benches: Vec<(u64, usize)> = std::thread::scope(|scope| {
        let bench = |number: u64| {
            scope.spawn(move || {
                let (mut n_killed, mut n_unfinished) = (0, 0);
                while n_killed < n_each {
                    let (kills, unfinished) =
                        a_job_with_kills(1_000 * number + n_killed, (n_each - n_killed).min(3));
                    (n_killed, n_unfinished) = (n_killed + kills, n_unfinished + unfinished);
                }
                (n_killed, n_unfinished)
            })
        };
        let running: Vec<_> = (0..N_BENCHES).map(bench).collect();
        running.into_iter().map(|bench| bench.join().unwrap()).collect()
    });
    let n_killed: u64 = benches.iter().map(|bench| bench.0).sum();
    let n_unfinished: usize = benches.iter().map(|bench| bench.1).sum();
    println!("record: {n_killed} runs killed, {n_unfinished} left something unfinished");
}

/// Where `piece` lies in `whole`.
fn place_of(piece: &[f32], whole: &[f32]) -> Option<usize> {
    let head = piece.get(..64)?;
    whole.windows(64).position(|there| there == head).filter(|at| whole[*at..].starts_with(piece))
}

#[test]
fn a_long_recording_killed_at_any_moment_holds_what_was_heard() {
    let n_each = rounds(4).div_ceil(N_BENCHES);
    std::thread::scope(|scope| {
        for number in 0..N_BENCHES {
            scope.spawn(move || {
                let (workshop, mut dice) = (at_a_plate(), Dice(77 + number));
                let sound = play_of(&what_is_left(&workshop), &mut dice);
                let mut kept: Vec<(PathBuf, Vec<u8>)> = Vec::new();
                for round in 1..=n_each {
                    let diary = workshop.diary();
                    let words = ["record", "job", "--pass", "before", "--whole"];
                    let AtTheBench { mut child, microphone } = AtTheBench::start(&workshop, &words);
                    let mut microphone = microphone.expect("it listens");
                    // Noise never repeats itself, so that a place in the sound is one place.
                    let n_frames = (1_300 + dice.below(2_700)) as usize * RATE / 1_000 / 480 * 480;
                    microphone.play(&sound[..n_frames]);
                    child.kill().unwrap();
                    child.wait().unwrap();
                    let file = workshop.path(&format!("job/recordings/before-{round}.wav"));
                    let take = read_file(&file).unwrap();
                    let at = place_of(&take.samples, &sound);
                    // What was still on its way is lost, and no more: some tenths of a second on a busy machine.
                    let n_lost = n_frames.saturating_sub(take.samples.len());
                    assert!(at == Some(0) && n_lost < RATE, "from {at:?}, {n_lost} of {n_frames} lost");
                    assert_eq!(workshop.troubles(), []);
                    assert!(workshop.diary().starts_with(&diary));
                    for (file, bytes) in &kept {
                        assert!(fs::read(file).unwrap() == *bytes, "`{}` is as it was", file.display());
                    }
                    kept.push((file.clone(), fs::read(&file).unwrap()));
                }
            });
        }
    });
}

/// The limit on a file's length stands for the full disk. The first take is not stored, and that is said; when there is
/// room again, the same command records it.
#[test]
fn a_disk_that_is_full_while_a_take_is_stored_is_said_and_costs_that_take() {
    let (workshop, mut dice) = (at_a_plate(), Dice(3));
    workshop.done(&["mark", "job", "note", "one"]);
    let diary = workshop.diary();
    let sound = play_of(&what_is_left(&workshop), &mut dice);
    // In blocks of 512 bytes (or of 1024, as some shells count): below the take's size, above all other files'.
    let mut command = Command::new("sh");
    command.current_dir(workshop.path("")).args(["-c", "trap '' XFSZ; ulimit -f 300; exec \"$@\"", "sh"]);
    command.arg(assert_cmd::cargo::cargo_bin!("platenote")).args(RECORD);
    let AtTheBench { mut child, microphone } = AtTheBench::started(&workshop, command);
    let mut microphone = microphone.expect("a reed is due");
    while child.try_wait().unwrap().is_none() && microphone.play(&sound) {}
    let said = fs::read_to_string(workshop.path("said.txt")).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(1), "{said}");
    assert!(said.contains("could not be") && said.contains("next:  "), "{said}");
    assert!(workshop.diary().starts_with(&diary), "earlier lines stand");
    assert_eq!((workshop.troubles(), workshop.takes().len()), (vec![], 0), "no part is left");
    finish(&workshop, &mut dice);
}

/// While `record` has the job, every other writing verb is told so; nothing of theirs is half done.
#[test]
fn whoever_comes_while_the_bench_records_is_told_to_wait() {
    let workshop = at_a_plate();
    workshop.sound("A1-press.wav", 1, 30_000);
    fs::write(workshop.path("plate.jpg"), [&[0xff, 0xd8, 0xff][..], &[7; 40_000]].concat()).unwrap();
    fs::write(workshop.path("tray.csv"), "length,count\n36 mm,3\n").unwrap();
    workshop.done(&["mark", "job", "note", "one"]);
    let AtTheBench { mut child, microphone } = AtTheBench::start(&workshop, &RECORD);
    let mut microphone = microphone.expect("a reed is due");
    let sound = play_of(&[REEDS[0].1], &mut Dice(5));
    let others: [&[&str]; 9] = [
        &["add", "job", "A1-press.wav", "--pass", "before"],
        &["sweep", "job", "long.wav", "--pass", "before", "--accept", "--doubtful"],
        &["mark", "job", "A1", "lifted"],
        &["mark", "job", "A1", "photo", "plate.jpg"],
        &["mark", "job", "--undo"],
        &["valves", "job", "--count", "38mm=4"],
        &["valves", "job", "--import", "tray.csv"],
        &RECORD,
        &["record", "job", "--pass", "before", "--whole"],
    ];
    platenote::audio::write_wav(
        &workshop.path("long.wav"),
        &platenote::take::Take::new(sound.clone(), RATE as u32),
    )
    .unwrap();
    std::thread::scope(|scope| {
        let playing = scope.spawn(|| {
            microphone.play(&sound);
            microphone
        });
        let spawned = others.map(|words| {
            let mut command: Command = workshop.command(words);
            command.envs(environment(std::path::Path::new("/dev/zero"))).stdin(Stdio::null());
            command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
        });
        for (words, other) in others.iter().zip(spawned) {
            let output = other.wait_with_output().unwrap();
            let said = super::text(&output.stderr);
            assert_eq!(output.status.code(), Some(1), "{words:?}: {said}");
            assert!(said.contains("another program is writing to the job"), "{words:?}: {said}");
            assert!(said.contains("next:  wait until it is done"), "{words:?}: {said}");
        }
        let mut microphone = playing.join().unwrap();
        writeln!(child.stdin.as_mut().unwrap(), "stop").unwrap();
        while microphone.play_quiet() && child.try_wait().unwrap().is_none() {}
        assert!(child.wait().unwrap().success());
    });
    assert_eq!(workshop.troubles(), []);
    let job = Job::open(&workshop.path("job")).unwrap();
    assert_eq!(job.takes("before").len(), 1, "the one at the bench lost nothing by it");
    // The note before, the pass, the take, and what was remarked on it on a busy machine: nothing of the others.
    let diary = workshop.diary();
    let is_own = |line: &str| {
        ["pass", "take", "remark"].iter().any(|what| line.contains(&format!("\"what\":\"{what}\"")))
    };
    assert!(diary.lines().skip(1).all(is_own), "{diary}");
    assert!(!workshop.path("job/photos").exists() || workshop.files_in("job/photos").is_empty());
}
