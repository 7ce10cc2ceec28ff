//! The `platenote` program: everything happens in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    platenote::cli::run()
}
