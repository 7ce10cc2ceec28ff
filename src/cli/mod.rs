//! The front door: arguments as typed, a file per verb; the only room that names clap.

use std::process::ExitCode;

use clap::Parser;

#[derive(Parser)]
#[command(version, about)]
struct Arguments {}

/// Parse, run, print the error, and say how it ended.
pub fn run() -> ExitCode {
    let Arguments {} = Arguments::parse();
    ExitCode::SUCCESS
}
