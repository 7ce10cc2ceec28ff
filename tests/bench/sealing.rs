//! Sealing tests as somebody plays them: plates of another make through the reed equations, a person's pressure, a room.
//!
//! The reed equations give each plate's curves (level, pitch, partials) along one slow rise and fall of pressure. A play then
//! follows its own course of pressure along them, so that thousands of tests cost no more sound than a few dozen plates.
//! The room is a sum of reflections, some of which the player's body moves; the code under test assumes none of that.

use super::chance::Chance;
use super::reed::{Plate, RATE_HZ, blow};
use platenote::analysis::{COMPARED_PARTIALS, Play, PlayFrame, PlayKind};
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Partials in the sound.
pub const PARTIALS: usize = 12;

/// One place on a plate's curves.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    pub pa: f64,
    pub hz: f64,
    /// Amplitude of each partial, as the reed equations give it.
    pub partials: [f64; PARTIALS],
}

/// A plate's curves with a leak: rising and falling pressure, each by ascending pressure.
#[derive(Debug, Clone)]
pub struct Curves {
    pub hz: f64,
    pub size: f64,
    pub rise: Vec<Point>,
    pub fall: Vec<Point>,
    /// How fast the pressure went, parts per second.
    pub rate: f64,
}

/// A plate of another make than the model's own: measures between the hand-set ones, each drawn around them.
pub fn plate_of_another_make(seed: u64, hz: f64) -> Plate {
    let chance = &mut Chance::split(seed, 900);
    // E2, A3, A4, A5, A6 of the two-tongue model: length, width, thickness, rest, gap, plate, quality, cell, port area, length.
    const SETS: [(f64, [f64; 10]); 5] = [
        (82.4, [45.0, 4.2, 1.0, 1.0, 0.04, 4.0, 100.0, 25.0, 160.0, 20.0]),
        (220.0, [33.0, 3.2, 0.40, 0.5, 0.04, 2.5, 100.0, 9.0, 100.0, 20.0]),
        (440.0, [24.0, 2.6, 0.30, 0.30, 0.04, 2.0, 100.0, 5.0, 60.0, 20.0]),
        (880.0, [17.0, 2.3, 0.22, 0.20, 0.03, 2.0, 150.0, 1.5, 35.0, 16.0]),
        (1760.0, [12.5, 2.0, 0.16, 0.12, 0.025, 2.0, 250.0, 0.5, 22.0, 12.0]),
    ];
    let above = SETS.iter().position(|(f, _)| *f >= hz).unwrap_or(SETS.len() - 1).max(1);
    let ((f0, low), (f1, high)) = (SETS[above - 1], SETS[above]);
    let share = ((hz / f0).ln() / (f1 / f0).ln()).clamp(0.0, 1.0);
    let mut drawn = |i: usize, spread: f64| {
        let value = (low[i].ln() * (1.0 - share) + high[i].ln() * share).exp();
        value * (spread * chance.normal().clamp(-2.0, 2.0)).exp()
    };
    let mut plate = Plate {
        f0_hz: hz,
        tongue_mm: [drawn(0, 0.05), drawn(1, 0.07), drawn(2, 0.05)],
        rest_mm: drawn(3, 0.12),
        gap_mm: drawn(4, 0.12),
        plate_mm: drawn(5, 0.05),
        quality: drawn(6, 0.25),
        cell_cm3: drawn(7, 0.2),
        port: (drawn(8, 0.12), drawn(9, 0.1)),
        partner_cents: None,
        leak_mm2: 0.0,
    };
    plate.partner_cents = Some(3.0 * chance.normal());
    plate
}

/// Lowest and highest pressure of the slow course, Pa: the highest as often played, and well below the choke.
fn pressures(plate: &Plate) -> (f64, f64) {
    (110.0, (0.65 * plate.choke_pa()).min(1800.0))
}

