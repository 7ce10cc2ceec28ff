//! Results to stdout, words about them to stderr, neither of which may panic on a closed pipe.

use std::io::{ErrorKind, Write};

use serde::Serialize;

use super::failure::Failure;

/// Print one line of results.
pub(crate) fn line(text: &str) -> Result<(), Failure> {
    write_out(format!("{text}\n").as_bytes())
}

/// Print one result as a JSON object on a line of its own; `format` is the caller's first field.
pub(crate) fn json(object: &impl Serialize) -> Result<(), Failure> {
    let mut bytes = serde_json::to_vec(object).map_err(|error| {
        Failure::could_not(
            format!("a result could not be written as JSON: {error}"),
            "report this as a fault",
        )
    })?;
    bytes.push(b'\n');
    write_out(&bytes)
}

/// Say something about the results.
pub(crate) fn say(text: &str) {
    // Words are a courtesy: a closed stderr must not stop the work.
    let _ = std::io::stderr().lock().write_all(format!("{text}\n").as_bytes());
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
