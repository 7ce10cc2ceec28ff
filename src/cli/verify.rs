//! `verify JOB`: is every take there and whole, and does the diary agree?

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::output;
use crate::job;

/// Look whether every take is there and whole and every line of plan and diary can be read; changes nothing
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let found = job::verify(&arguments.folder)?;
    for trouble in &found.troubles {
        if arguments.json {
            output::json(&json!({
                "format": 1,
                "kind": trouble.kind.name(),
                "place": trouble.place,
                "what": trouble.what,
                "next": trouble.next,
                "wrong": trouble.kind.is_wrong(),
            }))?;
        } else {
            output::line(&format!(
                "{}: {trouble}\n    {}",
                trouble.kind.name().replace('_', " "),
                trouble.next
            ))?;
        }
    }
    let wrong = found.troubles.iter().filter(|trouble| trouble.kind.is_wrong()).count();
    if arguments.json {
        output::json(&json!({
            "format": 1,
            "kind": "summary",
            "whole_takes": found.whole_takes,
            "whole_photos": found.whole_photos,
            "withdrawn": found.withdrawn,
            "lines": found.lines,
            "wrong": wrong,
        }))?;
    } else {
        let counted = |n: usize, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
        let photos = match found.whole_photos {
            0 => String::new(),
            n => format!(", {}", counted(n, "whole photo")),
        };
        let withdrawn = match found.withdrawn {
            0 => String::new(),
            n => format!(" ({n} of them withdrawn)"),
        };
        let (takes, lines) = (counted(found.whole_takes, "whole take"), counted(found.lines, "line"));
        output::line(&format!("{takes}{withdrawn}{photos}, {lines} in the diary, {wrong} wrong"))?;
    }
    Ok(if found.is_wrong() { Ended::CouldNot } else { Ended::Done })
}
