//! Whole blocks played by a person: readings with the scatter of the hand, the plates and the reeds, and planted leaks.
//!
//! Built by rules of its own, before the judgement was: level −0.8, −2.8 and −5 dB for leaks of 0.3, 1 and 3 of the
//! opposite tongue's opening, start up to half again as long, pitch up to 2.5 cents lower, no second tone (two-reed model,
//! `tests/bench/reed.rs`); a scatter of the level with which an observer who knows it all finds 46/26/12 % of the leaks of
//! size 1 by one take, and 80/57/37 % by five, at 1 false in 48 (even, usual, rough player).

use platenote::analysis::{NotMeasured, Opposite, Tail};
use platenote::instrument::{Instrument, ReedPlace, Stroke};
use platenote::judgement::PassReadings;
use platenote::units::Dbfs;

use super::built::{cents, db, in_tune, reading, reed, seconds};
use crate::bench::chance::Chance;

/// How someone plays; standard deviations.
#[derive(Clone, Copy, Debug)]
pub struct Player {
    pub name: &'static str,
    /// From take to take of one reed: dB, logarithm of the start, cents.
    pub level: f64,
    pub start: f64,
    pub pitch: f64,
    /// The reed's own, take after take.
    pub own_level: f64,
    /// Wild scatter (Student's with 5 degrees of freedom) instead of normal.
    pub wild: bool,
}

pub const EVEN: Player =
    Player { name: "even", level: 1.0, start: 0.12, pitch: 0.3, own_level: 0.7, wild: false };
pub const USUAL: Player =
    Player { name: "usual", level: 1.6, start: 0.2, pitch: 0.5, own_level: 0.95, wild: false };
pub const ROUGH: Player =
    Player { name: "rough", level: 3.0, start: 0.35, pitch: 1.0, own_level: 1.1, wild: false };
pub const PLAYERS: [Player; 3] = [EVEN, USUAL, ROUGH];

/// The reed's own start and pitch (a tuned block), and what a plate's two reeds share; standard deviations.
pub const OWN_START: f64 = 0.2;
pub const OWN_PITCH: f64 = 2.0;
pub const PLATE_LEVEL: f64 = 1.0;
pub const PLATE_START: f64 = 0.1;
pub const PLATE_PITCH: f64 = 1.0;
/// Share of a take's variance that level and start have in common: the hand on the bellows, softer is weaker and later.
pub const HAND: f64 = 0.5;

/// What a leak of this size takes from the level, dB.
pub fn loss_db(size: f64) -> f64 {
    let known: [(f64, f64); 5] = [(0.1, 0.25), (0.3, 0.8), (1.0, 2.8), (3.0, 5.0), (10.0, 7.5)];
    let upper = known.iter().position(|(at, _)| *at >= size).unwrap_or(4).max(1);
    let ((x0, y0), (x1, y1)) = (known[upper - 1], known[upper]);
    (y0.ln() + (y1 / y0).ln() * (size / x0).ln() / (x1 / x0).ln()).exp()
}

/// A block as it lies there: what its reeds are like, leaks left out.
#[derive(Clone)]
pub struct Reeds {
    plates: u32,
    /// By plate and stroke: level, logarithm of the start, cents.
    natural: Vec<[[f64; 3]; 2]>,
    /// What the same is without the reed's own part and the plate's.
    pub trend: Vec<[[f64; 3]; 2]>,
}

impl Reeds {
    pub fn new(plates: u32, player: &Player, chance: &mut Chance) -> Self {
        let bow = [chance.between(-3.0, 3.0), chance.between(-3.0, 3.0)];
        let (slope, lean) = (chance.between(-6.0, 6.0), chance.between(-1.5, 1.5));
        let (apart, tilt) = (chance.between(-3.0, 3.0), chance.between(-1.0, 1.0));
        let (mut natural, mut trends) = (Vec::new(), Vec::new());
        for number in 1..=plates {
            let x = f64::from(number) / f64::from(plates);
            let plate = [PLATE_LEVEL, PLATE_START, PLATE_PITCH].map(|sd| sd * chance.normal());
            let trend = [0.5, -0.5].map(|sense| {
                let level = slope * x
                    + bow[0] * (std::f64::consts::PI * x).sin()
                    + 0.4 * bow[1] * (2.0 * std::f64::consts::PI * x).sin()
                    + sense * (apart + tilt * x);
                [level, -0.7 - x + 0.2 * sense * lean, 0.5 * lean * x]
            });
            trends.push(trend);
            natural.push(trend.map(|[level, start, pitch]| {
                [
                    level + plate[0] + player.own_level * chance.normal(),
                    start + plate[1] + OWN_START * chance.normal(),
                    pitch + plate[2] + OWN_PITCH * chance.normal(),
                ]
            }));
        }
        Self { plates, natural, trend: trends }
    }

