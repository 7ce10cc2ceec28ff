//! One long recording of a block being played, with everything that happens beside the notes; deterministic by seed.

use super::chance::Chance;
use super::natural::random_natural;
use super::tone::Tail;
use std::f64::consts::TAU;

/// Something that sounds.
#[derive(Debug, Clone, PartialEq)]
pub enum Happens {
    /// A note at this pitch, Hz, for so long, s, at this level, dBFS.
    Note { hz: f64, lasts_s: f64, level_dbfs: f64 },
    /// The same, for less time than a note.
    Blip { hz: f64, lasts_s: f64, level_dbfs: f64 },
    /// Words at this level, dBFS.
    Speech { lasts_s: f64, level_dbfs: f64 },
    /// A cough.
    Cough { level_dbfs: f64 },
    /// A knock on wood.
    Knock { level_dbfs: f64 },
    /// Something scrapes.
    Scraping { lasts_s: f64, level_dbfs: f64 },
    /// Air through the bellows, no reed.
    Bellows { lasts_s: f64, level_dbfs: f64 },
    /// Nothing.
    Quiet { lasts_s: f64 },
}

/// A note that was planted.
#[derive(Debug, Clone, PartialEq)]
pub struct Planted {
    /// Where it begins, s.
    pub start_s: f64,
    /// Where the air stops, s.
    pub stop_s: f64,
    /// Its pitch, Hz.
    pub hz: f64,
}

/// The recording and where its notes lie.
pub struct Sitting {
    /// One channel.
    pub samples: Vec<f32>,
    /// Samples per second.
    pub rate_hz: u32,
    /// The notes, in order.
    pub notes: Vec<Planted>,
}

impl Sitting {
    /// Play `events` one after the other in a room with noise at `noise_dbfs`.
    pub fn play(seed: u64, rate_hz: u32, noise_dbfs: f64, events: &[Happens]) -> Self {
        let rate = f64::from(rate_hz);
        let (mut out, mut notes): (Vec<f64>, Vec<Planted>) = (Vec::new(), Vec::new());
        for (idx, event) in events.iter().enumerate() {
            let chance = &mut Chance::split(seed, 1_000 + idx as u64);
            let at_s = out.len() as f64 / rate;
            match *event {
                Happens::Note { hz, lasts_s, level_dbfs } => {
                    let (sound, start_s, stop_s) = reed(chance.bits(), rate_hz, hz, lasts_s, level_dbfs);
                    notes.push(Planted { start_s: at_s + start_s, stop_s: at_s + stop_s, hz });
                    out.extend(sound);
                }
                Happens::Blip { hz, lasts_s, level_dbfs } => {
                    out.extend(reed(chance.bits(), rate_hz, hz, lasts_s, level_dbfs).0);
                }
                Happens::Speech { lasts_s, level_dbfs } => {
                    out.extend(levelled(speech(chance, rate, lasts_s), level_dbfs));
                }
                Happens::Cough { level_dbfs } => out.extend(levelled(cough(chance, rate), level_dbfs)),
                Happens::Knock { level_dbfs } => out.extend(levelled(knock(chance, rate), level_dbfs)),
                Happens::Scraping { lasts_s, level_dbfs } => {
                    out.extend(levelled(scraping(chance, rate, lasts_s), level_dbfs));
                }
                Happens::Bellows { lasts_s, level_dbfs } => {
                    out.extend(levelled(bellows(chance, rate, lasts_s), level_dbfs));
                }
                Happens::Quiet { lasts_s } => out.resize(out.len() + (lasts_s * rate) as usize, 0.0),
            }
        }
        let (noise, chance) = (10f64.powf(noise_dbfs / 20.0), &mut Chance::split(seed, 1));
        // Somewhat darker than white, as rooms are.
        let mut low = 0.0;
        let samples = out.iter().map(|x| {
            low = 0.6 * low + 0.8 * chance.normal();
            (x + noise * low).clamp(-1.0, 1.0) as f32
        });
        Self { samples: samples.collect(), rate_hz, notes }
    }
}

/// A note with its ring, and where in it the air comes and stops, s.
fn reed(seed: u64, rate_hz: u32, hz: f64, lasts_s: f64, level_dbfs: f64) -> (Vec<f64>, f64, f64) {
    let mut spec = random_natural(seed, hz, 1.000_01 * hz);
    spec.rate_hz = rate_hz;
    spec.lead_in_s = 0.02;
    spec.attack_s = spec.attack_s.min(0.6 * lasts_s);
    spec.steady_s = lasts_s - spec.attack_s;
    spec.snr_db = None;
    spec.mains = None;
    spec.rumble_db = None;
    spec.level_dbfs = level_dbfs;
    if let Tail::Ring { length_s, .. } = &mut spec.tail {
        *length_s = length_s.min(0.6);
    }
    let (start, stop) = (spec.lead_in_s, spec.lead_in_s + lasts_s);
    let samples = spec.render(seed).samples;
    (samples.iter().map(|x| f64::from(*x)).collect(), start, stop)
}

