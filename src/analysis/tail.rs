//! After the air has stopped both tongues ring freely, each at its own pitch: the opposite one shows there.

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::envelope::{HOP_S, smooth_db};
use super::hearing::{Hearing, cents};
use super::{NotMeasured, OppositeExpectation, Tail};
use crate::units::Decibels;

/// The stop lies where the level leaves the plateau for good by this much, dB.
const STOPPED_DB: f64 = 3.0;
/// An abrupt stop takes the level down by this much more within `ABRUPT_S` or so many periods.
const FALLEN_DB: f64 = 9.0;
const ABRUPT_S: f64 = 0.15;
const ABRUPT_PERIODS: f64 = 40.0;
/// The ring is used down to this far above the quiet after it, dB.
const ABOVE_QUIET_DB: f64 = 6.0;
/// Cycles between the two pitches over the ring for them to be told apart.
const LEAST_CYCLES: f64 = 1.5;
/// Shortest ring, s.
const LEAST_S: f64 = 0.03;
/// Free ringing is sharper than the blown pitch by up to this, cents (model: 10 to 15 at A4); searched with a margin.
const SHARPER_CENTS: std::ops::RangeInclusive<i32> = -4..=28;
const SHARPER_STEP: f64 = 2.0;
/// Decay times tried, s.
const DECAYS_S: [f64; 9] = [0.01, 0.016, 0.025, 0.04, 0.065, 0.1, 0.16, 0.3, 0.6];
/// Log-likelihood ratio from which the opposite reed counts as heard.
const EVIDENCE: f64 = 12.0;
/// A ring must have this share of its energy for itself to be told from the played reed's.
const LEAST_OWN_SHARE: f64 = 0.05;
/// A find must be so much clearer than one at any of these distances from the played reed, in distances of the opposite one.
const DECOY_FACTOR: f64 = 1.5;
const DECOY_DISTANCES: [f64; 6] = [-2.0, -1.5, -1.0, -0.5, 1.5, 2.0];
/// Half width of the band that holds both rings, as shares of their distance and of the pitch.
const BAND_DISTANCES: f64 = 2.5;
const BAND_SHARES: (f64, f64) = (0.25, 0.85);

/// A ring beside the played reed's.
struct Ring {
    /// Energy that is left with it.
    rest: f64,
    /// How much sharper than blown it rings, cents.
    step: f64,
    amplitude: Complex<f64>,
    shape: Vec<Complex<f64>>,
}

/// Look for the opposite reed's ring.
pub(super) fn tail(hearing: &mut Hearing, expectation: OppositeExpectation) -> Tail {
    match measure(hearing, expectation) {
        Ok(tail) => tail,
        Err(reason) => Tail::NotMeasured(reason),
    }
}