/// Blow the plate slowly up and down, with a leak of so many openings.
pub fn curves(plate: &Plate, size: f64) -> Curves {
    let (low, high) = pressures(plate);
    let (start_s, dip_s, way_s) = (0.9, 0.6, 3.2);
    let rate = (high / low).ln() / way_s;
    let course = move |t: f64| {
        let begin = 700f64.min(high);
        if t < start_s {
            begin * (t / 0.02).min(1.0)
        } else if t < start_s + dip_s {
            begin * ((low / begin).ln() * (t - start_s) / dip_s).exp()
        } else {
            let t = t - start_s - dip_s;
            let up = if t < way_s { t } else { (2.0 * way_s - t).max(0.0) };
            low * (rate * up).exp()
        }
    };
    let leaking = Plate { leak_mm2: size * plate.opening_mm2(), ..plate.clone() };
    let run = blow(&leaking, start_s + dip_s + 2.0 * way_s, course);
    let hop = 0.04;
    let width = 0.1f64.max(8.0 / plate.f0_hz);
    let (mut rise, mut fall) = (Vec::new(), Vec::new());
    let from = start_s + dip_s + width;
    let n = ((2.0 * way_s - 2.0 * width) / hop) as usize;
    for i in 0..n {
        let t = from + i as f64 * hop;
        let Some(point) = point(&run.a, &run.flow, t, width, course(t)) else { continue };
        if t + 0.5 * width < start_s + dip_s + way_s {
            rise.push(point);
        } else if t - 0.5 * width > start_s + dip_s + way_s {
            fall.push(point);
        }
    }
    fall.reverse();
    Curves { hz: plate.f0_hz, size, rise, fall, rate }
}

/// Pitch from the tongue's crossings of its mean, partials by projection of the change of flow.
fn point(tip: &[f64], flow: &[f64], at_s: f64, width_s: f64, pa: f64) -> Option<Point> {
    let rate = f64::from(RATE_HZ);
    let (first, last) = (((at_s - 0.5 * width_s) * rate) as usize, ((at_s + 0.5 * width_s) * rate) as usize);
    let tip = tip.get(first..last)?;
    let (hz, _) = super::reed::pitch_and_swing(tip, 5e-6)?;
    let flow = flow.get(first..last)?;
    let n = flow.len() - 1;
    let mut partials = [0.0; PARTIALS];
    for (k, slot) in partials.iter_mut().enumerate() {
        let (mut re, mut im, mut sum) = (0.0, 0.0, 0.0);
        for i in 0..n {
            let weight = 1.0 - (TAU * (i as f64 + 0.5) / n as f64).cos();
            let change = (flow[i + 1] - flow[i]) * rate;
            let (sin, cos) = (TAU * ((k + 1) as f64 * hz / rate * i as f64).fract()).sin_cos();
            re += weight * change * cos;
            im += weight * change * sin;
            sum += weight;
        }
        *slot = if (k + 1) as f64 * hz < 0.45 * rate { 2.0 * f64::hypot(re, im) / sum } else { 0.0 };
    }
    Some(Point { pa, hz, partials })
}

/// Curves of `n` plates between two pitches, each with all these sizes of leak.
pub fn plates(seed: u64, n: u64, lo_hz: f64, hi_hz: f64, sizes: &[f64]) -> Vec<Vec<Curves>> {
    let jobs: Vec<(u64, f64)> =
        (0..n).flat_map(|i| sizes.iter().map(move |size| (seed + i, *size))).collect();
    let all: Vec<Curves> = jobs
        .into_par_iter()
        .map(|(seed, size)| {
            let hz = Chance::split(seed, 901).log_between(lo_hz, hi_hz);
            curves(&plate_of_another_make(seed, hz), size)
        })
        .collect();
    all.chunks(sizes.len()).map(<[Curves]>::to_vec).collect()
}

