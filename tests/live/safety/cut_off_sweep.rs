//! `sweep --accept` killed while it stores the notes of a long recording.

use std::process::Stdio;
use std::time::{Duration, Instant};

use platenote::audio::write_wav;
use platenote::take::Take;

use super::{Dice, Workshop, name_of, rounds};

const RATE_HZ: u32 = 16_000;
pub const SWEEP: [&str; 6] = ["sweep", "job", "long.wav", "--pass", "before", "--accept"];

/// The three plates of the job, each reed once, in the order of play: so many of the six.
pub fn long_recording(workshop: &Workshop, n_reeds: usize) {
    let mut samples: Vec<f32> = Vec::new();
    let mut dice = Dice(3);
    for &pitch_hz in [164.4, 165.3, 174.2, 175.1, 184.6, 185.5].iter().take(n_reeds) {
        for i in 0..RATE_HZ * 27 / 10 {
            let at_s = f64::from(i) / f64::from(RATE_HZ);
            let gate = ((at_s - 0.5) / 0.05).clamp(0.0, 1.0) * ((2.2 - at_s) / 0.05).clamp(0.0, 1.0);
            let turn = std::f64::consts::TAU * pitch_hz * at_s;
            let tone: f64 = (1..=6).map(|k| (f64::from(k) * turn).sin() / f64::from(k)).sum();
            let hiss = dice.below(1_000) as f64 / 1_000.0 - 0.5;
            samples.push((0.08 * gate * tone + 2e-4 * hiss) as f32);
        }
    }
    write_wav(&workshop.path("long.wav"), &Take::new(samples, RATE_HZ)).unwrap();
}

/// Name and bytes of every take.
fn stored(workshop: &Workshop) -> Vec<(String, Vec<u8>)> {
    workshop.takes().into_iter().map(|(file, bytes)| (name_of(&file), bytes)).collect()
}

#[test]
fn sweep_killed_while_it_stores_is_finished_by_the_same_command() {
    let whole = Workshop::new();
    long_recording(&whole, 6);
    whole.done(&SWEEP);
    let wanted = stored(&whole);
    assert_eq!(wanted.len(), 6);
    let mut dice = Dice(17);
    let (mut n_killed, n_rounds) = (0, rounds(6));
    for round in 0..n_rounds {
        let workshop = Workshop::new();
        long_recording(&workshop, 6);
        let mut child = workshop.command(&SWEEP).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        // It listens for most of its time; it is to be met while it stores.
        let begun = Instant::now();
        while !workshop.path("job/takes/before").exists() && begun.elapsed() < Duration::from_secs(60) {
            std::thread::sleep(Duration::from_micros(300));
        }
        // How long it stores depends on the machine: from at once to well into it.
        std::thread::sleep(Duration::from_micros(dice.below(400 << (round % 7))));
        child.kill().unwrap();
        n_killed += u64::from(!child.wait().unwrap().success());
        let (diary, takes) = (workshop.diary(), workshop.takes());
        assert!(workshop.troubles().len() <= 1, "{:?}", workshop.troubles());
        workshop.done(&SWEEP);
        assert_eq!(workshop.troubles(), []);
        assert!(workshop.diary().starts_with(&diary[..diary.rfind('\n').map_or(0, |end| end + 1)]));
        assert!(
            takes.iter().all(|take| workshop.takes().contains(take)),
            "takes that were there stay as they are"
        );
        assert!(stored(&workshop) == wanted, "as if it had never been cut off");
    }
    println!("sweep: {n_killed} of {n_rounds} runs killed");
    assert!(n_killed > 0, "the kills meet the program at work");
}
