//! The clock of the input that is recorded from.

use crate::audio::Input;
use crate::job::{ClockFacts, Clocks};

/// The clock of an input, where it was measured at this rate, and words on it.
pub fn clock_of_input(input: &Input) -> (Option<ClockFacts>, String) {
    let not_measured = "clock not measured: 100 ppm, 0.17 cents, stay in every uncertainty \
                        (`platenote calibrate` measures it)";
    let clocks = match Clocks::open() {
        Ok(clocks) => clocks,
        // No reason to stop for: the readings say how unsure they are.
        Err(error) => return (None, format!("note: {error}; {not_measured}")),
    };
    let of_device = || clocks.of(&input.id).chain(clocks.of(&input.name));
    if let Some(clock) = of_device().find(|clock| clock.rate_hz == input.rate_hz) {
        let facts = clock.facts();
        let words = format!("clock of `{}`: {}; readings are corrected", facts.device, facts.figures());
        return (Some(facts), words);
    }
    match of_device().next() {
        Some(clock) => {
            let (device, rate_hz) = (&clock.device, clock.rate_hz);
            (None, format!("clock of `{device}` is known at {rate_hz} Hz only; {not_measured}"))
        }
        None => (None, not_measured.into()),
    }
}
