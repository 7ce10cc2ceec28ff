//! How an invented reed sounds: harmonic partials on a wavering bellows, breath, a slow start, two tongues that ring on.

use std::f64::consts::TAU;

use crate::take::Take;
use crate::units::Hz;

use super::chance::Chance;

/// What sounds in a take.
pub(crate) struct Sounding {
    /// Which reed it is: the same reed has the same timbre in every take.
    pub reed_name: String,
    /// Which take it is: no two takes waver alike.
    pub take_name: String,
    pub pitch: Hz,
    /// Pitch of the plate's other reed.
    pub opposite: Hz,
    pub leak: Option<Leak>,
    /// Lost to a leak that nothing else tells of, dB.
    pub weaker_db: f64,
}

/// Air past the valve that should be shut.
#[derive(Clone, Copy)]
pub(crate) struct Leak {
    /// Power of the opposite reed's series re the sounding one's, dB.
    pub series_db: f64,
    /// What the sounding reed loses, dB.
    pub weakens_db: f64,
}

const RATE_HZ: u32 = 48_000;
/// The waver is drawn at this distance and joined by straight lines, s.
const KNOT_S: f64 = 0.05;
/// Free ringing is sharper than the blown pitch, cents (`docs/method.md`).
const RING_SHARPER_CENTS: f64 = 10.0;
/// Level of the steady tone, dBFS.
const LEVEL_DBFS: f64 = -17.0;
/// Air noise re the tone, dB, and what a leak adds.
const BREATH_DB: f64 = -58.0;
const LEAK_BREATH_DB: f64 = 3.0;
/// The room and the microphone, dBFS.
const ROOM_DBFS: f64 = -86.0;
/// Highest partial, and the highest frequency that is made.
const MOST_PARTIALS: usize = 18;
const TOP_HZ: f64 = 9_000.0;
/// How much the tongue of the closed side rings along at the stop, with a good valve and with a leaking one, dB.
const RING_ALONG_DB: (f64, f64) = (-52.0, -20.0);

/// The times of a take, s: lower reeds start and ring longer, and are held longer.
struct Times {
    start: f64,
    rise: f64,
    stop: f64,
    ring: f64,
    end: f64,
}

impl Times {
    fn of(pitch: f64, leak: Option<Leak>) -> Self {
        let slower = if leak.is_some() { 1.35 } else { 1.0 };
        // Attacks and rings in the usual range from bass to middle reeds: common practice, no source.
        let rise = slower * 0.05 * (440.0 / pitch).powf(0.55);
        let ring = 0.10 * (440.0 / pitch).powf(0.4);
        let held = if pitch < 200.0 { 4.2 } else { 2.8 };
        let start = 0.25;
        let stop = start + 3.0 * rise + held;
        Self { start, rise, stop, ring, end: stop + 0.6 }
    }

    /// Swing of the sounding tongue at `t`, 1 when steady.
    fn swing(&self, t: f64) -> f64 {
        if t < self.start {
            0.0
        } else if t < self.stop {
            // Slow growth that bends into the steady swing.
            let way = (t - self.start) / self.rise;
            let grown = 1.0 - (-way).exp();
            grown * grown
        } else {
            (-(t - self.stop) / self.ring).exp()
        }
    }

    /// Whether air moves at `t`, as a factor.
    fn air(&self, t: f64) -> f64 {
        const EDGE_S: f64 = 0.01;
        ((t - self.start + 0.02) / EDGE_S).clamp(0.0, 1.0) * ((self.stop - t) / EDGE_S).clamp(0.0, 1.0)
    }
}

