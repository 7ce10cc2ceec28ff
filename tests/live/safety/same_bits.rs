//! The same job gives the same bytes: on 1, 2 and 8 threads, added in any order, with and without kept readings.

use std::fs;

use platenote::audio::write_wav;
use platenote::take::Take;

use super::Workshop;

const PLACES: [(&str, f64); 6] = [
    ("A1-press", 164.81),
    ("A1-draw", 165.4),
    ("A2-press", 174.61),
    ("A2-draw", 174.0),
    ("A3-press", 185.0),
    ("A3-draw", 185.6),
];

/// A job whose takes were added in this order.
fn job_in_order(order: &[usize]) -> Workshop {
    let workshop = Workshop::new();
    for &idx in order {
        let (place, pitch_hz) = PLACES[idx];
        let at = |i: usize| {
            let turn = std::f64::consts::TAU * pitch_hz * i as f64 / 24_000.0;
            let rise = (i as f64 / 1_200.0).min(1.0);
            (rise * (0.3 * turn.sin() + 0.1 * (2.0 * turn).sin() + 0.05 * (3.0 * turn).sin())) as f32
        };
        let file = workshop.path(&format!("{place}.wav"));
        write_wav(&file, &Take::new((0..36_000).map(at).collect(), 24_000)).unwrap();
    }
    for &idx in order {
        workshop.done(&["add", "job", &format!("{}.wav", PLACES[idx].0), "--pass", "before"]);
    }
    workshop
}

/// Findings as text and JSON, and every drawing, by name.
fn told(workshop: &Workshop, threads: &str) -> Vec<(String, Vec<u8>)> {
    let _ = fs::remove_dir_all(workshop.path("job/report"));
    let run = |words: &[&str]| {
        let output = workshop.command(words).env("RAYON_NUM_THREADS", threads).output().unwrap();
        assert!(output.status.success(), "{}", super::text(&output.stderr));
        output.stdout
    };
    let mut told = vec![
        ("findings".to_owned(), run(&["findings", "job", "--pass", "before"])),
        ("json".to_owned(), run(&["findings", "job", "--pass", "before", "--json"])),
    ];
    run(&["chart", "job", "--pass", "before"]);
    let entries = fs::read_dir(workshop.path("job/report")).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<_> = entries.filter(|path| path.is_file()).collect();
    files.sort();
    told.extend(files.into_iter().map(|file| (super::name_of(&file), fs::read(file).unwrap())));
    told
}

#[test]
fn the_same_job_gives_the_same_bytes_on_any_threads_in_any_order_with_and_without_kept_readings() {
    let forward = job_in_order(&[0, 1, 2, 3, 4, 5]);
    let wanted = told(&forward, "1");
    assert!(wanted.iter().any(|(name, _)| name.ends_with(".svg")), "there are drawings");
    assert!(wanted[1].1.len() > 500, "there are findings");
    let kept = fs::read(forward.path("job/readings.json")).unwrap();
    assert!(told(&forward, "1") == wanted, "with kept readings");
    for threads in ["2", "8"] {
        fs::remove_file(forward.path("job/readings.json")).unwrap();
        assert!(told(&forward, threads) == wanted, "on {threads} threads");
        assert!(fs::read(forward.path("job/readings.json")).unwrap() == kept, "kept on {threads} threads");
    }
    let shuffled = job_in_order(&[4, 1, 5, 0, 3, 2]);
    assert!(told(&shuffled, "2") == wanted, "added in another order");
    assert!(fs::read(shuffled.path("job/readings.json")).unwrap() == kept, "kept in another order");
}
