//! What a pass needs of memory: the real program's peak, as the kernel counts it.
#![cfg(target_os = "linux")]

use crate::long_recording::LongJob;
use crate::pass_job::PassJob;
use crate::peak::peak_mb;

/// A pass of 48 takes of 4 s at 48 kHz stays under 64 MB; four times the takes need no more, longer takes do.
#[test]
fn memory_grows_with_the_longest_take_and_not_with_their_number() {
    let [few, many, long] = [(12, 4.0), (48, 4.0), (12, 12.0)].map(|(n_takes, length_s)| {
        // The same twelve sounds in all of them: another sound needs more or less, whatever their number.
        let pass = PassJob::new(n_takes, 12, length_s);
        assert_eq!(pass.files.len(), n_takes);
        let peak = peak_mb(&mut pass.start_findings());
        println!("{n_takes} takes of {length_s} s: peak {peak:.1} MB");
        peak
    });
    assert!(many < 64.0, "{many:.1} MB");
    // What is kept of a take is its reading, some kilobytes; the rest is chance in which takes meet in time.
    assert!(many < 1.25 * few + 1.0, "{few:.1} MB for 12 takes, {many:.1} MB for 48");
    assert!(
        long > 1.2 * few,
        "{few:.1} MB for takes of 4 s, {long:.1} MB for 12 s: is the peak seen at all?"
    );
}

/// A long recording of 48 kHz stereo stays under 64 MB, and three times the length needs little more.
#[test]
fn memory_of_a_sweep_does_not_grow_with_the_recording() {
    let [short, long] = [8, 24].map(|minutes| {
        let peak = peak_mb(&mut LongJob::new(minutes).start());
        println!("{minutes} minutes: peak {peak:.1} MB");
        peak
    });
    assert!(long < 64.0, "{long:.1} MB");
    // Levels, notes and finished pictures are kept: some 0.2 MB a minute, against 23 MB of sound.
    assert!(long < 1.2 * short + 4.0, "{short:.1} MB for 8 minutes, {long:.1} MB for 24");
}
