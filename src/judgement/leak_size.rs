//! The size of a leak: what it takes from the tone, and as what slit it stands open.
//!
//! A size is the area of the leak over the opening of the opposite tongue at rest, between tongue and slot.

/// What a leak of a size takes from the level, dB: the two-reed model's mean over its plates (`docs/method.md`). The last
/// pair holds the slope where the tone nearly fails.
const LOSS_DB: [(f64, f64); 6] = [(0.03, 0.08), (0.1, 0.26), (0.3, 0.8), (1.0, 2.8), (3.0, 5.0), (10.0, 8.0)];
/// Slit all round the valve at size 1, mm, by note number: hand-set plates of the two-reed model, E2 to A6.
const SLIT_MM: [(f64, f64); 6] =
    [(40.0, 0.34), (45.0, 0.29), (57.0, 0.21), (69.0, 0.15), (81.0, 0.10), (93.0, 0.07)];
/// Beyond this size nothing is promised: the reed hardly speaks.
pub(crate) const LARGEST: f64 = 10.0;

/// The loss of level behind a leak of this size, dB.
#[cfg(test)]
pub(crate) fn loss_db(size: f64) -> f64 {
    if size <= 0.0 { 0.0 } else { along(&LOSS_DB.map(|(size, db)| (size.ln(), db.ln())), size.ln()).exp() }
}

/// The size that takes so much of the level; `None` beyond [`LARGEST`].
pub(crate) fn of_loss(db: f64) -> Option<f64> {
    if db <= 0.0 {
        return Some(0.0);
    }
    let size = along(&LOSS_DB.map(|(size, db)| (db.ln(), size.ln())), db.ln()).exp();
    (size <= LARGEST).then_some(size)
}

/// As what slit all round the valve a leak of this size stands open, mm, at this note of the opposite tongue.
pub(crate) fn slit_mm(size: f64, note: f64) -> f64 {
    size * along(&SLIT_MM.map(|(note, mm)| (note, mm.ln())), note).exp()
}

/// Straight lines through `points`, ascending, the outer ones drawn on.
fn along(points: &[(f64, f64); 6], x: f64) -> f64 {
    let next = points.iter().position(|(at, _)| *at > x).unwrap_or(points.len() - 1).max(1);
    match (points.get(next - 1), points.get(next)) {
        (Some((x0, y0)), Some((x1, y1))) => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_and_losses_go_there_and_back() {
        for size in [0.01, 0.1, 0.25, 0.3, 1.0, 2.2, 3.0, 9.0] {
            let back = of_loss(loss_db(size)).unwrap_or(0.0);
            assert!((back / size - 1.0).abs() < 1e-9, "{size}: {back}");
        }
        assert_eq!((loss_db(0.0), of_loss(-1.0), of_loss(30.0)), (0.0, Some(0.0), None));
        assert!((loss_db(1.0) - 2.8).abs() < 1e-9);
    }

    #[test]
    fn the_slit_follows_the_note() {
        assert!((slit_mm(1.0, 69.0) - 0.15).abs() < 1e-9);
        assert!((slit_mm(0.5, 40.0) - 0.17).abs() < 1e-9);
        let between = slit_mm(1.0, 63.0);
        assert!(0.15 < between && between < 0.21, "{between}");
        assert!(slit_mm(1.0, 20.0) > 0.34 && slit_mm(1.0, 110.0) < 0.07);
    }
}