fn measure(hearing: &mut Hearing, expectation: OppositeExpectation) -> Result<Tail, NotMeasured> {
    let OppositeExpectation::Known { pitch, .. } = expectation else {
        return Err(NotMeasured::OppositeUnknown);
    };
    let sounding_hz = hearing.measured_hz;
    let place = pitch.cents_above(hearing.f0).get();
    let opposite_hz = sounding_hz * (place / 1200.0).exp2();
    let (from_s, to_s) = ring(hearing)?;
    let lasts = to_s - from_s;
    let distance = (opposite_hz - sounding_hz).abs();
    let needs = LEAST_S.max(LEAST_CYCLES / distance.max(1e-9));
    if lasts < needs {
        return Err(if needs > 10.0 {
            NotMeasured::TooClose { steady: lasts }
        } else {
            NotMeasured::TailTooShort { lasts, needs }
        });
    }
    let half_hz = (BAND_DISTANCES * distance).clamp(BAND_SHARES.0 * sounding_hz, BAND_SHARES.1 * sounding_hz);
    let centre_hz = 0.5 * (sounding_hz + opposite_hz);
    let shape = hearing.bands.shape(half_hz);
    let series = hearing.bands.cut(&shape, centre_hz);
    let index =
        |time: f64| (((time - hearing.partials.start_s) / shape.step_s).max(0.0) as usize).min(series.len());
    let memory = 0.5 * super::bands::MEMORY / half_hz;
    let ring = &series[index(from_s + memory)..index(to_s).max(index(from_s + memory))];
    // Neighbouring samples share their noise: this many are independent (noise width of the taper over its sampling rate).
    let independent = ring.len() as f64 * 0.26;
    if independent < 8.0 {
        return Err(NotMeasured::TailTooShort { lasts, needs: lasts * 8.0 / independent.max(1.0) });
    }
    let shapes = |hz: f64| -> Vec<(f64, Vec<Complex<f64>>)> {
        let mut shapes = Vec::new();
        for step in (*SHARPER_CENTS.start()..=*SHARPER_CENTS.end()).step_by(SHARPER_STEP as usize) {
            let sharper = hz * (f64::from(step) / 1200.0).exp2();
            let turn = std::f64::consts::TAU * (sharper - centre_hz) * shape.step_s;
            let response = shape.response(sharper - centre_hz).max(1e-3);
            for decay in DECAYS_S {
                shapes.push((
                    f64::from(step),
                    (0..ring.len())
                        .map(|i| {
                            let age = (i as f64 * shape.step_s + memory) / decay;
                            Complex::from_polar(response * (-age).exp(), turn * i as f64)
                        })
                        .collect(),
                ));
            }
        }
        shapes
    };
    let total: f64 = ring.iter().map(Complex::norm_sqr).sum();
    let own = shapes(sounding_hz);
    let seen: Vec<Complex<f64>> = own.iter().map(|(_, shape)| dot(shape, ring)).collect();
    let energies: Vec<f64> = own.iter().map(|(_, shape)| energy(shape).max(1e-300)).collect();
    let alone = (0..own.len())
        .max_by(|a, b| {
            let explained = |i: usize| seen[i].norm_sqr() / energies[i];
            explained(*a).total_cmp(&explained(*b))
        })
        .ok_or(NotMeasured::TooNoisy)?;
    // The same reed may die away in two ways, and the room still gives back the note as it was blown.
    let mut null = (total - seen[alone].norm_sqr() / energies[alone], alone, None);
    for (i, (step, first)) in own.iter().enumerate() {
        for (j, (other, second)) in own.iter().enumerate() {
            let two_decays = i < j && step == other && *step == own[alone].0;
            let room = *other == 0.0 && *step != 0.0 && j % 3 == 1;
            if !(two_decays || room) {
                continue;
            }
            let cross = dot(first, second);
            let (aa, bb) = (energies[i], energies[j]);
            let determinant = aa * bb - cross.norm_sqr();
            if determinant < 0.05 * aa * bb {
                continue;
            }
            let (ar, br) = (seen[i], seen[j]);
            let explained =
                (bb * ar.norm_sqr() + aa * br.norm_sqr() - 2.0 * (ar.conj() * cross * br).re) / determinant;
            if total - explained < null.0 {
                null = (total - explained, i, Some(j));
            }
        }
    }
    let mut basis = vec![&own[null.1].1];
    basis.extend(null.2.map(|j| &own[j].1));
    let basis = orthonormal(&basis);
    let null_rest = null.0.max(1e-12 * total);
    let resolved_hz = 1.0 / lasts;
    let look = |hz: f64, away_from: &[f64], basis: &[Vec<Complex<f64>>], null_rest: f64| -> Option<Ring> {
        let mut best: Option<Ring> = None;
        for (step, shape) in shapes(hz) {
            let mut second = shape.clone();
            let at_hz = hz * (step / 1200.0).exp2();
            if away_from.iter().any(|taken| (at_hz - taken).abs() < resolved_hz) {
                continue;
            }
            let before = energy(&second);
            for known in basis {
                let along = dot(known, &second);
                second.iter_mut().zip(known).for_each(|(value, known)| *value -= along * known);
            }
            let left = energy(&second);
            if left < LEAST_OWN_SHARE * before {
                continue;
            }
            let amplitude = dot(&second, ring) / left;
            let rest = (null_rest - amplitude.norm_sqr() * left).max(1e-12 * total);
            if best.as_ref().is_none_or(|best| rest < best.rest) {
                best = Some(Ring { rest, step, amplitude, shape });
            }
        }
        best
    };
    let found = look(opposite_hz, &[], &basis, null_rest).ok_or(NotMeasured::TooNoisy)?;
    let Ring { rest, step, amplitude: second, .. } = found;
    let evidence = independent * (null_rest / rest).ln();
    let first = seen[alone].norm_sqr() / energies[alone].powi(2);
    let level = 10.0 * (second.norm_sqr() / first.max(1e-300)).max(1e-12).log10();
    if evidence >= EVIDENCE {
        // A room that gives back a gliding ring leaves something at every pitch: the find must stand out among others, each
        // asked of what the find has left.
        let mut with_find = vec![&own[null.1].1];
        with_find.extend(null.2.map(|j| &own[j].1));
        with_find.push(&found.shape);
        let with_find = orthonormal(&with_find);
        let taken = [opposite_hz * (step / 1200.0).exp2(), sounding_hz * (own[null.1].0 / 1200.0).exp2()];
        let decoys = DECOY_DISTANCES
            .iter()
            .map(|times| sounding_hz + times * (opposite_hz - sounding_hz))
            .filter_map(|hz| look(hz, &taken, &with_find, rest));
        let best_decoy = decoys.map(|decoy| independent * (rest / decoy.rest).ln()).fold(0.0, f64::max);
        if evidence < DECOY_FACTOR * best_decoy {
            return Err(NotMeasured::TailUnclear);
        }
        if level > 0.0 {
            // Louder than the reed that was played: another note, or the played reed itself at a pitch it glides through.
            return Err(NotMeasured::TailUnclear);
        }
        return Ok(Tail::Heard {
            level: Decibels::new(level).unwrap_or(Decibels::ZERO),
            offset: cents(place + step - own[null.1].0),
            evidence,
        });
    }
    // What would have reached the evidence: the power that takes the rest from its present value by that factor, of which a
    // part looks like the played reed's own ring.
    let needed = rest * ((EVIDENCE + 6.0) / independent).exp_m1() / own_share(&shapes(opposite_hz), &basis);
    let main = (total - null_rest).max(1e-300);
    let limit = 10.0 * (needed / main).log10();
    if limit > 0.0 {
        Err(NotMeasured::TooNoisy)
    } else {
        Ok(Tail::Quiet { limit: Decibels::new(limit).ok_or(NotMeasured::TooNoisy)?, evidence })
    }
}

