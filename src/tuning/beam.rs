//! How far metal taken off a tongue moves its pitch: the uniform cantilever, to first order.
//!
//! Rayleigh's quotient over the first mode φ: ω² = ∫E·I·φ″² dx / ∫ρ·A·φ² dx. Thinning by the part ε lowers I by 3ε and A by
//! ε, so that δ(ln f) = ½·ε·(∫φ² − 3·∫φ″²) over the thinned stretch, each integral as its share of the whole tongue. Metal off
//! the tip therefore raises and metal off the root lowers.

use crate::instrument::Note;
use crate::repair::Part;

/// First eigenvalue of the clamped and free beam, cosh β·cos β = −1.
const BETA: f64 = 1.875_104_068_711_961;
/// (cosh β + cos β) / (sinh β + sin β), the mode's own constant.
const SIGMA: f64 = 0.734_095_513_758_6;
/// Strips of Simpson's rule over the tongue; more move nothing in the sixth digit.
const STRIPS: usize = 400;
/// The part of a tongue that one works on at its tip or at its root. Common practice, no source.
const WORKED_PART: f64 = 0.1;
/// What a stroke takes off, mm: the order of magnitude of a fine cut. Our own choice; learnt as soon as there is history.
const STROKE_MM: f64 = 0.001;
/// Thickness of tongues by note number, mm: plausible dimensions, chosen and not measured (E2 with its weighted tip).
const THICKNESS_MM: [(f64, f64); 5] = [(40.0, 1.0), (57.0, 0.4), (69.0, 0.3), (81.0, 0.22), (93.0, 0.16)];

/// How far the pitch moves, cents, when the stretch from `from` to `to` (0 at the root, 1 at the tip) loses 1 % of its
/// thickness.
///
/// # Example
/// ```
/// use platenote::tuning::cents_per_percent;
/// assert!((cents_per_percent(0.9, 1.0) - 3.01).abs() < 0.05); // raised at the tip
/// assert!((cents_per_percent(0.0, 0.1) + 9.02).abs() < 0.05); // lowered at the root
/// ```
pub fn cents_per_percent(from: f64, to: f64) -> f64 {
    let (from, to) = (from.clamp(0.0, 1.0), to.clamp(0.0, 1.0));
    let share = |of: fn(f64) -> f64| {
        let squared = |x: f64| of(x) * of(x);
        simpson(squared, from, to) / simpson(squared, 0.0, 1.0)
    };
    let log_change = 0.5 * 0.01 * (share(shape) - 3.0 * share(bending));
    1200.0 / std::f64::consts::LN_2 * log_change
}

/// What a stroke of a fine file may do to the reed of `note`, cents, by the beam alone: an order of magnitude.
pub fn stroke_by_beam(note: Note, part: Part) -> f64 {
    let percent = 100.0 * STROKE_MM / thickness_mm(note);
    percent * worked(part)
}

/// 1 % off the end that is worked on, cents; integrated once.
fn worked(part: Part) -> f64 {
    static ENDS: std::sync::LazyLock<(f64, f64)> = std::sync::LazyLock::new(|| {
        (cents_per_percent(1.0 - WORKED_PART, 1.0), cents_per_percent(0.0, WORKED_PART))
    });
    match part {
        Part::Tip => ENDS.0,
        Part::Root => ENDS.1,
    }
}

fn thickness_mm(note: Note) -> f64 {
    let x = f64::from(note.number());
    let ends = (THICKNESS_MM[0], THICKNESS_MM[THICKNESS_MM.len() - 1]);
    let between = THICKNESS_MM.windows(2).find_map(|pair| match pair {
        [low, high] if (low.0..=high.0).contains(&x) => {
            let way = (x - low.0) / (high.0 - low.0);
            // Even on a logarithmic scale, as a scale of tongues is laid out.
            Some(low.1 * (high.1 / low.1).powf(way))
        }
        _ => None,
    });
    between.unwrap_or(if x < ends.0.0 { ends.0.1 } else { ends.1.1 })
}

/// The first mode, clamped at 0 and free at 1.
fn shape(x: f64) -> f64 {
    let z = BETA * x;
    z.cosh() - z.cos() - SIGMA * (z.sinh() - z.sin())
}

/// Its second derivative, but for a constant.
fn bending(x: f64) -> f64 {
    let z = BETA * x;
    z.cosh() + z.cos() - SIGMA * (z.sinh() + z.sin())
}

fn simpson(of: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let step = (to - from) / STRIPS as f64;
    let inner: f64 =
        (1..STRIPS).map(|k| (if k % 2 == 1 { 4.0 } else { 2.0 }) * of(from + k as f64 * step)).sum();
    (of(from) + inner + of(to)) * step / 3.0
}
