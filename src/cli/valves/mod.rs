//! `valves JOB`: the tray against what the plates need, and what to cut.

mod show;
mod tables;
mod workshop;

use std::path::{Path, PathBuf};

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, ValueEnum};

use super::failure::{Ended, Failure};
use super::status::differences_csv;
use super::{output, pass};
use crate::evaluation::{Detail, PassChoice};
use crate::instrument::Material;
use crate::job::{Error, Job, JobWriter, WorkshopTray, tray_from_csv, tray_to_csv};
use crate::repair::{self, Condition, Lot, is_bin_name, parse_count, parse_thickness, parse_width};
use crate::report::fitting_page;

/// Deal out the tray of old valves to the slots that need one, and say what to cut
#[derive(Args)]
#[command(after_help = "\
Lengths are written 38, 38mm, 3.8cm, 1.5in or '1 1/2in'; a bare 3.8 is refused. A count replaces what was known of that kind \
in that bin; --import replaces the whole tray. The numbers valves are cut by are in docs/job-format.md and can be set \
in plan.toml under [valves].")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Note that there are N valves of a length; may be given several times
    #[arg(long, value_name = "LENGTH=N")]
    count: Vec<String>,
    /// Bin of the tray the counted valves lie in
    #[arg(long, value_name = "NAME", requires = "count")]
    bin: Option<String>,
    /// What the counted valves are made of
    #[arg(long, value_parser = material_parser(), value_name = "NAME", default_value = "leather")]
    material: Material,
    /// How wide the counted valves are
    #[arg(long, value_name = "MM", requires = "count")]
    width: Option<String>,
    /// How thick the counted valves are
    #[arg(long, value_name = "MM", requires = "count")]
    thickness: Option<String>,
    /// Their condition; valves of a condition nobody said are not dealt out
    #[arg(long, value_enum, value_name = "NAME", default_value = "unsaid")]
    condition: ConditionName,
    /// Note a whole tray from a CSV list (docs/job-format.md lists its columns)
    #[arg(long, value_name = "FILE", conflicts_with = "count")]
    import: Option<PathBuf>,
    /// Show the tray alone; with --csv as a list that --import reads
    #[arg(long)]
    stock: bool,
    /// Of the workshop's tray, which is kept once for all jobs: --count and --import note it, else it is shown with what is
    /// reserved for which job
    #[arg(long, conflicts_with_all = ["reserve", "release"])]
    workshop: bool,
    /// Reserve what the workshop's tray has for this job: it is moved into the job's tray
    #[arg(long, conflicts_with = "release")]
    reserve: bool,
    /// Give back what was reserved and is still in the job's tray
    #[arg(long)]
    release: bool,
    /// Which valves are renewed, said once for the job: `all`, or what leaks or is missing
    #[arg(long, value_enum, value_name = "WHICH")]
    renew: Option<RenewName>,
    /// Say why each slot gets what it gets
    #[arg(long)]
    explain: bool,
    /// Write the fitting list to print on A4, report/valves.html
    #[arg(long)]
    html: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
    /// A table as CSV: the fitting list, or another one with --table
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Which table --csv prints
    #[arg(
        long,
        value_enum,
        value_name = "NAME",
        default_value = "fitting",
        requires = "csv",
        conflicts_with = "stock"
    )]
    table: TableName,
}

