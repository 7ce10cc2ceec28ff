//! Whole blocks as a person plays them: how many leaks are found, how many tight valves accused, how true the sizes are.

use platenote::instrument::{Face, Stroke};
use platenote::judgement::{Findings, ValveFinding, Verdict, judge};

use super::built::{instrument, valve};
use super::player::{PLAYERS, Player, Reeds, ideal, planted};
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
    let plan = instrument(PLATES as usize);
    let mut chance = Chance::new(seed);
    let mut count = Count::default();
    for _ in 0..blocks {
        let reeds = Reeds::new(PLATES, player, &mut chance);
        let truth = planted(PLATES, sizes, &mut chance);
        let pass = reeds.play(&plan, player, &truth, takes, &mut chance);
        let findings = judge(&plan, &pass);
        let observers = ideal(&reeds, player, &plan, &pass);
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
        let per_48 = |count: u64| 48.0 * count as f64 / self.tight as f64;
        println!(
            "{} {what}: per 48 tight valves {:.3} leaks, {:.2} flags; {} not judged; intervals {:.1} %",
            player.name,
            per_48(self.leaks),
            per_48(self.flags),
            self.not_judged,
            100.0 * self.intervals[1] as f64 / self.intervals[0].max(1) as f64
        );
        for (size, [planted, leaks, flags, first, below, above]) in &self.by_size {
            let share = |count: &u64| 100.0 * *count as f64 / *planted as f64;
            let [level, all] = self.ideal(*size).map(|share| 100.0 * share);
            println!(
                "   size {:.1}: {:.0} % leaks, {:.0} % flagged, {:.0} % in the first 16; the observer {level:.0} % by level, {all:.0} % by all ({planted}); interval below {:.0} %, above {:.0} %",
                *size as f64 / 1000.0,
                share(leaks),
                share(flags),
                share(first),
                share(below),
                share(above)
            );
        }
    }
}

#[test]
fn rates() {
    let blocks = std::env::var("BLOCKS").ok().and_then(|n| n.parse().ok()).unwrap_or(100);
    for player in PLAYERS {
        count(&player, blocks, &[0.3, 1.0, 1.0, 3.0, 3.0], 1, 1).print(&player, "few leaks");
        count(&player, blocks, &[], 1, 2).print(&player, "healthy");
        let third = [0.3, 0.3, 0.3, 0.3, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0];
        count(&player, blocks, &third, 1, 3).print(&player, "a third leaks");
        count(&player, blocks, &[0.3, 1.0, 1.0, 3.0, 3.0], 5, 4).print(&player, "five takes");
        let wild = Player { wild: true, ..player };
        count(&wild, blocks, &[1.0, 3.0], 1, 5).print(&wild, "wild");
    }
}
