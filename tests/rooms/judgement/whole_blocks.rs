//! Whole blocks as a person plays them: how many leaks are found, how many tight valves accused, how true the sizes are.

use platenote::instrument::{Bellows, Face, Instrument, Stroke};
use platenote::judgement::{Findings, ValveFinding, Verdict, judge};

use super::built::{instrument, plate as plate_of, valve};
use super::odds::{lower_bound, upper_bound};
use super::player::{EVEN, PLAYERS, Player, ROUGH, Reeds, USUAL, ideal, planted};
use crate::bench::chance::Chance;

const PLATES: u32 = 24;

/// What came of many blocks.
#[derive(Default)]
struct Count {
    tight: u64,
    leaks: u64,
    flags: u64,
    not_judged: u64,
    /// By size of leak: planted, `leaks`, flagged, among the first 16.
    by_size: std::collections::BTreeMap<u64, [u64; 6]>,
    /// What the observers say of tight valves, and of leaks by size: level alone, all signs.
    ideal_tight: Vec<[f64; 2]>,
    ideal_leaks: Vec<(u64, [f64; 2])>,
    /// Leaks whose interval was given, and holds the size.
    intervals: [u64; 2],
}

fn found(findings: &Findings, number: u32, at: usize) -> &ValveFinding {
    let face = if Stroke::BOTH[at] == Stroke::Press { Face::Outer } else { Face::Inner };
    valve(findings, number, face)
}

fn count(player: &Player, blocks: u64, sizes: &[f64], takes: usize, seed: u64) -> Count {
    count_in(&instrument(PLATES as usize), player, blocks, sizes, takes, seed)
}

fn count_in(
    plan: &Instrument,
    player: &Player,
    blocks: u64,
    sizes: &[f64],
    takes: usize,
    seed: u64,
) -> Count {
    let mut chance = Chance::new(seed);
    let mut count = Count::default();
    for _ in 0..blocks {
        let reeds = Reeds::new(PLATES, player, &mut chance);
        let truth = planted(PLATES, sizes, &mut chance);
        let pass = reeds.play(plan, player, &truth, takes, &mut chance);
        let findings = judge(plan, &pass);
        let observers = ideal(&reeds, player, plan, &pass);
        for number in 1..=PLATES {
            for at in 0..2 {
                let (size, seen) = (truth[number as usize - 1][at], observers[number as usize - 1][at]);
                let one = found(&findings, number, at);
                let leaks = u64::from(one.verdict == Verdict::Leaks);
                let flag = u64::from(matches!(one.verdict, Verdict::Leaks | Verdict::Suspect));
                count.not_judged += u64::from(matches!(one.verdict, Verdict::NotJudged { .. }));
                if size == 0.0 {
                    count.tight += 1;
                    count.leaks += leaks;
                    count.flags += flag;
                    count.ideal_tight.push(seen);
                    continue;
                }
                let key = (1000.0 * size).round() as u64;
                count.ideal_leaks.push((key, seen));
                let leak = one.leak.expect("every reed was played");
                let first = u64::from(leak.rank.is_some_and(|rank| rank <= 16));
                let by = count.by_size.entry(key).or_default();
                let below = u64::from(leak.high.is_some_and(|high| high < size));
                let above = u64::from(leak.low.is_some_and(|low| size < low));
                for (sum, one) in by.iter_mut().zip([1, leaks, flag, first, below, above]) {
                    *sum += one;
                }
                let holds =
                    leak.low.is_none_or(|low| low <= size) && leak.high.is_none_or(|high| size <= high);
                count.intervals[0] += 1;
                count.intervals[1] += u64::from(holds);
            }
        }
    }
    count
}

impl Count {
    /// Share of the leaks of a size that the observer finds at 1 false in 48: by level, by all signs.
    fn ideal(&self, size: u64) -> [f64; 2] {
        [0, 1].map(|which| {
            let mut tight: Vec<f64> = self.ideal_tight.iter().map(|seen| seen[which]).collect();
            tight.sort_by(|a, b| b.total_cmp(a));
            let limit = tight[tight.len() / 48];
            let of_size: Vec<f64> =
                self.ideal_leaks.iter().filter(|(at, _)| *at == size).map(|(_, seen)| seen[which]).collect();
            of_size.iter().filter(|seen| **seen > limit).count() as f64 / of_size.len() as f64
        })
    }

    fn print(&self, player: &Player, what: &str) {
        let per_48 =
            |count: u64| (48.0 * count as f64 / self.tight as f64, 48.0 * upper_bound(count, self.tight));
        let (leaks, flags) = (per_48(self.leaks), per_48(self.flags));
        println!(
            "{} {what}: per 48 of {} tight valves {:.3} leaks (below {:.3}), {:.2} flags (below {:.2}); {} not judged; intervals hold {} of {}",
            player.name,
            self.tight,
            leaks.0,
            leaks.1,
            flags.0,
            flags.1,
            self.not_judged,
            self.intervals[1],
            self.intervals[0]
        );
        for (size, [planted, leaks, flags, first, below, above]) in &self.by_size {
            let share = |count: &u64| {
                format!(
                    "{:.0} % (above {:.0})",
                    100.0 * *count as f64 / *planted as f64,
                    100.0 * lower_bound(*count, *planted)
                )
            };
            let [level, all] = self.ideal(*size).map(|share| 100.0 * share);
            println!(
                "   size {:.1} ({planted}): {} leaks, {} flagged, {} in the first 16; the observer {level:.0} % by level, {all:.0} % by all; interval below {below}, above {above}",
                *size as f64 / 1000.0,
                share(leaks),
                share(flags),
                share(first),
            );
        }
    }

