//! A robust coarse fundamental: the comb of partials that explains the peaks with the fewest empty places.

use super::spectrum::{Peak, Spectrum};

/// Lowest and highest fundamental looked for, Hz: the range of free reeds (A0 to E8) with a margin for bad tuning.
const LOWEST_HZ: f64 = 25.5;
const HIGHEST_HZ: f64 = 5_400.0;
/// Peaks this many times above the floor take part.
const PEAK_EXCESS: f64 = 10.0;
/// Partials looked at, at the most.
const MAX_PARTIALS: usize = 48;
/// Peaks that propose fundamentals.
const PROPOSERS: usize = 12;
/// What an empty place on the comb costs, in units of ln(power over noise).
const EMPTY_COST: f64 = 3.0;
/// Peaks further below the strongest than this are not missed by a candidate that does not explain them, dB.
const DEPTH_DB: f64 = 60.0;
/// A peak counts by how far it stands above the noise or above this far below the strongest peak, power ratio (47 dB).
const CREDIT: f64 = 5e4;
/// A peak's place counts by its power over noise, up to this.
const TRUST: f64 = 1e4;
/// The least score of a tone: one peak of e^9 over noise power, or several weaker ones.
const LEAST_SCORE: f64 = 9.0;

/// The coarse fundamental with the partials that support it.
pub(crate) struct Fundamental {
    /// Pitch, Hz; within a small part of a bin.
    pub hz: f64,
    /// Strongest peak that is no partial, if it comes within 20 dB of the strongest partial.
    pub stranger: Option<Peak>,
}

struct Comb {
    hz: f64,
    score: f64,
    partials: Vec<(usize, Peak)>,
}

/// Find the fundamental in a spectrum; `expected` gives a near miss the benefit of the doubt, no more.
pub(crate) fn fundamental(spectrum: &Spectrum, nyquist: f64, expected: Option<f64>) -> Option<Fundamental> {
    let peaks = spectrum.peaks(PEAK_EXCESS, 0.8 * LOWEST_HZ, 0.95 * nyquist);
    let strongest = peaks.iter().map(|peak| peak.power).fold(0.0, f64::max);
    let peaks: Vec<Peak> =
        peaks.into_iter().filter(|peak| peak.power > strongest * 10f64.powf(-DEPTH_DB / 10.0)).collect();
    let mut by_power = peaks.clone();
    by_power.sort_by(|a, b| b.power.total_cmp(&a.power));
    let mut best: Option<Comb> = None;
    for proposer in by_power.iter().take(PROPOSERS) {
        for division in 1..=MAX_PARTIALS {
            let hz = proposer.hz / division as f64;
            if hz < LOWEST_HZ {
                break;
            }
            if hz > HIGHEST_HZ {
                continue;
            }
            let trust = (division * division) as f64 * proposer.excess.min(TRUST);
            let mut comb = comb(&peaks, strongest, (hz, trust), spectrum.lobe_hz);
            if let Some(expected) = expected
                && (1200.0 * (comb.hz / expected).log2()).abs() < 100.0
            {
                comb.score *= 1.1;
            }
            if best.as_ref().is_none_or(|best| comb.score > best.score) {
                best = Some(comb);
            }
        }
    }
    let best = best.filter(|best| best.score >= LEAST_SCORE && best.hz >= LOWEST_HZ)?;
    let own = best.partials.iter().map(|(_, peak)| peak.power).fold(0.0, f64::max);
    let stranger_above = |least: f64| {
        by_power
            .iter()
            .find(|peak| {
                let place = peak.hz / best.hz;
                let off = (place - place.round()).abs() * best.hz;
                off > (1.5 * spectrum.lobe_hz).max(0.06 * peak.hz).min(0.25 * best.hz)
                    && peak.hz > least * best.hz
            })
            .filter(|peak| peak.power > 0.01 * own)
            .copied()
    };
    // The low reed of an octave pair may show by nothing but its fundamental.
    let stranger = stranger_above(0.7).or_else(|| stranger_above(0.4));
    Some(Fundamental { hz: best.hz, stranger })
}

/// Lay a comb of teeth at multiples of `hz` over the peaks, correcting its pitch, held with weight `trust`, as it climbs.
fn comb(peaks: &[Peak], strongest: f64, (hz, trust): (f64, f64), lobe_hz: f64) -> Comb {
    let mut partials: Vec<(usize, Peak)> = Vec::new();
    let mut pitch = hz;
    let (mut weighted, mut weights) = (trust * hz, trust);
    let mut score: f64 = 0.0;
    let mut best_score: f64 = 0.0;
    let mut best_count = 0;
    let top = peaks.last().map_or(0.0, |peak| peak.hz) + 0.5 * hz;
    for number in 1..=MAX_PARTIALS {
        let place = pitch * number as f64;
        if place > top {
            break;
        }
        // A quarter lobe covers noise and drift; 3.5 cents cover the pitch still being found; never half way to the next tooth.
        let reach = (0.25 * lobe_hz).max(0.002 * place).min(0.2 * pitch);
        let from = peaks.partition_point(|peak| peak.hz < place - reach);
        let found = peaks[from..]
            .iter()
            .take_while(|peak| peak.hz <= place + reach)
            .max_by(|a, b| a.power.total_cmp(&b.power));
        match found {
            Some(peak) => {
                // A weak line beside strong ones says little: side lines and hum are weak, partials are not all so.
                score += (1.0 + peak.excess.min(peak.power / strongest * CREDIT)).ln();
                let weight = (number * number) as f64 * peak.excess.min(TRUST);
                weighted += weight * peak.hz / number as f64;
                weights += weight;
                pitch = weighted / weights;
                partials.push((number, *peak));
            }
            None => score -= EMPTY_COST,
        }
        if score > best_score {
            best_score = score;
            best_count = partials.len();
        }
    }
    partials.truncate(best_count);
    Comb { hz: pitch, score: best_score, partials }
}