impl Curves {
    /// The point at a pressure; `rate` in parts per second tells between rise and fall. `None` beyond the ends.
    fn at(&self, pa: f64, rate: f64) -> Option<Point> {
        let (rise, fall) = (at(&self.rise, pa)?, at(&self.fall, pa)?);
        let share = (0.5 + 0.5 * rate / self.rate).clamp(-0.5, 1.5);
        let mix = |a: f64, b: f64| share * a + (1.0 - share) * b;
        let partials = std::array::from_fn(|k| {
            mix(rise.partials[k].max(1e-12).ln(), fall.partials[k].max(1e-12).ln()).exp()
        });
        Some(Point { pa, hz: mix(rise.hz, fall.hz), partials })
    }

    /// Level in dB at a pressure, as it would be held.
    pub fn level_db(&self, pa: f64) -> Option<f64> {
        let point = self.at(pa, 0.0)?;
        Some(10.0 * point.partials.iter().map(|a| a * a).sum::<f64>().log10())
    }
}

fn at(points: &[Point], pa: f64) -> Option<Point> {
    let next = points.iter().position(|point| point.pa >= pa).filter(|next| *next > 0)?;
    let (a, b) = (points[next - 1], points[next]);
    let share = (pa / a.pa).ln() / (b.pa / a.pa).ln();
    Some(Point {
        pa,
        hz: a.hz + share * (b.hz - a.hz),
        partials: std::array::from_fn(|k| a.partials[k] * (1.0 - share) + share * b.partials[k]),
    })
}

/// A room with a microphone on a stand: reflections, a few of them off the player.
#[derive(Debug, Clone)]
pub struct Spot {
    /// Delay, s, and gain of each reflection; whether the player's body makes it.
    paths: Vec<(f64, f64, bool)>,
}

impl Spot {
    /// 20 to 50 cm from the plate in a room of usual size.
    pub fn new(chance: &mut Chance) -> Self {
        let direct_db = chance.between(8.0, 16.0);
        let mut paths: Vec<(f64, f64, bool)> = (0..40)
            .map(|i| {
                let delay = chance.between(0.0015, 0.12);
                (delay, chance.sign() * chance.between(0.4, 1.6) * (-30.0 * delay).exp(), i < 4)
            })
            .collect();
        let energy: f64 = paths.iter().map(|(_, gain, _)| gain * gain).sum();
        let scale = (10f64.powf(-direct_db / 10.0) / energy).sqrt();
        paths.iter_mut().for_each(|path| path.1 *= scale);
        Self { paths }
    }

    /// The same spot after the player has moved by about so many metres.
    pub fn stirred(&self, chance: &mut Chance, metres: f64) -> Self {
        let moved = self.paths.iter().map(|&(delay, gain, player)| {
            let shift = if player { 2.0 * metres * chance.normal() / 343.0 } else { 0.0 };
            (delay + shift, gain, player)
        });
        Self { paths: moved.collect() }
    }

    /// Gain of a steady tone, dB.
    pub fn gain_db(&self, hz: f64) -> f64 {
        let (mut re, mut im) = (1.0, 0.0);
        for (delay, gain, _) in &self.paths {
            let (sin, cos) = (TAU * hz * delay).sin_cos();
            re += gain * cos;
            im += gain * sin;
        }
        20.0 * f64::hypot(re, im).log10()
    }
}

/// What the seal itself does to a healthy plate: a gain with a tilt, dB and dB per octave.
#[derive(Debug, Clone, Copy)]
pub struct OwnEffect {
    pub db: f64,
    pub tilt: f64,
}

impl OwnEffect {
    /// Between 0 and `most` dB, louder or softer.
    pub fn drawn(chance: &mut Chance, most_db: f64) -> Self {
        Self { db: chance.sign() * chance.between(0.0, most_db), tilt: 0.1 * most_db * chance.normal() }
    }

    pub const NONE: Self = Self { db: 0.0, tilt: 0.0 };
}

/// A play held at about `pa`, by a person whose pressure is off by `spread` (a standard deviation) and wanders half of that.
pub fn held(
    curves: &Curves,
    chance: &mut Chance,
    pa: f64,
    spread: f64,
    spot: &Spot,
    own: OwnEffect,
) -> Option<Play> {
    let course = held_course(chance, pa, spread);
    along(curves, chance, &course, spot, own)
}

