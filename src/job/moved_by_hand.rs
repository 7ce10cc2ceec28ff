//! What a person moved in the text of the plan, and what it leaves without a place.

use super::account::TAKEN_OUT;
use super::event::PlateMove;

/// Plates that a person moved in the plan's text since the program last looked.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MovedByHand {
    /// What they were called, and what they are called now; those that are gone are called `out 3 bass A7`.
    pub moves: Vec<PlateMove>,
    /// The takes and notes that have no place by it.
    pub lost: Vec<String>,
}

impl MovedByHand {
    /// What was noticed, in a sentence; empty where nothing was.
    pub fn words(&self) -> String {
        const NAMED: usize = 4;
        let is_gone = |plate: &&PlateMove| plate.to.starts_with(TAKEN_OUT);
        let gone = self.moves.iter().filter(is_gone).count();
        let named: Vec<String> = self
            .moves
            .iter()
            .filter(|plate| !is_gone(plate))
            .take(NAMED)
            .map(|plate| format!("{} is now {}", plate.from, plate.to))
            .collect();
        let more = (self.moves.len() - gone).saturating_sub(named.len());
        let mut parts = named;
        if more > 0 {
            parts.push(format!("{more} more"));
        }
        if gone > 0 {
            parts.push(format!("{gone} plates are gone"));
        }
        if parts.is_empty() { String::new() } else { format!("plan.toml was edited: {}", parts.join(", ")) }
    }
}