/// The take, one channel of 32-bit floats.
pub(crate) fn take(sounding: &Sounding) -> Take {
    let mut chance = Chance::named(&sounding.take_name);
    let times = Times::of(sounding.pitch.get(), sounding.leak);
    let rate = f64::from(RATE_HZ);
    let n_samples = (times.end * rate) as usize;
    let waver = Waver::new(&mut chance, times.end);

    let lost_db = sounding.leak.map_or(0.0, |leak| leak.weakens_db) + sounding.weaker_db;
    let steady_db = LEVEL_DBFS + 0.25 * chance.normal() - lost_db;
    let own = Series::new(&sounding.reed_name, sounding.pitch, steady_db, &mut chance);
    let other_name = format!("{} opposite", sounding.reed_name);
    let blown_db = sounding.leak.map_or(f64::NEG_INFINITY, |leak| steady_db + leak.series_db);
    let ring_db = steady_db + if sounding.leak.is_some() { RING_ALONG_DB.1 } else { RING_ALONG_DB.0 };
    let other = Series::new(&other_name, sounding.opposite, 0.0, &mut chance);
    let (blown, ringing) = (amplitude(blown_db), amplitude(ring_db));

    let breath_db = LEVEL_DBFS + BREATH_DB + if sounding.leak.is_some() { LEAK_BREATH_DB } else { 0.0 };
    let (breath, room) = (amplitude(breath_db), amplitude(ROOM_DBFS));
    let hum = TAU * (50.0 + 0.02 * chance.even()) / rate;

    let (mut own_phase, mut other_phase, mut air_noise) = (0.0f64, 0.0f64, 0.0f64);
    let samples = (0..n_samples).map(|k| {
        let t = k as f64 / rate;
        let (cents, level_db) = waver.at(t);
        let is_ringing = t >= times.stop;
        let cents = if is_ringing { RING_SHARPER_CENTS } else { cents };
        let ratio = (cents * std::f64::consts::LN_2 / 1200.0).exp();
        own_phase = (own_phase + own.hz * ratio / rate).fract();
        other_phase = (other_phase + other.hz * ratio / rate).fract();

        let swing = times.swing(t);
        let push = if is_ringing { 1.0 } else { (level_db * std::f64::consts::LN_10 / 20.0).exp() };
        let mut sum = 0.0;
        if swing > 1e-5 {
            sum += own.at(own_phase) * swing * push;
            let along = if is_ringing { ringing.max(blown) } else { blown };
            if along > 0.0 {
                sum += other.at(other_phase) * along * swing * push;
            }
        }
        // Air hisses more below 2 kHz than above.
        air_noise += 0.23 * (chance.even() * 3f64.sqrt() - air_noise);
        sum += breath * 2.8 * air_noise * times.air(t) + room * 3f64.sqrt() * chance.even();
        sum += 0.3 * room * (hum * k as f64).sin();
        sum as f32
    });
    Take::new(samples.collect(), RATE_HZ)
}

/// Amplitude whose square is the power of a level.
fn amplitude(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// A reed's partials.
struct Series {
    hz: f64,
    /// Cosine and sine part of each partial, the fundamental first.
    partials: Vec<(f64, f64)>,
}

impl Series {
    fn new(name: &str, pitch: Hz, level_db: f64, phases: &mut Chance) -> Self {
        let hz = pitch.get();
        let mut timbre = Chance::named(name);
        let n_partials = ((TOP_HZ / hz) as usize).clamp(1, MOST_PARTIALS);
        let weights: Vec<f64> = (1..=n_partials)
            .map(|number| {
                let at = hz * number as f64;
                // A falling series; what lies below about 200 Hz radiates badly, so a bass reed's fundamental is weak.
                let radiated = 1.0 / (1.0 + (200.0 / at).powi(2));
                (number as f64).powf(-1.15) * radiated * amplitude(2.0 * timbre.even())
            })
            .collect();
        let power: f64 = weights.iter().map(|weight| 0.5 * weight * weight).sum();
        let scale = amplitude(level_db) / power.sqrt();
        let partials = weights.iter().map(|weight| {
            let phase = 0.5 * TAU * phases.even();
            (scale * weight * phase.cos(), scale * weight * phase.sin())
        });
        Self { hz, partials: partials.collect() }
    }

    /// The sum of the partials at a phase of the fundamental, in turns.
    fn at(&self, phase: f64) -> f64 {
        let (sin, cos) = (TAU * phase).sin_cos();
        let (mut re, mut im) = (1.0, 0.0);
        let mut sum = 0.0;
        for (in_phase, across) in &self.partials {
            (re, im) = (re * cos - im * sin, re * sin + im * cos);
            sum += in_phase * re - across * im;
        }
        sum
    }
}

/// The bellows: slow drift of pitch and level, and the tremor of an arm.
struct Waver {
    /// Pitch in cents and level in dB at each knot.
    knots: Vec<(f64, f64)>,
    tremor_hz: f64,
    tremor_phase: f64,
}

impl Waver {
    fn new(chance: &mut Chance, length_s: f64) -> Self {
        let mut pressure = 0.0;
        let knots = (0..(length_s / KNOT_S) as usize + 3).map(|_| {
            // A walk that is pulled back: about 0.5 dB wide, correlated over half a second.
            pressure += -0.1 * pressure + 0.22 * chance.normal();
            // More pressure, lower pitch.
            (-0.35 * pressure + 0.05 * chance.normal(), pressure)
        });
        let knots = knots.collect();
        Self { knots, tremor_hz: 5.5 + chance.even(), tremor_phase: TAU * chance.even() }
    }

    fn at(&self, t: f64) -> (f64, f64) {
        let place = (t / KNOT_S).max(0.0);
        let knot = place as usize;
        let way = place - knot as f64;
        let [(from_cents, from_db), (to_cents, to_db)] = match self.knots.get(knot..knot + 2) {
            Some([from, to]) => [*from, *to],
            _ => [(0.0, 0.0); 2],
        };
        let tremor = (TAU * self.tremor_hz * t + self.tremor_phase).sin();
        let cents = from_cents + way * (to_cents - from_cents) + 0.04 * tremor;
        (cents, from_db + way * (to_db - from_db) - 0.1 * tremor)
    }
}
