//! `new DIR`: a job from a template, a list of plates, or a commented plan to fill in.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::failure::{Ended, Failure};
use super::output;
use crate::job::{Error, Job, Plan, Template};

/// Make a job: a folder with a plan.toml to be corrected at the bench
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the new job; made where it is not there
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Begin with a built-in instrument
    #[arg(long, value_enum, value_name = "NAME", group = "source")]
    template: Option<TemplateName>,
    /// Begin with a CSV list of plates (docs/job-format.md lists its columns)
    #[arg(long, value_name = "FILE", group = "source")]
    plates: Option<PathBuf>,
    /// Begin with a commented plan.toml and one short row [default]
    #[arg(long, group = "source")]
    empty: bool,
    /// What the job is called on page and table
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
enum TemplateName {
    /// Bass block: two rows of twelve plates, E2 to D#4
    Bass24,
    /// Treble rank: 41 plates, F3 to A6, the highest without valves
    Treble41,
    /// Bisonoric block: two rows of ten plates, in C and in G
    Bisonoric20,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let mut text = match (arguments.template, &arguments.plates) {
        (Some(TemplateName::Bass24), _) => Template::Bass24.to_toml(),
        (Some(TemplateName::Treble41), _) => Template::Treble41.to_toml(),
        (Some(TemplateName::Bisonoric20), _) => Template::Bisonoric20.to_toml(),
        (None, Some(file)) => {
            let list = std::fs::read(file).map_err(|source| Error::Io {
                doing: "read",
                file: file.clone(),
                source,
            })?;
            Plan::from_plates_csv(&list, file)?.to_toml()
        }
        (None, None) => Template::Empty.to_toml(),
    };
    if let Some(title) = &arguments.title {
        text = Plan::with_title(&text, title);
    }
    let job = Job::create(&arguments.folder, &text)?;
    let instrument = job.instrument();
    output::line(&format!(
        "new job in `{}`: {} plates, {} reeds",
        arguments.folder.display(),
        instrument.plates().count(),
        instrument.reeds().count()
    ))?;
    let folder = output::quoted(&arguments.folder);
    output::say(&format!(
        "next:  correct `{}` at the bench, then `platenote add {folder} FILE… --pass before`",
        arguments.folder.join("plan.toml").display(),
    ));
    Ok(Ended::Done)
}
