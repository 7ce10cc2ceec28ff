//! When a sound file was recorded: as it is told, else by the date of the file.

use std::path::Path;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::job::Recorded;

/// The clock of a recorder that was never set starts long before this year.
const FIRST_YEAR: i16 = 2010;

/// What `--recorded` says.
#[derive(Clone, Copy)]
pub(crate) enum TypedRecorded {
    /// Then.
    Told(Recorded),
    /// Now: the dates of the files mean nothing.
    Now,
}

/// `2026-04-30`, `2026-04-30T18:05:00+02:00` or `now`.
pub(crate) fn parse(text: &str) -> Result<TypedRecorded, String> {
    if text.trim().eq_ignore_ascii_case("now") {
        return Ok(TypedRecorded::Now);
    }
    let told = Recorded::parse(text).map_err(|_| {
        format!("`{text}` is neither a day, `2026-04-30`, nor a time, `2026-04-30T18:05:00+02:00`, nor `now`")
    })?;
    if told.day() > today() {
        return Err(format!("`{text}` is still to come"));
    }
    Ok(TypedRecorded::Told(told))
}

/// What is known of `file`: what its list says, else what was typed, else the day of the pass where that was said, else the
/// file's own date, where it is of an earlier day than today.
pub(crate) fn of_file(
    file: &Path,
    listed: Option<Recorded>,
    typed: Option<TypedRecorded>,
    pass_day: Option<Date>,
) -> Option<Recorded> {
    match (listed, typed, pass_day) {
        (Some(listed), ..) => Some(listed),
        (None, Some(TypedRecorded::Told(told)), _) => Some(told),
        (None, Some(TypedRecorded::Now), _) => None,
        (None, None, Some(day)) => Some(Recorded::On(day)).filter(|_| day < today()),
        (None, None, None) => by_file(file),
    }
}

fn by_file(file: &Path) -> Option<Recorded> {
    let at = Timestamp::try_from(file.metadata().ok()?.modified().ok()?).ok()?;
    let at = at.round(jiff::Unit::Second).ok()?;
    let day = Recorded::At(at).day();
    (day < today() && day.year() >= FIRST_YEAR).then_some(Recorded::At(at))
}

fn today() -> Date {
    Timestamp::now().to_zoned_datetime(TimeZone::system()).date()
}
