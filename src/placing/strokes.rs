//! Which of several notes of a plate is press and which draw, where both reeds have one note.
//!
//! Only the order and small differences of pitch can tell: goes of one reed agree within a cent or two, the two reeds
//! of a plate seldom do. What is decided here stays doubtful all the same.

use super::lanes::Lanes;
use super::walk::{At, Notes};
use crate::instrument::{ReedPlace, Stroke};

/// Reeds of a plate within this have one note, cents.
const ONE_NOTE_CENTS: f64 = 60.0;
/// Goes of one reed agree so well, and the two reeds of a plate so badly, cents.
const GOES_CENTS: f64 = 1.3;
const REEDS_CENTS: f64 = 9.0;
/// A single go counts as so many deviations off at the most.
const MOST_OFF: f64 = 4.0;
/// What players do, natural logarithms: one stroke once more; the wrong stroke first; back to the first stroke.
const AGAIN: f64 = -3.5;
const WRONG_FIRST: f64 = -4.4;
const GOES_BACK: f64 = -1.5;
/// The plate is left after its first stroke.
const LEFT_EARLY: f64 = -6.0;
/// More notes than this are left as they are.
const MOST: usize = 8;

/// Settle the strokes along a way; for each note how often its plate sounds, where that leaves the stroke unclear.
pub(super) fn settle(
    way: &mut [At],
    lanes: &Lanes,
    reeds: &[ReedPlace],
    notes: &Notes,
) -> Vec<Option<usize>> {
    let mut unclear = vec![None; way.len()];
    let reed_at = |at: &At| match at {
        At::State(state) => lanes.reed.get(*state).copied(),
        At::Astray => None,
    };
    let mut from = 0;
    while from < way.len() {
        let Some(first) = reed_at(&way[from]) else {
            from += 1;
            continue;
        };
        let same = |at: &At| reed_at(at).is_some_and(|reed| reeds[reed].plate == reeds[first].plate);
        let to = from + way[from..].iter().take_while(|at| same(at)).count();
        let (states, cents): (Vec<usize>, Vec<f64>) = (from..to)
            .filter_map(|idx| match way[idx] {
                At::State(state) => Some((state, notes.cents[idx])),
                At::Astray => None,
            })
            .unzip();
        let find =
            |stroke: Stroke| states.iter().copied().find(|state| reeds[lanes.reed[*state]].stroke == stroke);
        if let (Some(press), Some(draw)) = (find(Stroke::Press), find(Stroke::Draw))
            && states.len() > 2
            && (notes.targets[lanes.reed[press]] - notes.targets[lanes.reed[draw]]).abs() < ONE_NOTE_CENTS
        {
            unclear[from..to].fill(Some(states.len()));
            // The stroke that the lane has first is played first.
            let both = if press < draw { [press, draw] } else { [draw, press] };
            if states.len() <= MOST {
                for (idx, second) in (from..to).zip(likeliest(&cents)) {
                    way[idx] = At::State(both[usize::from(second)]);
                }
            }
        }
        from = to;
    }
    unclear
}

/// For each note whether it is the plate's second stroke.
fn likeliest(cents: &[f64]) -> Vec<bool> {
    let n = cents.len();
    let is_second = |pattern: u32, idx: usize| pattern & (1 << idx) != 0;
    let score = |pattern: u32| {
        let of = |second: bool| -> Vec<f64> {
            cents
                .iter()
                .enumerate()
                .filter(|(idx, _)| is_second(pattern, *idx) == second)
                .map(|(_, cents)| *cents)
                .collect()
        };
        let (first, second) = (of(false), of(true));
        let (a, b) = (mean(&first), mean(&second));
        let off = |values: &[f64], mean: f64| {
            values
                .iter()
                .map(|value| ((value - mean) / GOES_CENTS).powi(2).min(MOST_OFF * MOST_OFF))
                .sum::<f64>()
        };
        let mut log = -0.5 * (off(&first, a) + off(&second, b)) - 0.5 * ((a - b) / REEDS_CENTS).powi(2);
        log += if is_second(pattern, 0) { WRONG_FIRST } else { 0.0 };
        for idx in 1..n {
            log += match (is_second(pattern, idx - 1), is_second(pattern, idx)) {
                (false, true) => 0.0,
                (true, false) => GOES_BACK,
                _ => AGAIN,
            };
        }
        log + if is_second(pattern, n - 1) { 0.0 } else { LEFT_EARLY }
    };
    let all = 1..(1_u32 << n) - 1;
    let best = all.max_by(|a, b| score(*a).total_cmp(&score(*b)).then(b.cmp(a))).unwrap_or(0);
    (0..n).map(|idx| is_second(best, idx)).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::likeliest;

    #[test]
    fn pitch_tells_which_go_was_repeated() {
        assert_eq!(likeliest(&[0.0, 0.4, 7.0]), [false, false, true]);
        assert_eq!(likeliest(&[0.0, 7.0, 7.4]), [false, true, true]);
        assert_eq!(likeliest(&[7.0, 0.0, 7.3]), [true, false, true]);
    }
}
