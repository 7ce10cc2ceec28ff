//! Results to stdout, words about them to stderr, neither of which may panic on a closed pipe.

use std::io::{ErrorKind, Write};

use serde::Serialize;

use super::failure::Failure;
use crate::job::{Job, JobWriter, Oddity};
pub(crate) use crate::report::csv_line;

/// Print one line of results.
pub(crate) fn line(text: &str) -> Result<(), Failure> {
    write_out(format!("{}\n", plain(text)).as_bytes())
}

/// Print one result as a JSON object on a line of its own; `format` is the caller's first field.
pub(crate) fn json(object: &impl Serialize) -> Result<(), Failure> {
    write_out(format!("{}\n", json_text(object)?).as_bytes())
}

/// One result as a JSON object, to be printed later.
pub(crate) fn json_text(object: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string(object).map_err(|error| {
        Failure::could_not(
            format!("a result could not be written as JSON: {error}"),
            "report this as a fault",
        )
    })
}

/// Print one line of a CSV table.
pub(crate) fn csv<C: AsRef<str>>(cells: &[C]) -> Result<(), Failure> {
    write_out(format!("{}\n", csv_line(cells)).as_bytes())
}

pub(crate) use crate::units::signed;

/// Say something about the results.
pub(crate) fn say(text: &str) {
    // Words are a courtesy: a closed stderr must not stop the work.
    let _ = std::io::stderr().lock().write_all(format!("{}\n", plain(text)).as_bytes());
}

/// Say which lines of the job's diary could not be used.
pub(crate) fn say_odd_lines(job: &Job) {
    for odd in job.odd_lines() {
        let next = if matches!(odd.oddity, Oddity::Torn) { "" } else { " (`platenote verify` says more)" };
        say(&format!("note: diary.jsonl line {}: {}{next}", odd.line, odd.oddity));
    }
}

/// The same, and whether another program can be kept off the job while it is written to.
pub(crate) fn say_oddities(job: &JobWriter) {
    say_odd_lines(job);
    offer_visit(job, jiff::ZonedDateTime::now().date());
    if !job.is_locked() {
        say("note: this disk knows no locks; do not let a second program write to the job meanwhile");
    }
}

/// Offer a new visit where months have passed by `day`; nothing is opened.
pub(crate) fn offer_visit(job: &Job, day: jiff::civil::Date) {
    if let Some(newest) = job.rested_since(day) {
        say(&format!(
            "note: the newest line of this job is of {newest}; `platenote visit {} --open` begins a new visit, so that \
             report and lists tell of its work alone",
            job.folder().display()
        ));
    }
}

/// Names and titles come from others: a terminal must not take them for commands.
pub(crate) fn plain(text: &str) -> String {
    let is_odd = |letter: char| letter.is_control() && !matches!(letter, '\n' | '\t');
    text.replace(is_odd, "\u{FFFD}")
}

fn write_out(bytes: &[u8]) -> Result<(), Failure> {
    let mut stdout = std::io::stdout().lock();
    stdout.write_all(bytes).and_then(|()| stdout.flush()).map_err(|error| match error.kind() {
        ErrorKind::BrokenPipe => Failure::reader_gone(),
        _ => Failure::could_not(
            format!("stdout takes no more: {error}"),
            "check where the output is sent, and the disk",
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_printed_is_a_command_to_the_terminal() {
        assert_eq!(plain("A\u{1b}[2J\r\u{9b}31m ä\tb\nc"), "A\u{FFFD}[2J\u{FFFD}\u{FFFD}31m ä\tb\nc");
    }

    #[test]
    fn what_rounds_to_zero_has_no_sign() {
        assert_eq!(signed(-0.004, 2), "0.00");
        assert_eq!(signed(0.0, 1), "0.0");
        assert_eq!(signed(-0.06, 1), "-0.1");
        assert_eq!(signed(10.0, 2), "+10.00");
    }
}
