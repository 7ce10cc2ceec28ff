//! Results to stdout, words about them to stderr, neither of which may panic on a closed pipe.

use std::io::{ErrorKind, IsTerminal, Write};

use serde::Serialize;

use super::failure::Failure;
pub(crate) use super::plain_text::plain;
use crate::job::{Job, JobWriter, MovedByHand, Oddity};
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
    let moved = job.moved_by_hand();
    say_moved(&moved);
    if !moved.lost.is_empty() {
        say(&format!("note: without a place by that: {}", moved.lost.join("; ")));
    }
    for odd in job.odd_lines() {
        let next = if matches!(odd.oddity, Oddity::Torn) { "" } else { " (`platenote verify` says more)" };
        say(&format!("note: diary.jsonl line {}: {}{next}", odd.line, odd.oddity));
    }
}

fn say_moved(moved: &MovedByHand) {
    let words = moved.words();
    if !words.is_empty() {
        say(&format!("note: {words}; takes and notes went along"));
    }
}

/// The same, and whether another program can be kept off the job while it is written to.
pub(crate) fn say_oddities(job: &JobWriter) {
    say_odd_lines(job);
    say_moved(job.moved());
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
            quoted(job.folder())
        ));
    }
}

/// A word of a printed command as the shell takes it for one word: quoted where it has to be.
pub(crate) fn quoted(word: impl AsRef<std::ffi::OsStr>) -> String {
    let word = word.as_ref().to_string_lossy();
    let is_plain = |letter: char| letter.is_alphanumeric() || "/._-+:=,@%\\".contains(letter);
    if !word.is_empty() && word.chars().all(is_plain) && !(cfg!(unix) && word.contains('\\')) {
        return word.into_owned();
    }
    if cfg!(windows) { format!("\"{word}\"") } else { format!("'{}'", word.replace('\'', r"'\''")) }
}

/// Ask a question that wants a plain yes; where nobody sits at a terminal the answer is no.
pub(crate) fn ask(question: &str) -> bool {
    let (stdin, stderr) = (std::io::stdin(), std::io::stderr());
    if !stdin.is_terminal() || !stderr.is_terminal() {
        return false;
    }
    let _ = stderr.lock().write_all(format!("{} [yes/no] ", plain(question)).as_bytes());
    let mut answer = String::new();
    stdin.read_line(&mut answer).is_ok() && matches!(answer.trim().to_lowercase().as_str(), "y" | "yes")
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

    /// Quoting as POSIX has it (Shell Command Language, 2.2.2): within single quotes every letter stands for itself.
    #[cfg(unix)]
    #[test]
    fn a_printed_command_can_be_run_as_printed() {
        for word in ["job", "my job", "Büchner's $HOME `x`", "", "a\\b", "~", "*.wav"] {
            let script = format!("printf %s {}", quoted(word));
            let told = std::process::Command::new("sh").args(["-c", &script]).output().unwrap();
            assert_eq!(String::from_utf8(told.stdout).unwrap(), word, "{script}");
        }
        assert_eq!(quoted("takes/before/bass-A1-press-1.wav"), "takes/before/bass-A1-press-1.wav");
    }

    #[test]
    fn what_rounds_to_zero_has_no_sign() {
        assert_eq!(signed(-0.004, 2), "0.00");
        assert_eq!(signed(0.0, 1), "0.0");
        assert_eq!(signed(-0.06, 1), "-0.1");
        assert_eq!(signed(10.0, 2), "+10.00");
    }
}