/// Where the tongues ring, s: from the stop to where the ring drowns.
fn ring(hearing: &Hearing) -> Result<(f64, f64), NotMeasured> {
    let fine = smooth_db(&hearing.envelope.hops, 1);
    let steady_end = (hearing.steady.end.get() / HOP_S) as usize;
    let steady_start = (hearing.steady.start.get() / HOP_S) as usize;
    let mut sorted: Vec<f64> = fine[steady_start.min(fine.len() - 1)..steady_end.min(fine.len())].to_vec();
    if sorted.is_empty() {
        return Err(NotMeasured::TailCut);
    }
    sorted.sort_by(f64::total_cmp);
    let plateau = sorted[sorted.len() / 2];
    let stop =
        (steady_end..fine.len()).find(|i| fine[*i] < plateau - STOPPED_DB).ok_or(NotMeasured::TailCut)?;
    let fallen = (stop..fine.len()).find(|i| fine[*i] < plateau - STOPPED_DB - FALLEN_DB).ok_or(
        if (fine.len() - stop) as f64 * HOP_S < ABRUPT_S {
            NotMeasured::TailCut
        } else {
            NotMeasured::SlowStop
        },
    )?;
    if (fallen - stop) as f64 * HOP_S > ABRUPT_S.max(ABRUPT_PERIODS / hearing.measured_hz) {
        return Err(NotMeasured::SlowStop);
    }
    let after = &fine[stop..];
    let mut quiet: Vec<f64> = after[after.len() * 2 / 3..].to_vec();
    quiet.sort_by(f64::total_cmp);
    let quiet = quiet.first().copied().unwrap_or(-160.0).max(hearing.envelope.floor_db);
    let drowned = (fallen..fine.len()).find(|i| fine[*i] < quiet + ABOVE_QUIET_DB).unwrap_or(fine.len());
    Ok((stop as f64 * HOP_S + HOP_S, drowned as f64 * HOP_S))
}

fn dot(shape: &[Complex<f64>], ring: &[Complex<f64>]) -> Complex<f64> {
    shape.iter().zip(ring).map(|(s, r)| s.conj() * r).fold(Complex::zero(), |a, b| a + b)
}

fn energy(shape: &[Complex<f64>]) -> f64 {
    shape.iter().map(Complex::norm_sqr).sum()
}

/// The middle one of the shares of their energy that shapes have outside of a basis; at least `LEAST_OWN_SHARE`.
fn own_share(shapes: &[(f64, Vec<Complex<f64>>)], basis: &[Vec<Complex<f64>>]) -> f64 {
    let mut shares: Vec<f64> = shapes
        .iter()
        .map(|(_, shape)| {
            let along: f64 = basis.iter().map(|known| dot(known, shape).norm_sqr()).sum();
            1.0 - along / energy(shape).max(1e-300)
        })
        .collect();
    shares.sort_by(f64::total_cmp);
    shares.get(shares.len() / 2).copied().unwrap_or(1.0).max(LEAST_OWN_SHARE)
}

/// Shapes made orthonormal (Gram-Schmidt).
fn orthonormal(shapes: &[&Vec<Complex<f64>>]) -> Vec<Vec<Complex<f64>>> {
    let mut basis: Vec<Vec<Complex<f64>>> = Vec::new();
    for shape in shapes {
        let mut left = (*shape).clone();
        for known in &basis {
            let along = dot(known, &left);
            left.iter_mut().zip(known).for_each(|(value, known)| *value -= along * known);
        }
        let size = energy(&left).sqrt();
        if size > 0.0 {
            left.iter_mut().for_each(|value| *value /= size);
            basis.push(left);
        }
    }
    basis
}
