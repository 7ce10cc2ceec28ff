//! How long a long recording takes: 1 minute, 10 minutes and 1 hour of 48 kHz stereo, the whole program with its pictures.
//!
//! `cargo bench --bench sweep` prints seconds of recording per second of work, and the peak memory. The hour needs 700 MB
//! of room for temporary files.

#[path = "../bench/mod.rs"]
mod bench;
mod long_recording;
#[cfg(target_os = "linux")]
mod peak;

use std::time::Instant;

use long_recording::LongJob;

fn main() {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    println!("`platenote sweep` on 48 kHz stereo, {cores} cores:");
    println!("  minutes     work   recording per work   part of its duration   peak memory");
    for minutes in [1, 10, 60] {
        let job = LongJob::new(minutes);
        let start = Instant::now();
        let mut child = job.start();
        #[cfg(target_os = "linux")]
        let memory = format!("{:.1} MB", peak::peak_mb(&mut child));
        #[cfg(not(target_os = "linux"))]
        let memory = "?";
        assert!(child.wait().expect("platenote ends").success());
        let (work_s, length_s) = (start.elapsed().as_secs_f64(), 60.0 * minutes as f64);
        println!(
            "  {minutes:7} {work_s:7.2} s {:16.0} ×   {:18.2} %   {memory:>11}",
            length_s / work_s,
            100.0 * work_s / length_s
        );
    }
}
