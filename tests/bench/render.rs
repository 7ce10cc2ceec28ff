//! A signal model of a take of a free reed, deterministic by seed.
//!
//! Room noise, the air comes, the tone grows, wanders with the bellows, and rings freely when the air stops.

use super::chance::Chance;
use super::tone::{Companion, Rendered, Tail, ToneSpec};
use super::truth::{Breath, Truth};
use super::voice::{STEP, add_series, add_sine, n_controls, turns};
use std::f64::consts::TAU;

/// Stream of chance the room is drawn from.
const ROOM: u64 = 4;

/// How long air and pitch take to change over when the air stops, s [CP].
const CHANGE_OVER_S: f64 = 0.01;

impl ToneSpec {
    /// Make the sound.
    pub fn render(&self, seed: u64) -> Rendered {
        let rate = f64::from(self.rate_hz);
        let true_rate = rate * (1.0 + 1e-6 * self.clock_ppm);
        let after_s = match self.tail {
            Tail::CutOff => 0.0,
            Tail::Ring { length_s, .. } | Tail::Fade(length_s) => length_s,
        };
        let stop_s = self.lead_in_s + self.attack_s + self.steady_s;
        let n = ((stop_s + after_s) * true_rate) as usize;
        let course = self.course(n, true_rate, stop_s, &mut Chance::split(seed, 1));

        let partials = self.within_band(&self.partials, self.f0_hz);
        let tone_power = 0.5 * partials.iter().map(|a| a * a).sum::<f64>();
        let mut chance = Chance::split(seed, 2);
        let cents: Vec<f64> = course.iter().map(|c| c.cents + self.main_extra_cents(c)).collect();
        let main_turns = turns(&cents, self.f0_hz, true_rate, n, chance.unit());
        let mut dry = vec![0.0; n];
        self.add_voice(&mut dry, &main_turns, &partials, &course, None, &mut chance);

        let (mut opposite_turns, mut opposite_partials) = (None, Vec::new());
        for (idx, companion) in self.opposite.iter().chain(&self.others).enumerate() {
            let mut chance = Chance::split(seed, 10 + idx as u64);
            let (own_turns, own_partials) =
                self.companion(companion, &course, tone_power, true_rate, &main_turns, &mut chance);
            self.add_voice(&mut dry, &own_turns, &own_partials, &course, Some(companion), &mut chance);
            if idx == 0 && self.opposite.is_some() {
                (opposite_turns, opposite_partials) = (Some(own_turns), own_partials);
            }
        }
        let breath = self.breath.clone().map(|b| {
            let power = tone_power * 10f64.powf(-b.tone_over_breath_db / 10.0);
            add_breath(&mut dry, &b, power, rate, &course, &mut Chance::split(seed, 3));
            (b, power)
        });
        let mut heard = match &self.room {
            Some(room) => room.sound(&dry, rate, &mut Chance::split(seed, ROOM)),
            None => dry,
        };
        let white_power = self.snr_db.map_or(0.0, |snr| tone_power * 10f64.powf(-snr / 10.0));
        let mut noise = Chance::split(seed, 5);
        if white_power > 0.0 {
            heard.iter_mut().for_each(|x| *x += white_power.sqrt() * noise.normal());
        }
        let strongest = partials.iter().fold(0.0, |a: f64, b| a.max(*b));
        self.add_mains_and_rumble(&mut heard, strongest, tone_power, true_rate, &mut Chance::split(seed, 6));

        let on_card = true_rate / rate;
        Rendered {
            samples: self.digitise(&heard, tone_power),
            rate_hz: self.rate_hz,
            truth: Truth {
                rate_hz: rate,
                clock_ppm: self.clock_ppm,
                turns: main_turns,
                partials,
                opposite_turns,
                opposite_partials,
                reflections: self
                    .room
                    .as_ref()
                    .map_or_else(Vec::new, |room| room.reflections(rate, &mut Chance::split(seed, ROOM))),
                white_power,
                breath,
                air_s: self.lead_in_s * on_card,
                onset_s: self.attack_s * on_card,
                stop_s: stop_s * on_card,
                tail_offset_cents: self.tail_offset_cents(),
            },
        }
    }

    fn tail_offset_cents(&self) -> Option<f64> {
        let Tail::Ring { sharper_cents, .. } = self.tail else { return None };
        self.opposite.as_ref().map(|o| o.offset_cents + o.tail_sharper_cents - sharper_cents)
    }

    fn within_band(&self, partials: &[f64], f0_hz: f64) -> Vec<f64> {
        let fit = (0.49 * f64::from(self.rate_hz) / f0_hz) as usize;
        partials.iter().copied().take(fit).collect()
    }

