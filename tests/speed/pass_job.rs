//! A job with one pass of takes of a given number and length, in a temporary folder, and the real program on it.

use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use platenote::audio::write_wav;
use platenote::job::Job;
use platenote::take::Take;

use crate::bench::chance::Chance;
use crate::bench::natural::{natural_opposite, random_natural};

/// Samples per second of every take.
pub const RATE_HZ: u32 = 48_000;

/// A job with takes; its folder goes when it is dropped.
pub struct PassJob {
    folder: tempfile::TempDir,
    /// The sound files as they came, before they were added.
    pub files: Vec<PathBuf>,
    /// The pitch of each, Hz; only the benchmark asks for it.
    #[allow(dead_code)]
    pub pitches: Vec<f64>,
}

impl PassJob {
    /// A bass block with `n_takes` (a divisor of its 48 reeds) natural takes of `length_s` in the pass `before`, a third of them
    /// with an opposite reed sounding. Of `n_kinds` different sounds each comes again and again, a little softer.
    pub fn new(n_takes: usize, n_kinds: usize, length_s: f64) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let job = Self { files: Vec::new(), pitches: Vec::new(), folder };
        job.platenote(&["new", "job", "--template", "bass24"]);
        let plan = Job::open(&job.path("job")).expect("a job");
        let instrument = plan.instrument();
        let reeds: Vec<_> = instrument.reeds().map(|(place, _)| place).collect();
        // Spread over the block, both strokes of a plate: then all cores find work, however few there are.
        let plates = reeds.chunks(2).step_by(reeds.len() / n_takes);
        let places: Vec<_> = plates.flatten().cloned().collect();
        let (files, pitches): (Vec<PathBuf>, Vec<f64>) = places
            .iter()
            .enumerate()
            .map(|(idx, place)| {
                let kind = idx % n_kinds;
                let pitch_hz = instrument.target(&places[kind]).expect("a target").get();
                let mut take = natural_take(kind as u64, pitch_hz, length_s);
                let softer = 0.99_f32.powi((idx / n_kinds) as i32);
                take.samples.iter_mut().for_each(|sample| *sample *= softer);
                let file = job.path(&format!("{}.wav", place.to_string().replace(' ', "-")));
                write_wav(&file, &take).expect("a sound file");
                (file, pitch_hz)
            })
            .unzip();
        let mut words = vec!["add", "job", "--pass", "before"];
        words.extend(files.iter().map(|file| file.to_str().expect("a plain path")));
        job.platenote(&words);
        Self { files, pitches, ..job }
    }

    /// Start `platenote findings`, which listens to the whole pass; readings kept from before are forgotten.
    pub fn start_findings(&self) -> Child {
        let _ = std::fs::remove_file(self.path("job").join("readings.json"));
        self.command(&["findings", "job", "--pass", "before", "--json"]).spawn().expect("platenote starts")
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn platenote(&self, words: &[&str]) {
        let ended = self.command(words).status().expect("platenote starts");
        assert!(ended.success(), "platenote {words:?}: {ended}");
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        command.current_dir(self.folder.path()).args(words).stdout(Stdio::null()).stderr(Stdio::null());
        command
    }
}

/// A take of exactly `length_s`: silence, attack, steady tone, stop.
pub fn natural_take(seed: u64, pitch_hz: f64, length_s: f64) -> Take {
    let chance = &mut Chance::split(seed, 300);
    let mut spec = random_natural(seed, pitch_hz, 1.000_01 * pitch_hz);
    spec.rate_hz = RATE_HZ;
    spec.lead_in_s = 0.2;
    spec.steady_s = length_s - spec.lead_in_s - spec.attack_s - 0.3;
    if seed.is_multiple_of(3) {
        spec.opposite =
            Some(natural_opposite(seed, &spec, chance.between(3.0, 15.0), chance.between(-40.0, -25.0)));
    }
    let mut samples = spec.render(seed).samples;
    samples.resize((length_s * f64::from(RATE_HZ)) as usize, 0.0);
    Take::new(samples, RATE_HZ)
}