#[derive(Clone, Copy, ValueEnum)]
enum TableName {
    /// Each slot and what it gets
    Fitting,
    /// New valves to cut
    Cut,
    /// Strips to cut them from
    Strip,
    /// What stays in the tray
    Left,
    /// Where plan, diary and tray differ
    Differences,
    /// The sums
    Count,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
enum RenewName {
    /// Every valve of the plan
    All,
    /// What leaks or is missing
    Needed,
}

fn material_parser() -> impl TypedValueParser<Value = Material> {
    PossibleValuesParser::new(Material::ALL.map(Material::as_str))
        .try_map(|word| Material::named(&word).ok_or("no material"))
}

#[derive(Clone, Copy, ValueEnum)]
enum ConditionName {
    /// Lies flat
    Flat,
    /// Stained, and lies flat
    Stained,
    /// Curled: to be flattened
    Curled,
    /// Nobody has looked: not to be used yet
    Unsaid,
    /// For scrap: not to be used
    Scrap,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let lots = counted(&arguments)?;
    if arguments.workshop {
        return workshop_tray(&arguments, &lots);
    }
    if arguments.release {
        workshop::release(&mut JobWriter::open(&arguments.folder)?)?;
    }
    if arguments.import.is_some() || !lots.is_empty() {
        let mut job = JobWriter::open(&arguments.folder)?;
        output::say_oddities(&job);
        let before = job.bench().tray.count();
        match &arguments.import {
            Some(file) => {
                job.count(&imported(file)?, true)?;
            }
            None => job.count(&lots, false)?,
        }
        output::say(&format!("tray: {} valves, {before} before", job.bench().tray.count()));
        if lots.iter().any(|lot| lot.condition == Condition::Unsaid && lot.count > 0) {
            output::say(
                "their condition was not said, so they are not dealt out: count them with --condition flat (stained, curled, scrap)",
            );
        }
    }
    if let Some(renew) = arguments.renew {
        JobWriter::open(&arguments.folder)?.renew(renew == RenewName::All)?;
    }
    let job = Job::open(&arguments.folder)?;
    output::say_odd_lines(&job);
    let bench = job.bench();
    if arguments.stock {
        show::tray(bench.tray.lots(), arguments.json, arguments.csv)?;
        return Ok(Ended::Done);
    }
    let rule = job.valve_rule();
    let choice = PassChoice::with_the_one_before(&job, None)?;
    let standing = pass::evaluate(&job, &choice, Detail::Findings)?.standing;
    let needs = repair::needs_now(job.instrument(), rule, &bench, &standing, job.renews_all());
    output::say(match (job.renews_all(), standing.passes.is_empty()) {
        (true, _) => "every valve is renewed in this job; `--renew needed` asks for what leaks or is missing",
        (false, true) => "nothing was recorded yet, so every slot without a noted valve is asked for",
        (false, false) => {
            "what leaks or is missing by the standing; `--renew all`, said once, asks for every valve"
        }
    });
    if arguments.reserve {
        workshop::reserve(&mut JobWriter::open(&arguments.folder)?, &needs)?;
    }
    // With what was reserved just now.
    let bench = if arguments.reserve { Job::open(&arguments.folder)?.bench() } else { bench };
    let fitting = repair::fit(&needs, &bench.tray, rule);
    let check = repair::check(job.instrument(), rule, &bench);
    if arguments.html {
        let file = job.write_report("valves.html", fitting_page(job.title(), &fitting).as_bytes())?;
        output::say(&format!("to print: `{}`", file.display()));
    }
    if arguments.json {
        show::json(&fitting, &check)?;
    } else if arguments.csv {
        match arguments.table {
            TableName::Fitting => tables::fitting(&fitting)?,
            TableName::Cut => tables::cuts(&fitting)?,
            TableName::Strip => tables::strips(&fitting)?,
            TableName::Left => output::line(tray_to_csv(fitting.left.lots()).trim_end())?,
            TableName::Differences => differences_csv(&check)?,
            TableName::Count => tables::count(&fitting, &check)?,
        }
    } else {
        show::text(&fitting, &check, arguments.explain)?;
    }
    Ok(Ended::Done)
}

fn imported(file: &Path) -> Result<Vec<Lot>, Failure> {
    let list =
        std::fs::read(file).map_err(|source| Error::Io { doing: "read", file: file.to_owned(), source })?;
    Ok(tray_from_csv(&list, file)?)
}

/// Count the workshop's tray, or show it.
fn workshop_tray(arguments: &Arguments, lots: &[Lot]) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    match &arguments.import {
        Some(file) => WorkshopTray::open()?.count(&imported(file)?, true)?,
        None if !lots.is_empty() => WorkshopTray::open()?.count(lots, false)?,
        None => {}
    }
    workshop::show(&job, arguments.json)?;
    Ok(Ended::Done)
}

fn counted(arguments: &Arguments) -> Result<Vec<Lot>, Failure> {
    if let Some(bin) = arguments.bin.as_deref().filter(|bin| !is_bin_name(bin)) {
        let next = "use up to 20 letters, digits, `_` and `-`";
        return Err(Failure::bad_usage(format!("`{bin}` cannot name a bin"), next));
    }
    let width = arguments.width.as_deref().map(parse_width).transpose()?;
    let thickness = arguments.thickness.as_deref().map(parse_thickness).transpose()?;
    let material = arguments.material;
    let condition = match arguments.condition {
        ConditionName::Flat => Condition::Flat,
        ConditionName::Stained => Condition::Stained,
        ConditionName::Curled => Condition::Curled,
        ConditionName::Unsaid => Condition::Unsaid,
        ConditionName::Scrap => Condition::Scrap,
    };
    let mut lots: Vec<Lot> = Vec::new();
    for text in &arguments.count {
        let (length, count) = parse_count(text)?;
        let lot = Lot { length, width, thickness, material, condition, bin: arguments.bin.clone(), count };
        if lots.iter().any(|there| there.is_same_kind(&lot)) {
            let what = format!("{length} is counted twice");
            return Err(Failure::bad_usage(what, "give each length once, with its whole count"));
        }
        lots.push(lot);
    }
    Ok(lots)
}
