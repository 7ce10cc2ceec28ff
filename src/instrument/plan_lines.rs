//! On which line of the plan each note stands, so that a message can say where to look.

use super::Stroke;

/// The lines of each plate's notes on press and draw, counted from 1; empty where the row came from no text. Where something is written is no part
/// of what it says, so all of them are equal.
#[derive(Debug, Clone, Default)]
pub struct PlanLines(pub Vec<[usize; 2]>);

impl PlanLines {
    /// The line of the note of plate `number`, counted from 1, on `stroke`.
    pub fn of(&self, number: u32, stroke: Stroke) -> Option<usize> {
        let at = (number as usize).checked_sub(1)?;
        self.0.get(at).map(|[press, draw]| if stroke == Stroke::Press { *press } else { *draw })
    }
}

impl PartialEq for PlanLines {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}
