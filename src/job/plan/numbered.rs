//! A plan with a number for each of its plates.

use super::model::Plan;
use super::moves::Origins;
use super::numbers::PlateNumbers;
use crate::instrument::PlatePlace;

impl Plan {
    /// The same plan with a number for every plate: those that have none get the next from `next` on.
    pub fn numbered(&self, next: u32) -> Plan {
        let first = self.numbers.values().max().map_or(next, |most| next.max(most + 1));
        let mut free = first..;
        let mut numbers = self.numbers.clone();
        for (place, ..) in self.instrument.plates() {
            if !numbers.contains_key(&place) {
                numbers.extend(free.next().map(|number| (place, number)));
            }
        }
        Plan { numbers, ..self.clone() }
    }

    /// The numbers of these plates where they lie after a change.
    pub(crate) fn numbers_after(&self, origins: &Origins) -> PlateNumbers {
        let number = |was: &PlatePlace| self.numbers.get(was).copied();
        let kept = origins.iter().filter_map(|(now, was)| Some((now.clone(), number(was.as_ref()?)?)));
        kept.collect()
    }
}
