//! How long it takes: one take, and a pass of 48 takes of 4 s at 48 kHz, the files' reading included.
//!
//! `cargo bench` times both and then prints, measured in one run, how the pass compares with reading the same files
//! and one plain forward real FFT of each take's full length, without and with the refinement's own arithmetic as
//! docs/method.md states it, and what memory it needs.

mod arithmetic;
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

/// The same, and the refinement's own arithmetic.
fn stated(pass: &PassJob) {
    pass.files.par_iter().zip(&pass.pitches).for_each(|(file, pitch_hz)| {
        black_box(plain_transform(file));
        arithmetic::refinement(LENGTH_S, f64::from(pass_job::RATE_HZ), *pitch_hz);
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

/// Wall and processor time of one run, s; processor time where the system tells it.
struct Took {
    wall_s: f64,
    cpu_s: Option<f64>,
}

fn timed(run: &dyn Fn()) -> Took {
    let (start, before) = (Instant::now(), cpu_s());
    run();
    Took {
        wall_s: start.elapsed().as_secs_f64(),
        cpu_s: cpu_s().zip(before).map(|(after, before)| after - before),
    }
}

/// The least of several runs, wall and processor time each: other programs can only add to it.
fn least(run: &dyn Fn()) -> Took {
    let runs: Vec<Took> = (0..RUNS).map(|_| timed(run)).collect();
    Took {
        wall_s: runs.iter().map(|took| took.wall_s).fold(f64::INFINITY, f64::min),
        cpu_s: runs.iter().filter_map(|took| took.cpu_s).reduce(f64::min),
    }
}

/// Processor time of this program and of those it has waited for, s, in ticks of 10 ms (Linux).
fn cpu_s() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // After the name in brackets: state is field 3; utime, stime, cutime and cstime are fields 14 to 17.
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks: f64 = fields.get(11..15)?.iter().filter_map(|field| field.parse::<f64>().ok()).sum();
    Some(0.01 * ticks)
}

fn ratios(pass: &PassJob) {
    let whole = least(&|| findings(pass));
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    println!("\nA pass of {N_TAKES} takes of {LENGTH_S} s, {cores} cores, least of {RUNS} runs:");
    println!("                                                       wall    processor");
    let print = |what: &str, took: &Took| {
        let cpu = took.cpu_s.map_or("?".to_owned(), |cpu_s| format!("{:.0} ms", 1e3 * cpu_s));
        println!("  {what:47} {:8.0} ms {cpu:>10}", 1e3 * took.wall_s);
    };
    print("platenote findings", &whole);
    for (what, compared) in [
        ("reading the files, one real FFT each", least(&|| plain(pass))),
        ("the same and the refinement's own arithmetic", least(&|| stated(pass))),
    ] {
        print(what, &compared);
        let cpu = whole.cpu_s.zip(compared.cpu_s).map_or("?".to_owned(), |(a, b)| format!("{:.2}", a / b));
        println!("  {:47} {:11.2} {cpu:>10}", "ratio", whole.wall_s / compared.wall_s);
    }
}

#[cfg(target_os = "linux")]
fn memory() {
    println!("\nPeak memory of platenote findings:");
    for (n_takes, length_s) in [(12, 4.0), (48, 4.0), (12, 12.0)] {
        let peak = peak::peak_mb(&mut PassJob::new(n_takes, 12, length_s).start_findings());
        println!("  {n_takes} takes of {length_s:4} s   {peak:6.1} MB");
    }
}
