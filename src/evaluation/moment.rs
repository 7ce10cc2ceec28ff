//! When a take was sounded, as far as the record tells.

use jiff::Unit;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::job::{PassFacts, StoredTake};
use crate::repair::TakeMoment;

/// A pass is over after so many days: a take stored later, or before its day, was sounded on the day of the pass
/// (common practice, no source).
const PASS_LASTS_DAYS: i32 = 7;

/// Takes are dated by when they were recorded where that was told, else by when they were stored, unless their pass has a day that this cannot be.
pub(super) fn moment(take: &StoredTake, facts: &PassFacts) -> TakeMoment {
    let sounded = take.at.to_zoned_datetime(TimeZone::system()).date();
    if take.facts.recorded.is_some() {
        return TakeMoment { n: take.facts.n, at: take.at, day: sounded };
    }
    let pass_day = facts.date.parse::<Date>().ok().filter(|day| !is_within(*day, sounded));
    let (at, day) = pass_day
        .and_then(|day| Some((day.to_zoned_datetime(TimeZone::system()).ok()?.timestamp(), day)))
        .unwrap_or((take.at, sounded));
    TakeMoment { n: take.facts.n, at, day }
}

fn is_within(pass_day: Date, stored: Date) -> bool {
    let days = stored.since((Unit::Day, pass_day)).map_or(0, |span| span.get_days());
    (0..=PASS_LASTS_DAYS).contains(&days)
}
