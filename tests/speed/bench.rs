//! How long it takes: one take, and a pass of 48 takes of 4 s at 48 kHz, the files' reading included.
//!
//! `cargo bench` times both and then prints, measured in one run, how the pass compares with reading the same files
//! and one plain forward real FFT of each take's full length, and what memory it needs.

#[path = "../bench/mod.rs"]
mod bench;
mod pass_job;
#[cfg(target_os = "linux")]
mod peak;

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use criterion::Criterion;
use platenote::analysis::{Expectation, read};
use platenote::audio::read_file;
use rayon::prelude::*;

use pass_job::{PassJob, natural_take};

/// Takes of a pass.
const N_TAKES: usize = 48;
/// Length of each, s.
const LENGTH_S: f64 = 4.0;
/// The best of so many runs is compared: other programs can only make a run longer.
const RUNS: usize = 7;

fn main() {
    let pass = PassJob::new(N_TAKES, N_TAKES, LENGTH_S);
    let mut criterion = Criterion::default()
        .sample_size(10)
        .measurement_time(Duration::from_secs(8))
        .warm_up_time(Duration::from_secs(1))
        .configure_from_args();
    one_take(&mut criterion);
    criterion.bench_function("pass of 48 takes, files included", |bencher| bencher.iter(|| findings(&pass)));
    criterion.bench_function("reading the same files, one FFT each", |bencher| bencher.iter(|| plain(&pass)));
    criterion.final_summary();
    ratios(&pass);
    #[cfg(target_os = "linux")]
    memory();
}

fn one_take(criterion: &mut Criterion) {
    for pitch_hz in [55.0, 440.0, 1760.0] {
        let take = natural_take(3, pitch_hz, LENGTH_S);
        criterion.bench_function(&format!("one take, {pitch_hz} Hz"), |bencher| {
            bencher.iter(|| read(black_box(&take), &Expectation::default()))
        });
    }
}

/// The real program on the whole pass, its start included.
fn findings(pass: &PassJob) {
    let ended = pass.start_findings().wait().expect("platenote ends");
    assert!(ended.success(), "platenote findings: {ended}");
}

/// What the pass is compared with, on as many cores.
fn plain(pass: &PassJob) {
    pass.files.par_iter().for_each(|file| {
        black_box(plain_transform(file));
    });
}

fn plain_transform(file: &Path) -> f64 {
    let take = read_file(file).expect("a take");
    let fft = realfft::RealFftPlanner::<f64>::new().plan_fft_forward(take.samples.len());
    let mut input: Vec<f64> = take.samples.iter().map(|sample| f64::from(*sample)).collect();
    let mut output = fft.make_output_vec();
    fft.process(&mut input, &mut output).expect("lengths fit");
    output.iter().map(|bin| bin.norm_sqr()).sum()
}

fn ratios(pass: &PassJob) {
    let best = |run: &dyn Fn()| {
        let timed = || {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64()
        };
        (0..RUNS).map(|_| timed()).fold(f64::INFINITY, f64::min)
    };
    let (whole, plain) = (best(&|| findings(pass)), best(&|| plain(pass)));
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    println!("\nA pass of {N_TAKES} takes of {LENGTH_S} s, {cores} cores, best of {RUNS} runs:");
    println!("  platenote findings                     {:8.1} ms", 1e3 * whole);
    println!("  reading the files, one real FFT each   {:8.1} ms", 1e3 * plain);
    println!("  ratio                                  {:8.2}", whole / plain);
}

#[cfg(target_os = "linux")]
fn memory() {
    println!("\nPeak memory of platenote findings:");
    for (n_takes, length_s) in [(12, 4.0), (48, 4.0), (12, 12.0)] {
        let peak = peak::peak_mb(&mut PassJob::new(n_takes, 12, length_s).start_findings());
        println!("  {n_takes} takes of {length_s:4} s   {peak:6.1} MB");
    }
}
