//! Which of several notes of a plate is press and which draw, where both reeds have one note.
//!
//! Only the order and small differences can tell: goes of one reed agree within a cent or two, the two reeds of a plate
//! seldom do; and who plays a reed again was not content with the go before, often because it was soft. What is decided
//! here stays doubtful all the same.

use super::hmm::{At, Notes};
use super::transitions::Transitions;
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
/// The go that was let stand is about as loud as its neighbours, dB, and seldom anything; of those played again half are
/// anywhere below.
const AS_LOUD_DB: f64 = 3.5;
const ANY_LEVEL: f64 = 0.05 / 40.0;
const SOFTER: f64 = 0.5;
const SOFTER_DB: f64 = 18.0;
/// More notes than this are left as they are.
const MOST: usize = 8;

/// Settle the strokes along a way; for each note how often its plate sounds, where that leaves the stroke unclear.
pub(super) fn settle(
    way: &mut [At],
    lanes: &Transitions,
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
        let (states, goes): (Vec<usize>, Vec<Go>) = (from..to)
            .filter_map(|idx| match way[idx] {
                At::State(state) => {
                    Some((state, Go { cents: notes.cents[idx], below_db: notes.below_db[idx] }))
                }
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
                for (idx, second) in (from..to).zip(likeliest(&goes)) {
                    way[idx] = At::State(both[usize::from(second)]);
                }
            }
        }
        from = to;
    }
    unclear
}

/// A note of the plate.
struct Go {
    /// Pitch, cents above 1 Hz.
    cents: f64,
    /// How much softer it is than its neighbours, dB.
    below_db: f64,
}

impl Go {
    /// By its level: the log likelihood of a go that was let stand, or of one that was played again.
    fn level_log(&self, stands: bool) -> f64 {
        let as_loud = (-0.5 * (self.below_db / AS_LOUD_DB).powi(2)).exp()
            / (AS_LOUD_DB * std::f64::consts::TAU.sqrt())
            + ANY_LEVEL;
        if stands {
            return as_loud.ln();
        }
        let is_softer = (0.0..SOFTER_DB).contains(&self.below_db);
        let softer = if is_softer { SOFTER / SOFTER_DB } else { 0.0 };
        ((1.0 - SOFTER) * as_loud + softer).ln()
    }
}

/// For each note whether it is the plate's second stroke.
fn likeliest(goes: &[Go]) -> Vec<bool> {
    let n = goes.len();
    let is_second = |pattern: u32, idx: usize| pattern & (1 << idx) != 0;
    let score = |pattern: u32| {
        let of = |second: bool| -> Vec<f64> {
            goes.iter()
                .enumerate()
                .filter(|(idx, _)| is_second(pattern, *idx) == second)
                .map(|(_, go)| go.cents)
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
        for (idx, go) in goes.iter().enumerate() {
            let again = (idx + 1..n).any(|later| is_second(pattern, later) == is_second(pattern, idx));
            log += go.level_log(!again);
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
    use super::{Go, likeliest};

    fn goes<const N: usize>(cents_and_below: [(f64, f64); N]) -> Vec<Go> {
        cents_and_below.map(|(cents, below_db)| Go { cents, below_db }).into()
    }

    #[test]
    fn pitch_tells_which_go_was_repeated() {
        let of = |cents: [f64; 3]| likeliest(&goes(cents.map(|cents| (cents, 0.0))));
        assert_eq!(of([0.0, 0.4, 7.0]), [false, false, true]);
        assert_eq!(of([0.0, 7.0, 7.4]), [false, true, true]);
        assert_eq!(of([7.0, 0.0, 7.3]), [true, false, true]);
    }

    #[test]
    fn where_the_pitches_agree_the_soft_go_is_the_one_that_was_repeated() {
        assert_eq!(likeliest(&goes([(0.0, 9.0), (0.8, 0.5), (1.2, -0.5)])), [false, false, true]);
        assert_eq!(likeliest(&goes([(0.0, 0.5), (0.6, 9.0), (1.2, -0.5)])), [false, true, true]);
    }
}
