//! How likely a note is when a certain reed is played, or none: by its pitch and its level.

/// A place is sure only this near to the target, cents.
pub(super) const NEAR_CENTS: f64 = 45.0;
/// Pitch of a reed about its target once the common offset is taken off, cents: most reeds, and those badly off.
const NEAR: (f64, f64) = (0.92, 9.0);
const FAR: (f64, f64) = (0.07, 28.0);
/// A coarse pitch may be an octave off: how often, and how near, cents.
const OCTAVE: (f64, f64) = (0.004, 12.0);
/// The same reed once more: how often its pitch is nearly the same, and how nearly, cents. Press and draw of a plate
/// differ more.
const AGAIN: (f64, f64) = (0.85, 1.5);
/// What is no note of the order: how often, and over how many cents its pitch may lie.
const STRAY: f64 = 0.01;
const STRAY_RANGE: f64 = 7_000.0;
/// A note this far below its neighbours is likelier a slip, dB, and by how much.
const SOFT_DB: f64 = 15.0;
const SOFT_FACTOR: f64 = 20.0;

fn normal(x: f64, deviation: f64) -> f64 {
    (-0.5 * (x / deviation).powi(2)).exp() / (deviation * std::f64::consts::TAU.sqrt())
}

/// Of a pitch so many cents above the target, the common offset taken off.
pub(super) fn of_reed(cents: f64) -> f64 {
    // Ten deviations off nothing is left, and most reeds are farther off than that.
    let far = cents.abs();
    if far > 10.0 * FAR.1 && (far - 1200.0).abs() > 10.0 * OCTAVE.1 {
        return 0.0;
    }
    let octaves = normal(cents - 1200.0, OCTAVE.1) + normal(cents + 1200.0, OCTAVE.1);
    NEAR.0 * normal(cents, NEAR.1) + FAR.0 * normal(cents, FAR.1) + OCTAVE.0 * octaves
}

/// Of a pitch so many cents above the note before, when the same reed sounds once more.
pub(super) fn of_repeat(cents_from_before: f64, of_reed: f64) -> f64 {
    AGAIN.0 * normal(cents_from_before, AGAIN.1) + (1.0 - AGAIN.0) * of_reed
}

/// Of a note that belongs to no reed of the order, `below_db` softer than its neighbours.
pub(super) fn of_stray(below_db: f64) -> f64 {
    let factor = if below_db > SOFT_DB { SOFT_FACTOR } else { 1.0 };
    STRAY * factor / STRAY_RANGE
}
