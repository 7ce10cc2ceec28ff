//! `record --whole`: the real program hears a block in one go, keeps all of it, and takes it apart at the end.

use std::fs;

use platenote::audio::read_file;
use platenote::job::Job;

use super::session::{Bench, PLAN, PLAYED_HZ, reed};

#[test]
fn a_block_played_in_one_go_is_kept_whole_and_split_at_the_end() {
    let folder = tempfile::tempdir().unwrap();
    Job::create(&folder.path().join("job"), PLAN).unwrap();
    let mut bench =
        Bench::running(folder.path(), &["record", "job", "--pass", "before", "--whole", "--json"]);
    for (seed, hz) in (1..).zip(PLAYED_HZ) {
        bench.play(&reed(hz, seed));
    }
    let file = folder.path().join("job/recordings/before-1.wav");
    // It is on the disk while it still grows, and can be read.
    assert!(fs::metadata(&file).unwrap().len() > 1_000_000);
    bench.type_line("stop");
    let (code, results, words) = bench.end();
    assert_eq!(code, Some(0), "{words}");
    let places: Vec<&str> = results
        .iter()
        .filter(|line| line["kind"] == "placed")
        .map(|line| line["place"].as_str().unwrap())
        .collect();
    assert_eq!(places, ["treble A1 press", "treble A1 draw", "treble A2 press", "treble A2 draw"], "{words}");
    assert!(words.contains("--accept` stores the takes"), "{words}");
    assert!(read_file(&file).unwrap().length_s() > 8.0);
}
