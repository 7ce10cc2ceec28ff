//! From what a leak costs in level to its size, the share of the opposite tongue's opening at rest, and back.

/// Size and what it costs a reed at one pressure, dB.
type Drops = [(f64, f64); 3];

/// What a leak of so many openings costs a reed at one pressure, dB. Two makes of plates in the two-tongue model give 0.8, 2.8
/// and 5 dB (tip of the tongue, all its plates) and 2.2, 6.1 and 22 dB (sound, 110 to 880 Hz, 450 Pa): the geometric means.
/// No real plate has been measured; the known-leak trial corrects it for a bench.
const LEVEL_DROPS_DB: Drops = [(0.3, 1.3), (1.0, 4.1), (3.0, 10.5)];
/// The two makes themselves: the ends of what a bench may have.
const LEAST_DROPS_DB: Drops = [(0.3, 0.8), (1.0, 2.8), (3.0, 5.0)];
const MOST_DROPS_DB: Drops = [(0.3, 2.2), (1.0, 6.1), (3.0, 22.0)];
/// Plates of one make scatter by this, a factor; and a make may cost still less than the least of the two, by this. With it
/// the intervals held for a third make whose losses end at 3 dB, up to one opening.
const MAKE_SCATTERS: f64 = 1.25;
const COSTS_LESS_STILL: f64 = 1.6;
/// From this size on the tone of some makes fails at the usual pressure.
const FAILS_FROM: f64 = 2.0;
/// Sizes beyond this are told as this: the model falls silent about there.
pub(super) const LARGEST: f64 = 10.0;
/// Pitch, Hz; opening of a tongue at rest, mm²; and how far a valve stands off all round for a leak of that, mm: the
/// hand-set plates of the two-tongue model.
const PLATES: [(f64, f64, f64); 6] = [
    (82.41, 38.0, 0.34),
    (110.0, 29.0, 0.29),
    (220.0, 16.0, 0.21),
    (440.0, 8.2, 0.15),
    (880.0, 3.7, 0.10),
    (1760.0, 1.9, 0.07),
];

/// What a leak of this size costs in level at one pressure, dB; straight in the logarithms between the model's points.
pub fn level_drop_db(size: f64) -> f64 {
    let [first, middle, last] = LEVEL_DROPS_DB;
    let (a, b) = if size < middle.0 { (first, middle) } else { (middle, last) };
    if size <= 0.0 { 0.0 } else { a.1 * (size / a.0).powf((b.1 / a.1).ln() / (b.0 / a.0).ln()) }
}

/// The size of a leak that costs so much, 0 to 10 openings.
pub fn size_of_level_drop(drop_db: f64) -> f64 {
    size_by(&LEVEL_DROPS_DB, drop_db)
}

/// The smallest and the largest size that may cost so much, whatever the make of the plate.
pub(super) fn sizes_of_level_drop(drop_db: f64) -> (f64, f64) {
    let (low, high) = (size_by(&MOST_DROPS_DB, drop_db), size_by(&LEAST_DROPS_DB, drop_db));
    // Where the tone nearly fails, one leak is as good as another.
    ((low / MAKE_SCATTERS).min(FAILS_FROM), (high * COSTS_LESS_STILL).min(LARGEST))
}

fn size_by(drops: &Drops, drop_db: f64) -> f64 {
    let [first, middle, last] = *drops;
    let (a, b) = if drop_db < middle.1 { (first, middle) } else { (middle, last) };
    if drop_db <= 0.0 {
        return 0.0;
    }
    (a.0 * (drop_db / a.1).powf((b.0 / a.0).ln() / (b.1 / a.1).ln())).min(LARGEST)
}

/// What a tongue of this pitch leaves open at rest, mm², as the model's plates have it; a plate's own may be half or twice
/// that.
pub fn usual_opening_mm2(pitch_hz: f64) -> f64 {
    between(pitch_hz, |plate| plate.1)
}

/// How far a valve stands off all round for a leak of this size, mm.
pub fn slit_mm(size: f64, pitch_hz: f64) -> f64 {
    size * between(pitch_hz, |plate| plate.2)
}

/// The leak that a strip of so many millimetres opens under the tip of a valve: full height at the tip, none at the glue,
/// so half of it along the sides.
pub fn size_of_strip(strip_mm: f64, pitch_hz: f64) -> f64 {
    0.5 * strip_mm / slit_mm(1.0, pitch_hz)
}

/// A size in words, as a valve that stands off all round.
pub fn slit_words(size: f64, pitch_hz: f64) -> String {
    if size >= LARGEST {
        return "as a valve that stands well off".into();
    }
    format!("as a valve that stands off by {:.2} mm all round", slit_mm(size, pitch_hz))
}

/// A measure of the plates, straight in the logarithms of pitch and measure, the ends' own slopes beyond.
fn between(pitch_hz: f64, measure: impl Fn(&(f64, f64, f64)) -> f64) -> f64 {
    let above = PLATES.iter().position(|plate| plate.0 >= pitch_hz).unwrap_or(PLATES.len() - 1).max(1);
    let (low, high) = (&PLATES[above - 1], &PLATES[above]);
    let share = ((pitch_hz / low.0).ln() / (high.0 / low.0).ln()).clamp(-1.0, 2.0);
    (measure(low).ln() * (1.0 - share) + share * measure(high).ln()).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_go_there_and_back() {
        for size in [0.05, 0.3, 0.7, 1.0, 2.0, 3.0] {
            assert!((size_of_level_drop(level_drop_db(size)) - size).abs() < 1e-9, "{size}");
        }
        assert!((level_drop_db(0.3) - 1.3).abs() < 1e-12 && (level_drop_db(3.0) - 10.5).abs() < 1e-12);
        assert!((usual_opening_mm2(440.0) - 8.2).abs() < 1e-9 && (slit_mm(0.5, 220.0) - 0.105).abs() < 1e-9);
        assert_eq!((size_of_level_drop(-1.0), size_of_level_drop(40.0)), (0.0, LARGEST));
    }
}
