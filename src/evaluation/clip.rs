//! A short piece of a take, to be played from the report.

use crate::analysis::Reading;
use crate::audio;
use crate::take::Take;

/// How long a clip is, s: long enough to hear the tone, short enough for a telephone.
const LENGTH_S: f64 = 1.0;
/// Faded in and out over this, s, so that it does not click.
const FADE_S: f64 = 0.01;

/// The middle of the steady stretch, as a whole WAV file.
pub(super) fn cut(take: &Take, reading: &Reading) -> Option<Vec<u8>> {
    let rate = f64::from(take.rate_hz);
    let (from, to) = (reading.steady.start.get(), reading.steady.end.get());
    let start = (0.5 * (from + to - LENGTH_S)).max(0.0);
    let first = (start * rate) as usize;
    let last = first + (LENGTH_S * rate) as usize;
    let mut samples = take.samples.get(first..last.min(take.samples.len()))?.to_vec();
    let n_fade = (FADE_S * rate) as usize;
    let n_samples = samples.len();
    for (k, sample) in samples.iter_mut().enumerate() {
        let from_edge = k.min(n_samples - 1 - k);
        if from_edge < n_fade {
            *sample *= from_edge as f32 / n_fade as f32;
        }
    }
    audio::clip_bytes(&samples, take.rate_hz).ok()
}