    /// One pass: every reed played `takes` times, with leaks of these sizes by plate and stroke.
    pub fn play(
        &self,
        plan: &Instrument,
        player: &Player,
        leaks: &[[f64; 2]],
        takes: usize,
        chance: &mut Chance,
    ) -> PassReadings {
        let mut pass = in_tune(plan);
        let gain = chance.between(-6.0, 6.0);
        for number in 1..=self.plates {
            for (at, stroke) in Stroke::BOTH.into_iter().enumerate() {
                let place = reed(number, stroke);
                let size = leaks[number as usize - 1][at];
                // Plates of one kind differ in what a leak does.
                let loss = if size > 0.0 { loss_db(size) * (0.15 * chance.normal()).exp() } else { 0.0 };
                let all: Vec<_> = (0..takes.max(1))
                    .map(|_| self.take(plan, player, &place, at, loss, gain, chance))
                    .collect();
                let mut all = all.into_iter();
                let speaks = all.next().expect("one at the least");
                pass.readings.insert(place.clone(), Ok(speaks));
                pass.further.insert(place, all.collect());
            }
        }
        pass
    }

    #[allow(clippy::too_many_arguments)]
    fn take(
        &self,
        plan: &Instrument,
        player: &Player,
        place: &ReedPlace,
        at: usize,
        loss: f64,
        gain: f64,
        chance: &mut Chance,
    ) -> platenote::analysis::Reading {
        let [level, start, pitch] = self.natural[place.plate.number as usize - 1][at];
        let hand = scatter(chance, player.wild);
        let own =
            |chance: &mut Chance| HAND.sqrt() * hand + (1.0 - HAND).sqrt() * scatter(chance, player.wild);
        let blown = level + player.level * own(chance);
        let level = blown - loss;
        let start = start - player.start * own(chance) + (1.0 + 0.1 * loss).ln();
        let pitch = pitch + player.pitch * chance.normal() - 0.5 * loss;
        let hiss = -75.0 + HISS_FOLLOWS * blown + HISS * chance.normal() + 0.08 * loss;
        let mut one = reading(plan.target(place).expect("a target").raised_by(cents(pitch)));
        one.level = Dbfs::new(-25.0 + gain + level).expect("a level");
        one.onset = Ok(seconds(start.exp()));
        one.breath = Ok(db(hiss + 25.0 - level));
        one.opposite = Opposite::Unresolved {
            evidence: 0.0,
            needs: chance.happens(0.5).then(|| seconds(chance.between(4.0, 60.0))),
            reason: NotMeasured::TooClose { steady: 3.0 },
        };
        one.tail = match chance.unit() {
            u if u < 0.3 => Tail::Heard {
                level: db(-28.0 + 7.0 * scatter(chance, true)),
                offset: cents(1.0),
                evidence: 20.0,
            },
            u if u < 0.6 => Tail::Quiet { limit: db(chance.between(-45.0, -20.0)), evidence: 1.0 },
            _ => Tail::NotMeasured(NotMeasured::SlowStop),
        };
        one
    }
}

/// Unit variance, normal or Student's t with 5 degrees of freedom.
pub fn scatter(chance: &mut Chance, wild: bool) -> f64 {
    let normal = chance.normal();
    if !wild {
        return normal;
    }
    let chi: f64 = (0..5).map(|_| chance.normal().powi(2)).sum();
    normal / (chi / 5.0).sqrt() * 0.6f64.sqrt()
}

/// Sizes by plate and stroke: `leaks` at different slots drawn by chance, the others tight.
pub fn planted(plates: u32, leaks: &[f64], chance: &mut Chance) -> Vec<[f64; 2]> {
    let mut sizes = vec![[0.0; 2]; plates as usize];
    for size in leaks {
        loop {
            let (plate, stroke) =
                ((chance.unit() * f64::from(plates)) as usize, usize::from(chance.happens(0.5)));
            if sizes[plate][stroke] == 0.0 {
                sizes[plate][stroke] = *size;
                break;
            }
        }
    }
    sizes
}

/// Share of the level, as it was blown, that the hiss takes over, and the hiss's own scatter, dB.
pub const HISS_FOLLOWS: f64 = 0.4;
pub const HISS: f64 = 2.0;

