//! `bench [DIR]`: the bench page in a browser.

use std::path::PathBuf;

use clap::Args;

use super::failure::{Ended, Failure};
use super::output;
use crate::bench_page;
use crate::job;

/// Open the bench page in a browser: record, listen, note, and read what was found
#[derive(Args)]
#[command(after_help = "\
The page is served on this computer's own address only, under a word that is new on every start. Nothing \
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
    bench_page::serve(&arguments.folder, false, opened)?;
    Ok(Ended::Done)
}

/// Where jobs are made that are begun without a terminal, in the person's own folder.
const JOBS_FOLDER: &str = "Platenote";

/// Started by an icon: the page on the jobs that were opened last.
pub(crate) fn run_from_icon() -> Result<Ended, Failure> {
    let home = etcetera::home_dir().map_err(|_| {
        Failure::could_not(
            "the folder of your own files is not known",
            "name a folder: `platenote bench DIR`",
        )
    })?;
    let folder = home.join(JOBS_FOLDER);
    std::fs::create_dir_all(&folder).map_err(|source| job::Error::Io {
        doing: "made",
        file: folder.clone(),
        source,
    })?;
    // Nobody reads an address without a terminal; a browser that cannot be started is told to whoever looks at the log.
    let opened = |opened: &bench_page::Opened| {
        let _ = output::line(&opened.address);
        if open::that_detached(&opened.start).is_err() {
            output::say("no browser could be started: open the address in one");
        }
    };
    bench_page::serve(&folder, true, opened)?;
    Ok(Ended::Done)
}

impl From<bench_page::Error> for Failure {
    fn from(error: bench_page::Error) -> Self {
        Self::could_not(error.to_string(), error.next())
    }
}
