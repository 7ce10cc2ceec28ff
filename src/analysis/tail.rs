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
/// Half width of the band that holds both rings, as shares of their distance and of the pitch.
const BAND_DISTANCES: f64 = 2.5;
const BAND_SHARES: (f64, f64) = (0.25, 0.85);

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
    let alone = own
        .iter()
        .map(|(step, shape)| (total - dot(shape, ring).norm_sqr() / energy(shape).max(1e-300), *step, shape))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .ok_or(NotMeasured::TooNoisy)?;
    let mut best: Option<(f64, f64, f64, f64)> = None;
    for (step, second) in shapes(opposite_hz) {
        // The sounding reed's ring keeps its pitch and may change its decay once the other is there.
        for (_, first) in own.iter().filter(|(step, _)| *step == alone.1) {
            let Some((a, b)) = solve(first, &second, ring) else { continue };
            let explained = (dot(first, ring) * a.conj() + dot(&second, ring) * b.conj()).re;
            let rest = (total - explained).max(1e-12 * total);
            if best.is_none_or(|(least, ..)| rest < least) {
                best = Some((rest, step, a.norm_sqr(), b.norm_sqr()));
            }
        }
    }
    let (rest, step, first, second) = best.ok_or(NotMeasured::TooNoisy)?;
    let evidence = independent * (alone.0 / rest).ln();
    let level = 10.0 * (second / first.max(1e-300)).max(1e-12).log10();
    if evidence >= EVIDENCE {
        return Ok(Tail::Heard {
            level: Decibels::new(level).unwrap_or(Decibels::ZERO),
            offset: cents(place + step - alone.1),
            evidence,
        });
    }
    // What would have reached the evidence: the power that takes the rest from its present value by that factor.
    let needed = rest * ((EVIDENCE + 6.0) / independent).exp_m1();
    let main = (total - alone.0).max(1e-300);
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

/// Least squares with two shapes.
fn solve(
    a: &[Complex<f64>],
    b: &[Complex<f64>],
    ring: &[Complex<f64>],
) -> Option<(Complex<f64>, Complex<f64>)> {
    let (aa, bb, ab) = (energy(a), energy(b), dot(a, b));
    let determinant = aa * bb - ab.norm_sqr();
    if determinant < 0.05 * aa * bb {
        return None;
    }
    let (ar, br) = (dot(a, ring), dot(b, ring));
    Some(((ar * bb - ab * br) / determinant, (br * aa - ab.conj() * ar) / determinant))
}