    fn course(&self, n: usize, true_rate: f64, stop_s: f64, chance: &mut Chance) -> Vec<Course> {
        let step_s = STEP as f64 / true_rate;
        let n_controls = n_controls(n);
        let random = smooth_wander(n_controls, self.wander.correlation_s / step_s, chance);
        let tremor_phase = chance.unit();
        (0..n_controls)
            .map(|j| {
                let t = j as f64 * step_s;
                let since_air = t - self.lead_in_s;
                let since_stop = (t - stop_s).max(0.0);
                let slow = self.wander.range_cents / 3.29 * random[j]
                    + self.wander.slope_cents_per_s
                        * (t - self.lead_in_s - self.attack_s - 0.5 * self.steady_s);
                let tremor = self
                    .tremor
                    .as_ref()
                    .map_or(0.0, |tr| tr.cents * (TAU * (tr.rate_hz * t + tremor_phase)).sin());
                let rising = if self.attack_s > 0.0 { (since_air / 0.02).clamp(0.0, 1.0) } else { 1.0 };
                let falling = match self.tail {
                    Tail::Fade(length_s) => (1.0 - since_stop / length_s).max(0.0),
                    _ => (-since_stop / (0.5 * CHANGE_OVER_S)).exp(),
                };
                let level_db = (-self.wander.db_per_cent * slow).clamp(-12.0, 12.0);
                Course {
                    since_air,
                    since_stop,
                    air: rising * falling * 10f64.powf(level_db / 20.0),
                    growth: growth(since_air, self.attack_s),
                    cents: slow + tremor,
                    level_db,
                }
            })
            .collect()
    }

    /// What the sounding reed adds to the common course: low while it grows, sharp when it rings freely.
    fn main_extra_cents(&self, c: &Course) -> f64 {
        -6.0 * (1.0 - c.growth) + self.sharper(c, None)
    }

    fn sharper(&self, c: &Course, own: Option<f64>) -> f64 {
        match self.tail {
            Tail::Ring { sharper_cents, .. } => own.unwrap_or(sharper_cents) * change_over(c),
            _ => 0.0,
        }
    }

    fn companion(
        &self,
        companion: &Companion,
        course: &[Course],
        tone_power: f64,
        true_rate: f64,
        main_turns: &[f64],
        chance: &mut Chance,
    ) -> (Vec<f64>, Vec<f64>) {
        let f0 = self.f0_hz * (companion.offset_cents / 1200.0).exp2();
        let shape = self.within_band(&companion.partials, f0);
        let shape_power = 0.5 * shape.iter().map(|a| a * a).sum::<f64>();
        let scale = (tone_power / shape_power * 10f64.powf(companion.level_db / 10.0)).sqrt();
        let partials = shape.iter().map(|a| a * scale).collect();
        let step_s = STEP as f64 / true_rate;
        let own = smooth_wander(course.len(), 0.5 / step_s, chance);
        let cents: Vec<f64> = course
            .iter()
            .zip(&own)
            .map(|(c, own)| {
                let ring = self.sharper(c, Some(companion.tail_sharper_cents));
                if companion.forced {
                    // At exactly the sounding reed's pitch until the air stops.
                    self.main_extra_cents(c) * (1.0 - change_over(c))
                        + c.cents
                        + companion.offset_cents * (change_over(c) - 1.0)
                        + ring
                } else {
                    companion.share * c.cents + companion.own_wander_cents / 3.29 * own + ring
                }
            })
            .collect();
        let start = if companion.forced { main_turns[0] } else { chance.unit() };
        (turns(&cents, f0, true_rate, main_turns.len() - 1, start), partials)
    }

    /// Add one voice; the sounding reed when `companion` is `None`.
    fn add_voice(
        &self,
        out: &mut [f64],
        turns: &[f64],
        partials: &[f64],
        course: &[Course],
        companion: Option<&Companion>,
        chance: &mut Chance,
    ) {
        let n = partials.len();
        let phases: Vec<(f64, f64)> = (0..n).map(|_| (TAU * chance.unit()).sin_cos()).collect();
        let spread = self.tremor.as_ref().map_or(0.0, |t| t.spread);
        let depths: Vec<f64> = (0..n).map(|_| 1.0 + spread * chance.between(-1.0, 1.0)).collect();
        let lags: Vec<f64> = (0..n).map(|_| spread * chance.between(-0.2, 0.2)).collect();
        let tail_gain = companion.map_or(0.0, |c| (c.tail_level_db - c.level_db) * 10f64.ln() / 20.0);
        add_series(out, turns, n, |k, j| {
            let c = &course[j];
            let order = (k + 1) as f64;
            // The upper partials grow later and follow the pressure more [CP].
            let grown = c.growth.powf((1.0 + 0.15 * k as f64).min(3.0));
            let mut log_gain = c.level_db * (1.0 + 0.2 * order.log2()) * 10f64.ln() / 20.0;
            if c.since_stop > 0.0 {
                log_gain += match self.tail {
                    Tail::Ring { decay_s, .. } => {
                        // Without air only the tongue's own swing is left: the upper partials go at once.
                        let lost = if k == 0 { 0.0 } else { 1.2 };
                        -c.since_stop / decay_s * (1.0 + 0.5 * k as f64) + (tail_gain - lost) * change_over(c)
                    }
                    _ => order.min(3.0) * c.air.max(1e-9).ln(),
                };
            }
            let tremor = self.tremor.as_ref().map_or(1.0, |t| {
                1.0 - t.depth * depths[k] * (TAU * (t.rate_hz * c.since_air + lags[k])).sin()
            });
            let amplitude = partials[k] * grown * log_gain.exp() * tremor;
            (amplitude * phases[k].1, amplitude * phases[k].0)
        });
    }

