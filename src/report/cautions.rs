//! One line of caution for each kind of work that can hurt; sources and the rest in `docs/cautions.md`.

use crate::repair;

/// What a verdict sends the restorer to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Hazard {
    /// Cleaning, or loosening old glue.
    Solvent,
    /// Melting wax, soldering.
    Heat,
    /// Lifting a plate, freeing or cutting a valve.
    Knife,
    /// Filing or scraping a tongue.
    File,
}

/// The caution to print beside such work, one sentence without an ending.
///
/// # Example
/// ```
/// use platenote::report::{Hazard, caution};
/// assert!(caution(Hazard::Solvent).contains("ventilate"));
/// ```
pub fn caution(work: Hazard) -> &'static str {
    match work {
        Hazard::Solvent => {
            "solvent vapour creeps along the bench and catches fire at irons, heaters and switches: ventilate, keep \
             the bottle small and closed, let the work dry and air before any heat"
        }
        Hazard::Heat => {
            "melt wax in a water bath and never leave it alone; smother a wax fire with a lid, never with water; do not overheat rosin, \
             keep your head out of the fume, and no heat near solvent"
        }
        Hazard::Knife => "clamp the block, cut away from the hand, and guard the blade when it is laid down",
        Hazard::File => {
            "wear eye protection; old tip weights and solder may hold lead: no dry filing or brushing of them, wipe \
             wet, wash hands, no food at the bench"
        }
    }
}

/// The caution for work that is noted, where it can hurt.
pub fn caution_for(work: &repair::Work) -> Option<&'static str> {
    let hazard = match work {
        work if work.is_solvent() => Hazard::Solvent,
        work if work.is_hot() => Hazard::Heat,
        repair::Work::Lifted | repair::Work::ValveOff { .. } => Hazard::Knife,
        repair::Work::Filed(_) => Hazard::File,
        _ => return None,
    };
    Some(caution(hazard))
}
