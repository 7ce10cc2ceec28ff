//! `bench [DIR]`: the bench page in a browser.

use std::path::PathBuf;

use clap::Args;

use super::failure::{Ended, Failure};
use super::output;
use crate::bench_page;

/// Open the bench page in a browser: record, listen, note, and read what was found
#[derive(Args)]
#[command(after_help = "\
The page is served on this computer's own address only, at a port and under a word that are new on every start. Nothing \
leaves the job folder. End it with Ctrl-C or on the page; what was recorded is stored by then.")]
pub(crate) struct Arguments {
    /// Folder of a job, or one that holds jobs; jobs can be made in it [default: this folder]
    #[arg(value_name = "DIR", default_value = ".", hide_default_value = true)]
    folder: PathBuf,
    /// Only say the address
    #[arg(long)]
    no_open: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let opened = |opened: &bench_page::Opened| {
        output::say("the bench page is open at the address below; Ctrl-C ends it");
        // The address is the result; a closed stdout ends nothing.
        let _ = output::line(&opened.address);
        if !arguments.no_open && open::that_detached(&opened.start).is_err() {
            output::say("no browser could be started: open the address in one");
        }
    };
    bench_page::serve(&arguments.folder, opened)?;
    Ok(Ended::Done)
}

impl From<bench_page::Error> for Failure {
    fn from(error: bench_page::Error) -> Self {
        Self::could_not(error.to_string(), error.next())
    }
}
