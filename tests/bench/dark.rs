//! A second generator of held notes, made by other rules than `tone`: a pulsed jet seen through a cell's resonance, a pressure
//! that is a sum of slow sines and moves pitch, level and colour, a diffuse room, and an opposite tongue with a colour of its own.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use std::f64::consts::TAU;

use super::chance::Chance;

/// The opposite tongue.
#[derive(Debug, Clone, Copy)]
pub struct Tongue {
    /// Distance from the played reed at the mean pressure, cents.
    pub cents: f64,
    /// Power of its whole series over the played reed's, dB.
    pub level_db: f64,
    /// Fall against the played reed's spectrum, dB an octave (0 or less).
    pub slope_db: f64,
    /// Its last partial.
    pub last: usize,
}

/// A held note.
#[derive(Debug, Clone)]
pub struct Note {
    /// Pitch at the mean pressure, Hz.
    pub hz: f64,
    /// How long the air flows, s.
    pub lasts_s: f64,
    /// Swing of the pressure, share of its mean, root mean square.
    pub unsteady: f64,
    /// Swell over the note: how much louder the middle is than the ends, dB.
    pub swell_db: f64,
    /// How far the pitch lies off when the note begins, cents, and the time in which that dies away, s.
    pub settling: (f64, f64),
    /// The opposite tongue.
    pub tongue: Option<Tongue>,
    /// Reverberation time, s, and direct sound over it, dB.
    pub room: (f64, f64),
    /// Tone over breath and over white noise, dB.
    pub noise_db: (f64, f64),
}

/// What was made.
pub struct Made {
    /// The samples.
    pub samples: Vec<f32>,
    /// Card's rate, Hz.
    pub rate_hz: u32,
    /// Mean distance of the opposite tongue as it sounded, cents.
    pub cents: f64,
    /// Power of its series over the played one's at the microphone, dB.
    pub level_db: f64,
}

impl Note {
    /// A note of this seed, alone.
    pub fn drawn(seed: u64, low_hz: f64, high_hz: f64) -> Self {
        let c = &mut Chance::split(seed, 900);
        Self {
            hz: c.log_between(low_hz, high_hz),
            lasts_s: c.between(2.4, 4.2),
            unsteady: c.log_between(0.004, 0.04),
            swell_db: 0.0,
            settling: (-c.between(1.0, 8.0), c.log_between(0.02, 0.07)),
            tongue: None,
            room: (c.between(0.15, 0.7), c.between(1.0, 14.0)),
            noise_db: (c.between(38.0, 62.0), c.between(45.0, 75.0)),
        }
    }

