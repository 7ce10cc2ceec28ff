//! The numbers a valve is cut by. `[valves]` in plan.toml sets others for a job.

use crate::units::Millimetres;

/// How a valve's size follows from its slot, and how leather is cut. Every default is common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ValveRule {
    /// How far a valve reaches beyond the tip of the slot, mm; 1 to 3 is usual.
    pub overlap: Millimetres,
    /// Length that is glued down at the rivet end, mm; 3 to 5 is usual.
    pub glue: Millimetres,
    /// The same for long slots, mm.
    pub long_glue: Millimetres,
    /// Slots from this length on are long (the bass), mm.
    pub long_slot: Millimetres,
    /// Width of a new valve, mm: the slot and 1 to 2 mm. `None`: as wide as those of the tray.
    pub width: Option<Millimetres>,
    /// Leather lost by each cut, mm.
    pub kerf: Millimetres,
    /// Two lengths this close were read as the same, mm.
    pub reading_tolerance: Millimetres,
}

impl ValveRule {
    /// Width of a new valve where neither the plan nor the tray tells, mm.
    pub const FALLBACK_WIDTH_MM: f64 = 7.0;

    /// Length of the valve over a slot: slot, overlap, glue area; to the tenth of a millimetre.
    pub fn length_over(&self, slot: Millimetres) -> Millimetres {
        let glue = if slot >= self.long_slot { self.long_glue } else { self.glue };
        let length = slot.get() + self.overlap.get() + glue.get();
        mm((length * 10.0).round() / 10.0)
    }
}

impl Default for ValveRule {
    fn default() -> Self {
        Self {
            overlap: mm(2.0),
            glue: mm(4.0),
            long_glue: mm(6.0),
            long_slot: mm(40.0),
            width: None,
            kerf: mm(0.5),
            reading_tolerance: mm(0.5),
        }
    }
}

/// A length that is known to be one.
pub(crate) fn mm(value: f64) -> Millimetres {
    Millimetres::new(value).unwrap_or(Millimetres::ZERO)
}
