//! `--stands`: how far the instrument stands from its plan, as it is typed; and what was known, in words.

use crate::alignment::KnownOffset;
use crate::cli::failure::Failure;
use crate::evaluation::long_recording::{KnownStanding, OffsetSource, said_offset};
use crate::instrument::Instrument;
use crate::units::{Cents, Hz};

/// Farther from its plan no instrument stands, cents; the plan's own pitch is to be set right then.
const FARTHEST_CENTS: f64 = 300.0;
/// What is typed in cents is right within this, cents; one reed may be farther from all of them together.
const CENTS_WITHIN: f64 = 12.0;
const REED_WITHIN: f64 = 20.0;
/// So far from what was known it is told, cents.
const TOLD_CENTS: f64 = 35.0;

/// `-78`, in cents, or `A5 press=98.3`, the pitch of one reed in Hz.
pub(super) fn typed(text: &str, instrument: &Instrument) -> Result<KnownOffset, Failure> {
    let next =
        "give it in cents, as `--stands -78`, or by the pitch of one reed, as `--stands \"A5 press=98.3\"`";
    let number = |text: &str, unit: &str| {
        let plain = text.trim().to_lowercase();
        plain.trim_end_matches(unit).trim().replace(',', ".").parse::<f64>().ok()
    };
    let (cents, within) = match text.split_once('=') {
        None => (number(text, "cents").and_then(Cents::new), CENTS_WITHIN),
        Some((place, pitch)) => {
            let reed = instrument
                .reed_place(place)
                .map_err(|error| Failure::bad_usage(format!("--stands: {error}"), error.next()))?;
            let pitch = number(pitch, "hz").and_then(Hz::new);
            (
                pitch.zip(instrument.target(&reed)).map(|(pitch, target)| pitch.cents_above(target)),
                REED_WITHIN,
            )
        }
    };
    let Some(centre) = cents else {
        return Err(Failure::bad_usage(format!("`{text}` does not say how far the instrument stands"), next));
    };
    if centre.abs().get() > FARTHEST_CENTS {
        let what =
            format!("`{text}` is {centre} from the plan, and up to {FARTHEST_CENTS:.0} cents are looked for");
        return Err(Failure::bad_usage(
            what,
            "set `reference_hz` of the plan nearer to the instrument's pitch",
        ));
    }
    let spread = Cents::new(within).unwrap_or(Cents::ZERO);
    Ok(said_offset(centre, spread))
}

impl KnownStanding {
    /// What was known beforehand, in a half sentence; and a warning where the notes say otherwise.
    pub(super) fn words(&self, found: Cents) -> String {
        let centre = self.offset.centre;
        let who = match &self.from {
            OffsetSource::Said => "--stands says".to_owned(),
            OffsetSource::Takes(standing) => {
                format!("{} takes of pass `{}` say", standing.n_takes, standing.pass)
            }
        };
        if (found.get() - centre.get()).abs() > TOLD_CENTS {
            format!("{who} {centre}, which fits these notes less well: check the places")
        } else {
            format!("{who} {centre}")
        }
    }
}