    /// The sound.
    pub fn made(&self, seed: u64) -> Made {
        let c = &mut Chance::split(seed, 901);
        let rate = if c.happens(0.5) { 48_000.0 } else { 44_100.0 };
        let lead = (c.between(0.2, 0.5) * rate) as usize;
        let n = (self.lasts_s * rate) as usize;
        let after = (0.5 * rate) as usize;
        let total = lead + n + after;
        // Pressure: six slow sines, softer the faster they are.
        let sines: Vec<(f64, f64, f64)> = (0..6)
            .map(|_| {
                let hz = c.log_between(0.12, 4.0);
                (hz, c.between(0.0, TAU), (0.6 / hz).min(1.5))
            })
            .collect();
        let norm = (0.5 * sines.iter().map(|s| s.2 * s.2).sum::<f64>()).sqrt();
        let bend = c.between(0.6, 1.4) * (30.0 * (110.0 / self.hz).powf(0.9)).clamp(2.0, 35.0) / 20.0;
        let rise_s = (6.0 / self.hz).clamp(0.01, 0.08);
        let (ring_s, sharper) = ((30.0 / self.hz).clamp(0.01, 0.3), c.between(4.0, 14.0));
        // Pressure in dB about its mean, every sample.
        let swell = |x: f64| self.swell_db * ((TAU * 0.5 * x.clamp(0.0, 1.0)).sin() - 0.7);
        let pressure: Vec<f64> = (0..total)
            .map(|i| {
                let t = (i as f64 - lead as f64) / rate;
                let wave: f64 = sines.iter().map(|(hz, p, a)| a * (TAU * hz * t + p).sin()).sum();
                20.0 * (1.0 + self.unsteady * (wave / norm).clamp(-3.0, 3.0)).log10()
                    + swell(t / self.lasts_s)
            })
            .collect();
        let count = ((0.46 * rate).min(15_000.0) / self.hz) as usize;
        let count = count.clamp(1, 70);
        // A jet interrupted for a part of each period, rounded by the tongue's speed, through one resonance of the cell.
        let (duty, corner) = (c.between(0.17, 0.46), c.between(8.0, 30.0));
        let (cell, broad) = (c.log_between(1500.0, 5000.0), c.between(2.0, 5.0));
        let colour = |k: usize| {
            let x = k as f64;
            let jet = (0.5 * TAU * x * duty).sin().abs().max(0.06) / x;
            let f = x * self.hz / cell;
            jet / (1.0 + (x / corner).powi(2))
                * (1.0 + 2.0 / (1.0 + (broad * (f - 1.0 / f.max(1e-3))).powi(2)))
        };
        let played: Vec<f64> = (1..=count).map(colour).collect();
        let mut dry = vec![0.0; total];
        let own = c.between(0.02, 0.15);
        let wander = (c.log_between(0.1, 0.5), c.between(0.0, TAU));
        let level_slope = c.between(0.08, 0.3);
        let turn_per_db = c.between(-0.02, 0.02);
        let mut voice = |amplitudes: &[f64], ratio: f64, share: f64, own: f64, c: &mut Chance| -> f64 {
            let phases: Vec<f64> = amplitudes.iter().map(|_| c.between(0.0, TAU)).collect();
            let mut turns = c.between(0.0, 1.0);
            let mut sum = 0.0;
            for i in 0..total {
                let t = (i as f64 - lead as f64) / rate;
                let off = t - self.lasts_s;
                let mut cents = -bend * share * pressure[i] + own * (TAU * wander.0 * t + wander.1).sin();
                if t > 0.0 {
                    cents += self.settling.0 * (-t / self.settling.1).exp();
                }
                if off > 0.0 {
                    cents += sharper * (1.0 - (-off / 0.01).exp());
                } else if t > 0.3 && off < -0.1 {
                    sum += cents;
                }
                turns += self.hz * ratio * (cents / 1200.0).exp2() / rate;
                if t <= 0.0 {
                    continue;
                }
                let rise = 1.0 - (-(t / rise_s).powi(2)).exp();
                let fall = if off > 0.0 { (-off / ring_s).exp() } else { 1.0 };
                let (s1, c1) = (TAU * turns.fract()).sin_cos();
                let step = Complex::new(c1, s1);
                let mut phasor = step;
                let gain = (pressure[i] * std::f64::consts::LN_10 / 20.0).exp();
                let brighter = (pressure[i] * level_slope * std::f64::consts::LN_10 / 20.0).exp();
                let (mut bright, mut gone) = (1.0, fall);
                let mut sample = 0.0;
                for (k, (a, p)) in amplitudes.iter().zip(&phases).enumerate() {
                    // The upper partials follow the pressure more, their phase moves a little with it, and they go first.
                    let phase = p + turn_per_db * pressure[i] * (k as f64).min(6.0);
                    sample += a * bright * gone * (phasor.re * phase.cos() - phasor.im * phase.sin());
                    phasor *= step;
                    if k < 8 {
                        bright *= brighter;
                    }
                    if off > 0.0 {
                        gone *= (-off / (2.0 * ring_s)).exp() * 0.85;
                    }
                }
                dry[i] += gain * rise * sample;
            }
            sum
        };
        let played_cents = voice(&played, 1.0, 1.0, 0.0, c);
        let mut cents = 0.0;
        let mut second = Vec::new();
        if let Some(tongue) = self.tongue {
            second = played
                .iter()
                .enumerate()
                .take(tongue.last)
                .map(|(i, a)| {
                    let fall =
                        tongue.slope_db * ((i + 1) as f64).log2() + (2.5 * c.normal()).clamp(-6.0, 6.0);
                    a * 10f64.powf(fall / 20.0)
                })
                .collect();
            let power = |a: &[f64]| a.iter().map(|a| a * a).sum::<f64>();
            let scale = (power(&played) / power(&second) * 10f64.powf(tongue.level_db / 10.0)).sqrt();
            second.iter_mut().for_each(|a| *a *= scale);
            let other = voice(&second, (tongue.cents / 1200.0).exp2(), c.between(0.8, 1.2), own, c);
            let steady = ((self.lasts_s - 0.4) * rate).max(1.0);
            cents = tongue.cents + (other - played_cents) / steady;
        }
        let tone = 0.5 * played.iter().map(|a| a * a).sum::<f64>();
        let level = |db: f64| (tone * 10f64.powf(-db / 10.0)).sqrt();
        let breath = level(self.noise_db.0);
        let (mut slow, mut fast) = (0.0, 0.0);
        for (i, x) in dry.iter_mut().enumerate() {
            // Noise of the flow: white through one pole at 4 kHz, less what one at 300 Hz lets through.
            let white = c.normal();
            fast += 0.41 * (white - fast);
            slow += 0.04 * (fast - slow);
            if (lead..lead + n).contains(&i) {
                *x += 2.1 * breath * (fast - slow);
            }
        }
        // A diffuse room: noise that dies away, as loud against the direct sound as said.
        let size = (total + rate as usize).next_power_of_two();
        let mut response = vec![Complex::new(0.0, 0.0); size];
        response[0].re = 1.0;
        let tail = (self.room.0 * rate) as usize;
        let early = (0.002 * rate) as usize;
        let shape: Vec<f64> = (0..tail).map(|i| c.normal() * (-6.9 * i as f64 / tail as f64).exp()).collect();
        let energy = shape.iter().map(|x| x * x).sum::<f64>().sqrt();
        let strength = 10f64.powf(-self.room.1 / 20.0) / energy;
        shape.iter().enumerate().for_each(|(i, x)| response[early + i].re += strength * x);
        let mut planner = FftPlanner::new();
        let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
        let mut sound: Vec<Complex<f64>> = dry.iter().map(|x| Complex::new(*x, 0.0)).collect();
        sound.resize(size, Complex::new(0.0, 0.0));
        forward.process(&mut sound);
        forward.process(&mut response);
        let heard_power = |amplitudes: &[f64], ratio: f64| -> f64 {
            let bin =
                |k: usize| ((k as f64 * self.hz * ratio / rate * size as f64).round() as usize).min(size - 1);
            amplitudes.iter().enumerate().map(|(i, a)| a * a * response[bin(i + 1)].norm_sqr()).sum()
        };
        let ratio = heard_power(&second, (cents / 1200.0).exp2()) / heard_power(&played, 1.0);
        sound.iter_mut().zip(&response).for_each(|(s, r)| *s *= r / size as f64);
        inverse.process(&mut sound);
        let white = level(self.noise_db.1);
        let heard: Vec<f64> = sound[..total].iter().map(|s| s.re + white * c.normal()).collect();
        let peak = heard.iter().fold(1e-9, |a: f64, b| a.max(b.abs()));
        let gain = c.between(0.1, 0.7) / peak;
        Made {
            samples: heard.iter().map(|x| (gain * x) as f32).collect(),
            rate_hz: rate as u32,
            cents,
            level_db: 10.0 * ratio.max(1e-15).log10(),
        }
    }
}
