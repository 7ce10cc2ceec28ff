//! Every reader under damaged, spliced and random input: no panic, no number that is none, an end in time.
//!
//! A seeded engine on stable Rust: each target has a corpus, and each case is a corpus entry changed a few times.
//! `PLATENOTE_FUZZ_SECONDS` says how long each target runs (0.7 s when it is not set, so that checks stay short);
//! `PLATENOTE_FUZZ_SEED` begins elsewhere. A target prints how many cases it ran; a failing one names seed and case and
//! leaves the input beside the other temporary files. What such a run found is kept in `found.rs`.

mod bench_requests;
mod found;
mod mutate;
mod samples;
mod targets;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use mutate::Mutator;

fn setting(name: &str) -> Option<f64> {
    std::env::var(name).ok()?.parse().ok()
}

/// Run `target` on changed entries of `corpus` until the time is over; each case may take `limit` at the most.
fn fuzz(name: &str, corpus: &[Vec<u8>], dictionary: &[&str], limit: Duration, target: impl Fn(&[u8])) {
    let length = Duration::from_secs_f64(setting("PLATENOTE_FUZZ_SECONDS").unwrap_or(0.7));
    let seed = setting("PLATENOTE_FUZZ_SEED").unwrap_or(20_260_430.0) as u64;
    let mut mutator = Mutator::new(seed, dictionary);
    let begun = Instant::now();
    let (mut n_cases, mut slowest) = (0_u64, Duration::ZERO);
    while begun.elapsed() < length || n_cases < 20 {
        let input = if (n_cases as usize) < corpus.len() {
            corpus[n_cases as usize].clone()
        } else {
            mutator.change(corpus)
        };
        let case_begun = Instant::now();
        let outcome = catch_unwind(AssertUnwindSafe(|| target(&input)));
        let took = case_begun.elapsed();
        slowest = slowest.max(took);
        if outcome.is_err() || took > limit {
            let file = std::env::temp_dir().join(format!("platenote-fuzz-{name}-{seed}-{n_cases}"));
            std::fs::write(&file, &input).unwrap();
            panic!(
                "{name}, seed {seed}, case {n_cases}: panicked: {}, took {took:?} of {limit:?}; input in `{}`",
                outcome.is_err(),
                file.display()
            );
        }
        n_cases += 1;
    }
    println!("{name}: {n_cases} cases in {:?}, slowest {slowest:?}", begun.elapsed());
}
