//! The level over time, and where in the take the note sounds.

use super::Signal;

/// Spacing of the level values, s.
pub(super) const HOP_S: f64 = 0.005;
/// Corner of the high pass before the level is taken, Hz: rumble and hum lie below it, and no reed is without partials above.
const RUMBLE_HZ: f64 = 120.0;
/// Width over which the level is averaged, s: two periods of the lowest reed (27.5 Hz) less a little.
const WIDTH_S: f64 = 0.060;
/// The note counts as sounding down to this far below its plateau, dB.
const SOUNDING_DB: f64 = 18.0;
/// Gaps in the sounding up to this long are bridged, s: beats of two reeds, a bellows that shakes.
const BRIDGE_S: f64 = 0.25;

/// Level over time.
pub(super) struct Envelope {
    /// Mean square of each hop, rumble weakened, no averaging across hops.
    pub hops: Vec<f64>,
    /// Level of the quietest part, dBFS.
    pub floor_db: f64,
    /// Where the note sounds, s.
    pub start_s: f64,
    /// Where it ends, s.
    pub end_s: f64,
}

/// Measure the level over time and find the longest sounding stretch.
pub(super) fn envelope(signal: &Signal) -> Envelope {
    let hop = ((HOP_S * signal.rate).round() as usize).max(1);
    let hops = hop_powers(&signal.samples, signal.rate, hop);
    let level_db = smooth_db(&hops, (WIDTH_S / HOP_S / 2.0) as usize);
    let mut sorted = level_db.clone();
    sorted.sort_by(f64::total_cmp);
    let quantile = |q: f64| sorted[((sorted.len() - 1) as f64 * q).round() as usize];
    let floor_db = quantile(0.03);
    let loudest = quantile(1.0);
    let loud: Vec<f64> = sorted.iter().copied().filter(|level| *level > loudest - 12.0).collect();
    let plateau_db = loud[loud.len() / 2];
    let threshold = (plateau_db - SOUNDING_DB).max(floor_db.min(plateau_db - 6.0) + 3.0);
    let (first, last) = longest_run(&level_db, threshold, (BRIDGE_S / HOP_S) as usize);
    Envelope {
        floor_db,
        start_s: first as f64 * hop as f64 / signal.rate,
        end_s: (((last + 1) * hop) as f64 / signal.rate).min(signal.length_s()),
        hops,
    }
}

/// Mean square of each hop, once rumble and hum are weakened.
fn hop_powers(samples: &[f64], rate: f64, hop: usize) -> Vec<f64> {
    let pole = (-std::f64::consts::TAU * RUMBLE_HZ / rate).exp();
    let (mut low, mut lower) = (0.0, 0.0);
    let mut hops = Vec::with_capacity(samples.len() / hop + 1);
    for chunk in samples.chunks(hop) {
        let mut sum = 0.0;
        for sample in chunk {
            low = pole * low + (1.0 - pole) * sample;
            let once = sample - low;
            lower = pole * lower + (1.0 - pole) * once;
            let twice = once - lower;
            sum += twice * twice;
        }
        hops.push(sum / chunk.len() as f64);
    }
    hops
}

/// Running mean over `2 * half + 1` values, as level in dB.
pub(super) fn smooth_db(power: &[f64], half: usize) -> Vec<f64> {
    let mut sums = Vec::with_capacity(power.len() + 1);
    sums.push(0.0);
    for value in power {
        sums.push(sums[sums.len() - 1] + value);
    }
    (0..power.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(half), (i + half + 1).min(power.len()));
            let mean = (sums[to] - sums[from]) / (to - from) as f64;
            10.0 * mean.max(1e-16).log10()
        })
        .collect()
}

/// First and last index of the longest stretch above `threshold`, gaps up to `bridge` values included.
fn longest_run(levels: &[f64], threshold: f64, bridge: usize) -> (usize, usize) {
    let mut best = (0, 0);
    let mut current: Option<(usize, usize)> = None;
    for (i, level) in levels.iter().enumerate() {
        if *level < threshold {
            continue;
        }
        current = match current {
            Some((first, last)) if i - last <= bridge + 1 => Some((first, i)),
            _ => Some((i, i)),
        };
        if let Some((first, last)) = current
            && last - first >= best.1 - best.0
        {
            best = (first, last);
        }
    }
    best
}
