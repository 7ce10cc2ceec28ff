//! The thinning law against a stepped cantilever solved exactly, and against figures computed elsewhere.

use platenote::tuning::cents_per_percent;

/// Pieces of a cantilever: length and thickness, root first, whole length 1.
type Pieces = [(f64, f64); 3];

/// The first frequency, in units of the uniform beam's β², from the transfer of (w, w′, M, V) through each piece.
///
/// Independent of the program: Euler and Bernoulli's equation solved piece by piece with Krylov's functions, no energy and
/// no first order. Source: any book of mechanics (from memory).
fn frequency(pieces: Pieces) -> f64 {
    // For a piece of thickness h: E·I ∝ h³, ρ·A ∝ h, k⁴ = ω²·ρA/EI.
    let free_end = |omega: f64| -> f64 {
        let mut columns = [[0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]];
        for (length, h) in pieces {
            let stiffness = h * h * h;
            let k = (omega * omega * h / stiffness).powf(0.25);
            let z = k * length;
            let (s, t, u, v) = (
                0.5 * (z.cosh() + z.cos()),
                0.5 * (z.sinh() + z.sin()),
                0.5 * (z.cosh() - z.cos()),
                0.5 * (z.sinh() - z.sin()),
            );
            for column in &mut columns {
                let [w, slope, moment, shear] = *column;
                let ei = stiffness;
                *column = [
                    s * w + t / k * slope + u / (k * k * ei) * moment + v / (k * k * k * ei) * shear,
                    k * v * w + s * slope + t / (k * ei) * moment + u / (k * k * ei) * shear,
                    k * k * ei * u * w + k * ei * v * slope + s * moment + t / k * shear,
                    k * k * k * ei * t * w + k * k * ei * u * slope + k * v * moment + s * shear,
                ];
            }
        }
        columns[0][2] * columns[1][3] - columns[0][3] * columns[1][2]
    };
    let (mut low, mut high) = (2.0, 6.0);
    let begin = free_end(low);
    assert!(begin * free_end(high) < 0.0);
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if free_end(middle) * begin > 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

fn exact(from: f64, to: f64, percent: f64) -> f64 {
    let thin = 1.0 - 0.01 * percent;
    let bare = frequency([(0.2, 1.0), (0.3, 1.0), (0.5, 1.0)]);
    // 1.875 104² (any table of vibrating beams).
    assert!((bare - 3.516_015).abs() < 1e-5, "{bare}");
    let pieces = [(from, 1.0), (to - from, thin), (1.0 - to, 1.0)];
    1200.0 * (frequency(pieces) / bare).log2() / percent
}

#[test]
fn metal_off_the_tip_raises_and_off_the_root_lowers_as_an_exact_beam_does() {
    for (from, to) in [(0.9, 1.0), (0.0, 0.1), (0.95, 1.0), (0.0, 0.05), (0.45, 0.55), (0.3, 0.7), (0.0, 1.0)]
    {
        // A hundredth of a per cent, where second order is nothing.
        let (told, exact) = (cents_per_percent(from, to), exact(from, to, 0.01));
        assert!((told - exact).abs() < 0.01, "{from}..{to}: {told} and {exact}");
    }
    // Check values of the uniform cantilever, computed apart from this program, within 0.05.
    for (from, to, cents) in
        [(0.9, 1.0, 3.01), (0.0, 0.1, -9.02), (0.95, 1.0, 1.6), (0.0, 0.05, -4.8), (0.45, 0.55, -0.8)]
    {
        let told = cents_per_percent(from, to);
        assert!((told - cents).abs() < 0.05, "{from}..{to}: {told}");
    }
    // Thinning the whole length: the pitch goes with the thickness.
    assert!((cents_per_percent(0.0, 1.0) + 12.0 / std::f64::consts::LN_2).abs() < 1e-6);
    // Neutral at 0.58 of the length.
    assert!(cents_per_percent(0.57, 0.58) < 0.0 && cents_per_percent(0.58, 0.59) > 0.0);
}