    /// At most so many false `leaks`, and `leaks` and `suspect` together, of 48 tight valves, at 95 % (Clopper and Pearson).
    fn accuses_at_most(&self, leaks: f64, flags: f64, what: &str) {
        let (of_leaks, of_flags) = (upper_bound(self.leaks, self.tight), upper_bound(self.flags, self.tight));
        assert!(48.0 * of_leaks < leaks, "{what}: {} false leaks of {}", self.leaks, self.tight);
        assert!(48.0 * of_flags < flags, "{what}: {} false flags of {}", self.flags, self.tight);
        assert_eq!(self.not_judged, 0, "{what}");
    }

    /// Of the leaks of this size surely so many are flagged, as a share of what the observer finds, and in the first 16.
    fn finds(&self, size: u64, of_observer: f64, first: f64, what: &str) {
        let [planted, _, flags, in_first, ..] = self.by_size[&size];
        let [_, observer] = self.ideal(size);
        let flagged = upper_bound(flags, planted);
        assert!(
            flagged >= of_observer * observer,
            "{what}, size {size}: {flags} of {planted}, the observer {observer:.2}"
        );
        let ranked = upper_bound(in_first, planted);
        assert!(ranked >= first, "{what}, size {size}: {in_first} of {planted} in the first 16");
    }

    /// Between so many of the size intervals hold.
    fn covers(&self, from: f64, to: f64, what: &str) {
        let [given, hold] = self.intervals;
        assert!(upper_bound(hold, given) >= from, "{what}: {hold} of {given} intervals hold");
        assert!(lower_bound(hold, given) <= to, "{what}: {hold} of {given} intervals hold");
    }
}

const FEW: [f64; 5] = [0.3, 1.0, 1.0, 3.0, 3.0];

/// In every kind of play, with and without leaks, at most 0.1 `leaks` and 1 flag of 48 tight valves.
#[test]
fn tight_valves_are_not_accused() {
    for player in PLAYERS {
        let healthy = count(&player, blocks(300), &[], 1, 2);
        healthy.print(&player, "healthy");
        healthy.accuses_at_most(0.1, 1.0, player.name);
        let wild = Player { wild: true, ..player };
        let wild_count = count(&wild, blocks(300), &[1.0, 3.0], 1, 5);
        wild_count.print(&wild, "wild");
        // Wildly scattering takes (Student's with 5 degrees of freedom): more of them lie far out.
        wild_count.accuses_at_most(0.1, 1.3, player.name);
    }
}

/// By one take, five of 48 valves leaking: how much of what the observer finds is flagged, and stands among the first 16.
#[test]
fn leaks_are_flagged_and_stand_first() {
    // What an observer finds who knows all laws of scatter; 0.9 of it is wanted, and missed for the small leaks, since trend
    // and scatters are to be found from the same reeds.
    let wanted = [(EVEN, 0.75, 0.9, 0.85), (USUAL, 0.75, 0.8, 0.75), (ROUGH, 0.6, 0.65, 0.6)];
    for (player, small, gross, first) in wanted {
        let few = count(&player, blocks(300), &FEW, 1, 1);
        few.print(&player, "few leaks");
        // Tight valves beside leaking ones; counted 1.0 for the usual player.
        few.accuses_at_most(0.1, 1.2, player.name);
        few.finds(1000, small, first, player.name);
        few.finds(3000, gross, first, player.name);
        few.covers(0.93, 0.97, player.name);
        let five = count(&player, blocks(100), &FEW, 5, 4);
        five.print(&player, "five takes");
        five.accuses_at_most(0.1, 1.0, player.name);
        five.covers(0.93, 0.97, player.name);
    }
}

/// A third of the valves leaks, and does not become the norm.
#[test]
fn a_leaking_third_is_not_the_norm() {
    let third = [0.3, 0.3, 0.3, 0.3, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0];
    for (player, gross) in [(EVEN, 0.70), (USUAL, 0.50), (ROUGH, 0.25)] {
        let count = count(&player, blocks(200), &third, 1, 3);
        count.print(&player, "a third leaks");
        count.accuses_at_most(0.1, 1.0, player.name);
        let [planted, _, flags, ..] = count.by_size[&3000];
        assert!(lower_bound(flags, planted) >= gross, "{}: {flags} of {planted}", player.name);
        count.covers(0.93, 0.97, player.name);
    }
}

/// Where press and draw have two notes the signs are the same, and the second tone is quiet in the readings given here.
#[test]
fn bisonoric_blocks_are_judged_alike() {
    let mut plan = instrument(PLATES as usize);
    plan.bellows = Bellows::Bisonoric;
    for (number, plate) in (40i16..).zip(&mut plan.blocks[0].rows[0].plates) {
        *plate = plate_of(number, number + if number % 2 == 0 { 2 } else { 3 });
    }
    let healthy = count_in(&plan, &USUAL, blocks(150), &[], 1, 6);
    healthy.print(&USUAL, "bisonoric, healthy");
    healthy.accuses_at_most(0.1, 1.2, "bisonoric");
    let few = count_in(&plan, &USUAL, blocks(100), &FEW, 1, 7);
    few.print(&USUAL, "bisonoric, few leaks");
    few.finds(3000, 0.8, 0.75, "bisonoric");
}

/// Blocks of each kind; `PLATENOTE_BLOCKS` multiplies them for the figures of docs/method.md.
fn blocks(usual: u64) -> u64 {
    let times: u64 = std::env::var("PLATENOTE_BLOCKS").ok().and_then(|n| n.parse().ok()).unwrap_or(1);
    usual * times
}
