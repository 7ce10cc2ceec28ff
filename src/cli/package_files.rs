//! `package-files DIR`: what a package of the program brings along, out of the same definitions as the help: man pages and
//! shell completions.

use std::path::{Path, PathBuf};

use clap::{Args, Command};
use clap_complete::Shell;

use super::failure::{Ended, Failure};
use super::output;
use crate::job::Error;

/// Write man pages and shell completions, for those who make a package of the program
#[derive(Args)]
#[command(hide = true)]
pub(crate) struct Arguments {
    /// Folder to write them to; made where it is not there
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

/// `command`: the whole program's.
pub(crate) fn run(arguments: Arguments, mut command: Command) -> Result<Ended, Failure> {
    let man = made(&arguments.folder.join("man"))?;
    let completions = made(&arguments.folder.join("completions"))?;
    clap_mangen::generate_to(command.clone(), &man).map_err(|source| written(&man, source))?;
    for shell in [Shell::Bash, Shell::Fish, Shell::Zsh] {
        clap_complete::generate_to(shell, &mut command, "platenote", &completions)
            .map_err(|source| written(&completions, source))?;
    }
    output::line(&arguments.folder.display().to_string())?;
    Ok(Ended::Done)
}

fn made(folder: &Path) -> Result<PathBuf, Failure> {
    std::fs::create_dir_all(folder).map_err(|source| written(folder, source))?;
    Ok(folder.to_owned())
}

fn written(file: &Path, source: std::io::Error) -> Failure {
    Error::Io { doing: "written", file: file.to_owned(), source }.into()
}