/// The observer who knows the trend itself, and by what law plates, reeds and hand scatter, and lacks only whether the valve
/// leaks: how far level alone, and level, start, hiss and pitch of both reeds of the plate together, lie towards a leak, in
/// standard deviations of a tight plate. Nobody who has the readings alone can do better; what he does not share with the
/// judgement is having to find trend and scatters from the same 48 reeds.
pub fn ideal(reeds: &Reeds, player: &Player, plan: &Instrument, pass: &PassReadings) -> Vec<[[f64; 2]; 2]> {
    // Level and start, hiss (of which the level is known), pitch.
    let hiss_of = |level: f64| HISS_FOLLOWS * level;
    let figures = |number: u32, at: usize| {
        let place = reed(number, Stroke::BOTH[at]);
        let one = pass.readings[&place].as_ref().expect("a reading");
        let takes: Vec<_> =
            std::iter::once(one).chain(pass.further.get(&place).into_iter().flatten()).collect();
        let mean = |of: &dyn Fn(&platenote::analysis::Reading) -> f64| {
            takes.iter().map(|take| of(take)).sum::<f64>() / takes.len() as f64
        };
        let target = plan.target(&place).expect("a target");
        [
            mean(&|take| take.level.get()),
            mean(&|take| take.onset.expect("a start").get().ln()),
            mean(&|take| take.breath.expect("a breath").get() + take.level.get()),
            mean(&|take| take.f0.cents_above(target).get()),
        ]
    };
    let first = pass.further.values().next().map_or(1, |further| 1 + further.len()) as f64;
    // The gain of the pass: nobody is told, but 48 reeds tell it well.
    let mut all: Vec<f64> = (1..=reeds.plates)
        .flat_map(|number| [0, 1].map(|at| figures(number, at)[0] - reeds.trend[number as usize - 1][at][0]))
        .collect();
    all.sort_by(f64::total_cmp);
    let gain = all[all.len() / 2];
    // Covariances of level, start, hiss, pitch: what a plate shares, what a reed keeps, what a take draws.
    let spread = |level: f64, start: f64, pitch: f64, together: f64, hiss: f64| {
        let (ll, ls) = (level * level, -together * level * start);
        [
            [ll, ls, hiss_of(ll), 0.0],
            [ls, start * start, hiss_of(ls), 0.0],
            [hiss_of(ll), hiss_of(ls), HISS_FOLLOWS * hiss_of(ll) + hiss * hiss, 0.0],
            [0.0, 0.0, 0.0, pitch * pitch],
        ]
    };
    let plate = spread(PLATE_LEVEL, PLATE_START, PLATE_PITCH, 0.0, 0.0);
    let own = spread(player.own_level, OWN_START, OWN_PITCH, 0.0, 0.0);
    let take = spread(player.level, player.start, player.pitch, HAND, HISS);
    let covariance: Vec<Vec<f64>> = (0..8)
        .map(|a| {
            (0..8)
                .map(|b| {
                    let same =
                        if a / 4 == b / 4 { own[a % 4][b % 4] + take[a % 4][b % 4] / first } else { 0.0 };
                    plate[a % 4][b % 4] + same
                })
                .collect()
        })
        .collect();
    let leak = [-1.0, 0.088, 0.08, -0.5];
    let weights: Vec<Vec<f64>> = (0..2)
        .map(|at| {
            let wanted: Vec<f64> = (0..8).map(|i| if i / 4 == at { leak[i % 4] } else { 0.0 }).collect();
            solved(covariance.clone(), wanted)
        })
        .collect();
    let (p, v) = (PLATE_LEVEL.powi(2), player.own_level.powi(2) + player.level.powi(2) / first);
    let level_sd = (p + v - p * p / (p + v)).sqrt();
    (1..=reeds.plates)
        .map(|number| {
            let off: Vec<f64> = (0..2)
                .flat_map(|at| {
                    let (figures, trend) = (figures(number, at), reeds.trend[number as usize - 1][at]);
                    [
                        figures[0] - trend[0] - gain,
                        figures[1] - trend[1],
                        figures[2] - (-75.0 + 25.0 + gain + hiss_of(trend[0])),
                        figures[3] - trend[2],
                    ]
                })
                .collect();
            [0, 1].map(|at| {
                let level = -(off[4 * at] - p / (p + v) * off[4 * (1 - at)]) / level_sd;
                let dot = |values: &[f64]| weights[at].iter().zip(values).map(|(w, x)| w * x).sum::<f64>();
                let information: f64 = (0..4).map(|i| weights[at][4 * at + i] * leak[i]).sum();
                [level, dot(&off) / information.sqrt()]
            })
        })
        .collect()
}

/// Solve by elimination; the matrix is a covariance.
fn solved(mut rows: Vec<Vec<f64>>, mut right: Vec<f64>) -> Vec<f64> {
    let n = right.len();
    for i in 0..n {
        for j in 0..n {
            if i != j {
                let share = rows[j][i] / rows[i][i];
                let pivot = rows[i].clone();
                rows[j].iter_mut().zip(&pivot).for_each(|(value, of)| *value -= share * of);
                right[j] -= share * right[i];
            }
        }
    }
    (0..n).map(|i| right[i] / rows[i][i]).collect()
}
