//! The sealing test on plates of another make: how many leaks it finds, how often it errs, and whether its figures hold.
//!
//! The sweeps make some thousand tests at the level of curves; `by_sound.rs` takes the whole way from samples.

mod by_sound;
mod held;
mod row;
mod swell;
mod third_make;

use crate::bench::chance::Chance;
use crate::bench::sealing::{self, Curves, OwnEffect, Spot};
use crate::bench::statistics::Rate;
use platenote::analysis::{Play, PlayKind, Refusal};
use platenote::instrument::{Face, PlatePlace, ReedPlace, Stroke, ValvePlace};
use platenote::judgement::sealing::{
    Seal, SealBench, SealPlay, SealSet, SealVerdict, SealingFinding, judge_sealings,
};

/// The person moves by so much between two plays, m.
const MOVES_M: f64 = 0.004;
const GAUGE_PA: f64 = 450.0;

/// Plates of each sweep: few by default, since the reed equations take a second for each of their curves.
fn n_plates() -> u64 {
    std::env::var("PLATENOTE_SEALING_PLATES").ok().and_then(|n| n.parse().ok()).unwrap_or(2)
}

/// Plays in order, sealed every second time, as a set of the plate numbered `n`; `None` is a play that gave no tone.
fn set(n: u32, pitch_hz: f64, kind: Option<PlayKind>, plays: Vec<Option<Play>>) -> SealSet {
    let plate = PlatePlace { block: "bass".into(), row: "A".into(), number: n };
    let plays = plays.into_iter().enumerate().map(|(idx, play)| SealPlay {
        seal: if idx % 2 == 0 { Seal::Open } else { Seal::Sealed },
        kind,
        sound: play.ok_or(Refusal::NoTone),
    });
    SealSet {
        valve: ValvePlace { plate: plate.clone(), face: Face::Outer },
        reed: ReedPlace { plate, stroke: Stroke::Press },
        pitch_hz,
        plays: plays.collect(),
    }
}

/// The verdict on one set alone.
fn judged(set: SealSet) -> SealingFinding {
    judge_sealings(&[set], &SealBench::default()).remove(0)
}

/// Open, sealed, open by hand on a plate with its leak numbered `leak`; sealed, it is the tight plate with the seal's own
/// effect. Plays that cannot be compared are played again as the program asks, the louder ones softer, three times in all.
fn by_hand(plate: &[Curves], leak: usize, seed: u64) -> SealingFinding {
    let chance = &mut Chance::split(seed, 910);
    let spot = Spot::new(chance);
    let own = OwnEffect::drawn(chance, 0.3);
    let mut attempt = 0;
    loop {
        let plays = (0..3).map(|play| {
            let stirred = spot.stirred(chance, MOVES_M);
            let softer = if play == 1 { 1.3f64.powi(attempt) } else { 1.0 };
            let (curves, own) = if play == 1 { (&plate[0], own) } else { (&plate[leak], OwnEffect::NONE) };
            sealing::swell(curves, chance, &stirred, own, softer)
        });
        let finding = judged(set(1, plate[0].hz, None, plays.collect()));
        attempt += 1;
        if finding.verdict != SealVerdict::Refused || attempt == 3 {
            return finding;
        }
    }
}

/// A session at the gauge.
struct Session {
    seed: u64,
    /// Standard deviation of the pressure, a share.
    spread: f64,
    pairs: u32,
    /// The seal's own effect, dB at the most.
    own_db: f64,
}

impl Session {
    /// A dozen valves of these plates, all with the leak numbered `leak`, judged together.
    fn of(&self, plates: &[Vec<Curves>], leak: usize) -> Vec<SealingFinding> {
        let chance = &mut Chance::split(self.seed, 920);
        let sets: Vec<SealSet> = (1..=12)
            .map(|n| {
                let plate = &plates[(chance.unit() * plates.len() as f64) as usize];
                let spot = Spot::new(chance);
                let own = OwnEffect::drawn(chance, self.own_db);
                let plays = (0..=2 * self.pairs).map(|play| {
                    let stirred = spot.stirred(chance, MOVES_M);
                    let (curves, own) =
                        if play % 2 == 1 { (&plate[0], own) } else { (&plate[leak], OwnEffect::NONE) };
                    sealing::held(curves, chance, GAUGE_PA, self.spread, &stirred, own)
                });
                set(n, plate[0].hz, Some(PlayKind::Held), plays.collect())
            })
            .collect();
        judge_sealings(&sets, &SealBench::default())
    }
}

/// What was told of leaks of one size.
struct Told {
    leaks: Rate,
    /// `leaks` or `suspect`.
    found: Rate,
    tight: Rate,
    /// Among the stated limits, those below the true size.
    untrue: Rate,
}

/// Count, and print a line for docs/method.md.
fn figures(name: &str, size: f64, findings: impl Iterator<Item = SealingFinding>) -> Told {
    let findings: Vec<SealingFinding> = findings.collect();
    let is =
        |wanted: &[SealVerdict]| Rate::of(findings.iter().map(|finding| wanted.contains(&finding.verdict)));
    let told = Told {
        leaks: is(&[SealVerdict::Leaks]),
        found: is(&[SealVerdict::Leaks, SealVerdict::Suspect]),
        tight: is(&[SealVerdict::Tight]),
        untrue: Rate::of(findings.iter().filter_map(|finding| finding.limit).map(|limit| limit < size)),
    };
    let covered = Rate::of(
        findings
            .iter()
            .filter_map(|finding| finding.size_range)
            .map(|(low, high)| low <= size && size <= high),
    );
    let mut evidence: Vec<f64> = findings.iter().filter_map(|finding| finding.evidence).collect();
    evidence.sort_by(f64::total_cmp);
    let at = |q: f64| evidence.get((evidence.len() as f64 * q) as usize).copied().unwrap_or(f64::NAN);
    println!(
        "{name}, size {size}: leaks {}; found {}; tight {}; limits untrue {}; sizes covered {covered}; refused {}; \
         evidence 5 % {:.1}, 50 % {:.1}, 98 % {:.1}",
        told.leaks,
        told.found,
        told.tight,
        told.untrue,
        is(&[SealVerdict::Refused]).hits,
        at(0.05),
        at(0.5),
        at(0.98)
    );
    told
}