/// The pressure of a swell by hand, a value every 50 ms: soft, loud, soft over 5 to 8 s; how soft and how loud differs from
/// play to play.
pub fn swell_course(curves: &Curves, chance: &mut Chance) -> Vec<f64> {
    let (low, high) = (curves.rise.first().map_or(0.0, |p| p.pa), curves.rise.last().map_or(0.0, |p| p.pa));
    let soft = low * 1.1 * chance.between(0.0, 0.35).exp();
    let loud = high * 0.97 * (-chance.between(0.0, 0.3)).exp();
    let seconds = chance.between(5.0, 8.0);
    let n = (seconds / 0.05) as usize;
    let top = chance.between(0.4, 0.6);
    let (mut wander, bend) = (0.0, chance.between(0.7, 1.4));
    (0..n)
        .map(|i| {
            let t = i as f64 / n as f64;
            let up = if t < top { t / top } else { (1.0 - t) / (1.0 - top) };
            wander = 0.95 * wander + 0.012 * chance.normal();
            (soft * ((loud / soft).ln() * up.powf(bend) + wander).exp()).clamp(low * 1.02, high * 0.98)
        })
        .collect()
}

/// A swell by hand, at a pressure that is lower by the factor `softer`.
pub fn swell(curves: &Curves, chance: &mut Chance, spot: &Spot, own: OwnEffect, softer: f64) -> Option<Play> {
    let course: Vec<f64> = swell_course(curves, chance).iter().map(|pa| pa / softer).collect();
    along(curves, chance, &course, spot, own)
}

/// The pressure of a play held for 3 s.
pub fn held_course(chance: &mut Chance, pa: f64, spread: f64) -> Vec<f64> {
    let base = pa * (1.0 + spread * chance.normal()).max(0.2);
    let mut wander = 0.0;
    (0..60)
        .map(|_| {
            // A memory of half a second.
            wander = 0.9 * wander + 0.44 * 0.5 * spread * chance.normal();
            base * (1.0 + wander).max(0.2)
        })
        .collect()
}

/// The sound of a play: quiet, the note, quiet; noise 70 dB under the loudest. `gain` brings flow to full scale.
pub fn sound(
    curves: &Curves,
    chance: &mut Chance,
    course: &[f64],
    spot: &Spot,
    own: OwnEffect,
    gain: f64,
) -> Vec<f32> {
    let rate = f64::from(RATE_HZ);
    let points: Vec<Point> = (0..course.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(2), (i + 2).min(course.len() - 1));
            let pressure_rate = (course[b] / course[a]).ln() / ((b - a) as f64 * 0.05);
            let mut point = curves.at(course[i], pressure_rate).expect("a pressure on the curves");
            for (k, amplitude) in point.partials.iter_mut().enumerate() {
                let hz = (k + 1) as f64 * point.hz;
                let db = spot.gain_db(hz) + own.db + own.tilt * (hz / 1000.0).log2();
                *amplitude *= gain * 10f64.powf(db / 20.0);
            }
            point
        })
        .collect();
    let loudest = points.iter().map(|p| p.partials.iter().map(|a| a * a).sum::<f64>()).fold(0.0, f64::max);
    let noise = (loudest * 1e-7).sqrt();
    let lasts = (course.len() - 1) as f64 * 0.05;
    let lead = 0.9;
    let mut turns = 0.0;
    (0..((lead + lasts + 1.0) * rate) as usize)
        .map(|n| {
            let t = n as f64 / rate - lead;
            let mut value = noise * chance.normal();
            if 0.0 < t && t < lasts {
                let at = t / 0.05;
                let (i, share) = (at as usize, at.fract());
                let (a, b) = (&points[i], &points[(i + 1).min(points.len() - 1)]);
                turns += (a.hz + share * (b.hz - a.hz)) / rate;
                let edge = (t.min(lasts - t) / 0.03).min(1.0);
                for k in 0..PARTIALS {
                    let amplitude = a.partials[k] + share * (b.partials[k] - a.partials[k]);
                    value += edge * amplitude * (TAU * ((k + 1) as f64 * turns).fract()).sin();
                }
            }
            value as f32
        })
        .collect()
}

