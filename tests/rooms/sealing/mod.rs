//! The sealing test on plates of another make: how many leaks it finds, how often it errs, and whether its figures hold.
//!
//! The sweeps read some thousand tests each at the level of curves; `by_sound.rs` takes the whole way from samples.

mod by_sound;
mod held;
mod swell;

use platenote::analysis::Play;
use platenote::instrument::{Face, PlatePlace, ReedPlace, Stroke, ValvePlace};
use platenote::judgement::sealing::{Seal, SealBench, SealPlay, SealSet, SealingFinding, judge_sealings};

/// Plays in order, sealed every second time, as a set of the plate numbered `n`.
fn set(n: u32, pitch_hz: f64, plays: Vec<Play>) -> SealSet {
    let plate = PlatePlace { block: "bass".into(), row: "A".into(), number: n };
    let plays = plays.into_iter().enumerate().map(|(idx, play)| SealPlay {
        seal: if idx % 2 == 0 { Seal::Open } else { Seal::Sealed },
        kind: None,
        sound: Ok(play),
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