/// Scaled so that its loudest tenth of a second (or all of it) has this level.
fn levelled(mut sound: Vec<f64>, level_dbfs: f64) -> Vec<f64> {
    let part = (sound.len() / 8).max(1);
    let power = sound
        .chunks(part)
        .map(|part| part.iter().map(|x| x * x).sum::<f64>() / part.len() as f64)
        .fold(1e-30, f64::max);
    let gain = (10f64.powf(level_dbfs / 10.0) / power).sqrt();
    sound.iter_mut().for_each(|x| *x *= gain);
    sound
}

/// A resonance: two poles.
struct Resonance {
    a: f64,
    b: f64,
    past: [f64; 2],
}

impl Resonance {
    fn new(hz: f64, width_hz: f64, rate: f64) -> Self {
        let r = (-std::f64::consts::PI * width_hz / rate).exp();
        Self { a: 2.0 * r * (TAU * hz / rate).cos(), b: -r * r, past: [0.0; 2] }
    }

    fn next(&mut self, x: f64) -> f64 {
        let y = x + self.a * self.past[0] + self.b * self.past[1];
        self.past = [y, self.past[0]];
        y
    }
}

/// Syllables: a voice whose pitch glides by semitones, through three formants, and hisses between.
fn speech(chance: &mut Chance, rate: f64, lasts_s: f64) -> Vec<f64> {
    let voice_hz = chance.log_between(90.0, 230.0);
    let mut out: Vec<f64> = Vec::new();
    while (out.len() as f64) < lasts_s * rate {
        let n = (chance.between(0.12, 0.35) * rate) as usize;
        let (from, to) = (chance.between(-400.0, 400.0), chance.between(-400.0, 400.0));
        let formants = [(280.0, 800.0), (900.0, 2_300.0), (2_300.0, 3_200.0)];
        let mut throat =
            formants.map(|(lo, hi)| Resonance::new(chance.log_between(lo, hi).min(0.45 * rate), 90.0, rate));
        let mut turn = 0.0;
        for i in 0..n {
            let way = i as f64 / n as f64;
            let cents = from + (to - from) * way + 25.0 * (TAU * 5.0 * i as f64 / rate).sin();
            let before: f64 = turn;
            turn += voice_hz * (cents / 1200.0).exp2() / rate * (1.0 + 0.01 * chance.normal());
            let pulse = if turn.floor() > before.floor() { 1.0 } else { 0.0 };
            let swell = (std::f64::consts::PI * way).sin().powf(0.6);
            out.push(swell * throat.iter_mut().map(|formant| formant.next(pulse)).sum::<f64>());
        }
        if chance.happens(0.4) {
            let strongest = out.iter().fold(0.0_f64, |a, x| a.max(x.abs()));
            let n = (chance.between(0.05, 0.15) * rate) as usize;
            out.extend((0..n).map(|_| 0.08 * strongest * chance.normal()));
        }
        let pause = (chance.between(0.02, 0.25) * rate) as usize;
        out.resize(out.len() + pause, 0.0);
    }
    out
}

/// Two bursts of noise through the throat.
fn cough(chance: &mut Chance, rate: f64) -> Vec<f64> {
    let mut out = Vec::new();
    for _ in 0..2 {
        let mut throat = Resonance::new(chance.between(500.0, 1_200.0), 700.0, rate);
        let n = (chance.between(0.18, 0.4) * rate) as usize;
        out.extend((0..n).map(|i| (-(i as f64) / (0.3 * n as f64)).exp() * throat.next(chance.normal())));
        out.resize(out.len() + (0.08 * rate) as usize, 0.0);
    }
    out
}

/// Some modes of wood that die away at once.
fn knock(chance: &mut Chance, rate: f64) -> Vec<f64> {
    let modes: Vec<(f64, f64)> =
        (0..5).map(|_| (chance.log_between(120.0, 1_500.0), chance.between(0.008, 0.04))).collect();
    let n = (0.25 * rate) as usize;
    let at = |t: f64| modes.iter().map(|(hz, decay_s)| (-t / decay_s).exp() * (TAU * hz * t).sin()).sum();
    (0..n).map(|i| at(i as f64 / rate)).collect()
}

/// High noise in irregular strokes.
fn scraping(chance: &mut Chance, rate: f64, lasts_s: f64) -> Vec<f64> {
    let mut edge = Resonance::new(chance.between(1_800.0, 4_000.0).min(0.45 * rate), 1_200.0, rate);
    let (mut swell, mut wanted) = (0.0, 1.0);
    (0..(lasts_s * rate) as usize)
        .map(|i| {
            if i % (0.04 * rate) as usize == 0 {
                wanted = chance.unit();
            }
            swell += 0.003 * (wanted - swell);
            swell * edge.next(chance.normal())
        })
        .collect()
}

/// Soft noise, mostly low, that swells and goes.
fn bellows(chance: &mut Chance, rate: f64, lasts_s: f64) -> Vec<f64> {
    let n = (lasts_s * rate) as usize;
    let pole = (-TAU * chance.log_between(400.0, 1_500.0) / rate).exp();
    let mut low = 0.0;
    (0..n)
        .map(|i| {
            low = pole * low + (1.0 - pole) * chance.normal();
            low * (std::f64::consts::PI * i as f64 / n as f64).sin().powi(2)
        })
        .collect()
}