    fn add_mains_and_rumble(
        &self,
        out: &mut [f64],
        strongest: f64,
        tone_power: f64,
        rate: f64,
        chance: &mut Chance,
    ) {
        if let Some(mains) = &self.mains {
            for h in 1..=mains.harmonics {
                let level = mains.level_db - 4.0 * (h - 1) as f64
                    + if h > 1 { chance.between(-6.0, 6.0) } else { 0.0 };
                let (amplitude, phase) = (strongest * 10f64.powf(level / 20.0), chance.unit());
                add_sine(out, mains.hz * h as f64 / rate, phase, amplitude);
            }
        }
        if let Some(rumble_db) = self.rumble_db {
            let a = Breath::pole(25.0, rate);
            // Two low passes in a row: power (1 + a²)(1 − a) / (1 + a)³ of white noise.
            let power = (1.0 + a * a) * (1.0 - a) / (1.0 + a).powi(3);
            let scale = (tone_power * 10f64.powf(rumble_db / 10.0) / power).sqrt();
            let (mut first, mut second) = (0.0, 0.0);
            for x in out.iter_mut() {
                first = a * first + (1.0 - a) * chance.normal();
                second = a * second + (1.0 - a) * first;
                *x += scale * second;
            }
        }
    }

    fn digitise(&self, heard: &[f64], tone_power: f64) -> Vec<f32> {
        let peak = heard.iter().fold(1e-30, |p: f64, x| p.max(x.abs()));
        let wanted = (10f64.powf(self.level_dbfs / 10.0) / tone_power).sqrt();
        let gain = match self.clip_at {
            Some(part) => 1.0 / (part * peak),
            None => wanted.min(0.98 / peak),
        };
        heard.iter().map(|x| (x * gain).clamp(-1.0, 1.0) as f32).collect()
    }
}

/// The course of a take at one control point.
struct Course {
    /// Seconds from the air's coming; below 0 before it.
    since_air: f64,
    /// Seconds from the air's stop; 0 before it.
    since_stop: f64,
    /// Air flow, 1 at the mean pressure.
    air: f64,
    /// Growth of the tone, 0 to 1.
    growth: f64,
    /// Pitch common to all voices, cents.
    cents: f64,
    /// Level that goes with it, dB.
    level_db: f64,
}

/// Growth of a self-sustained oscillation: 90 % after `attack_s`, from 2 % at the air's coming.
fn growth(since_air: f64, attack_s: f64) -> f64 {
    if attack_s <= 0.0 {
        return 1.0;
    }
    if since_air <= 0.0 {
        return 0.0;
    }
    const AT_START: f64 = 0.02;
    let room_to_grow = 1.0 / (AT_START * AT_START) - 1.0;
    let rate = (room_to_grow / (1.0 / 0.81 - 1.0)).ln() / attack_s;
    // The first 2 % come in with the air.
    (since_air / 0.005).min(1.0) / (1.0 + room_to_grow * (-rate * since_air).exp()).sqrt()
}

/// 0 while the air flows, then towards 1.
fn change_over(c: &Course) -> f64 {
    1.0 - (-c.since_stop / CHANGE_OVER_S).exp()
}

/// A smooth random walk that stays near 0: two first-order filters in a row, deviation 1.
fn smooth_wander(n: usize, correlation_steps: f64, chance: &mut Chance) -> Vec<f64> {
    if correlation_steps <= 0.0 {
        return vec![0.0; n];
    }
    let a = (-2.0 / correlation_steps).exp();
    let deviation = ((1.0 + a * a) / (1.0 - a * a).powi(3)).sqrt();
    let (mut first, mut second) = (0.0, 0.0);
    let run_in = (6.0 * correlation_steps) as usize;
    (0..n + run_in)
        .map(|_| {
            first = a * first + chance.normal();
            second = a * second + first;
            second / deviation
        })
        .skip(run_in)
        .collect()
}

fn add_breath(
    out: &mut [f64],
    breath: &Breath,
    power: f64,
    rate: f64,
    course: &[Course],
    chance: &mut Chance,
) {
    let (a, b) = (Breath::pole(breath.high_hz, rate), Breath::pole(breath.low_hz, rate));
    let scale = (power / breath.mean_response(rate)).sqrt();
    let (mut soft, mut low) = (0.0, 0.0);
    for (i, x) in out.iter_mut().enumerate() {
        soft = a * soft + (1.0 - a) * chance.normal();
        low = b * low + (1.0 - b) * soft;
        *x += scale * (soft - low) * course[i / STEP].air;
    }
}