/// The play that a course of pressure gives, a value every 50 ms.
fn along(curves: &Curves, chance: &mut Chance, course: &[f64], spot: &Spot, own: OwnEffect) -> Option<Play> {
    // The pitch of one play against another's at one level: the player's warm breath, the block on its clamp.
    let play_cents = 0.06 * chance.normal();
    let (mut hz_noise, mut noise) = (0.0, [0.0; PARTIALS]);
    let mut raw: Vec<(f64, f64, [f64; PARTIALS])> = Vec::new();
    for (i, pa) in course.iter().enumerate() {
        let (before, after) = (course[i.saturating_sub(2)], course[(i + 2).min(course.len() - 1)]);
        let span = ((i + 2).min(course.len() - 1) - i.saturating_sub(2)) as f64 * 0.05;
        let Some(point) = curves.at(*pa, (after / before).ln() / span) else { continue };
        hz_noise = 0.7 * hz_noise + 0.02 * chance.normal();
        let powers: [f64; PARTIALS] = std::array::from_fn(|k| {
            let hz = (k + 1) as f64 * point.hz;
            noise[k] = 0.7 * noise[k] + 0.05 * chance.normal();
            let gain = spot.gain_db(hz) + own.db + own.tilt * (hz / 1000.0).log2() + noise[k];
            point.partials[k].powi(2) * 10f64.powf(gain / 10.0)
        });
        raw.push((i as f64 * 0.05, point.hz * ((hz_noise + play_cents) / 1200.0).exp2(), powers));
    }
    let level = |powers: &[f64; PARTIALS]| 10.0 * powers.iter().sum::<f64>().log10();
    let limit = (24.0 * curves.hz / 220.0).clamp(6.0, 24.0);
    // The noise of the room in a partial's band lies 70 dB under the loudest moment.
    let floor = 1e-7 * raw.iter().map(|(_, _, powers)| powers.iter().sum::<f64>()).fold(0.0, f64::max);
    let mut shares = vec![0.0; PARTIALS];
    let mut frames = Vec::new();
    for i in 0..raw.len() {
        let (a, b) = (i.saturating_sub(2), (i + 2).min(raw.len() - 1));
        let rate = (level(&raw[b].2) - level(&raw[a].2)) / ((raw[b].0 - raw[a].0).max(0.05));
        let (at_s, pitch_hz, powers) = &raw[i];
        let whole: f64 = powers.iter().sum();
        let audible = |power: f64| power > 20.0 * floor;
        let partials_db: [Option<f64>; COMPARED_PARTIALS] =
            std::array::from_fn(|k| audible(powers[k]).then(|| 10.0 * (powers[k] / whole).log10()));
        for (share, power) in shares.iter_mut().zip(powers) {
            *share += power / whole / raw.len() as f64;
        }
        if rate.abs() <= limit {
            frames.push(PlayFrame {
                at_s: *at_s,
                level_db: level(powers),
                rate_db_s: rate,
                pitch_hz: *pitch_hz,
                partials_db,
                breath_db: -60.0,
            });
        }
    }
    if frames.len() < 8 {
        return None;
    }
    let mut levels: Vec<f64> = frames.iter().map(|frame| frame.level_db).collect();
    levels.sort_by(f64::total_cmp);
    let range = levels[levels.len() * 95 / 100] - levels[levels.len() / 20];
    Some(Play {
        level_db: levels.iter().sum::<f64>() / levels.len() as f64,
        kind: if range >= 5.0 { PlayKind::Swell } else { PlayKind::Held },
        shares,
        is_clipped: false,
        frames,
    })
}
