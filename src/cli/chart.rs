//! `chart JOB`: tuning chart, block map and close-ups of a pass, or of two together, as SVG and PNG.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::failure::{Ended, Failure};
use super::pass::{self, HeardPass};
use super::{close_ups, output};
use crate::judgement;
use crate::record::{self, Error, Job};
use crate::report::{self, Chart, Earlier, Subject};

/// Draw the tuning chart, the block map and a close-up of each leak, as SVG and PNG
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Draw this pass alone [default: the one opened last, together with the one before it]
    #[arg(long, value_name = "NAME", conflicts_with = "compare")]
    pass: Option<String>,
    /// Draw two passes together
    #[arg(long, num_args = 2, value_names = ["EARLIER", "LATER"])]
    compare: Option<Vec<String>>,
    /// Folder for the pictures [default: the job's report folder]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// A chart as `--json` names it.
#[derive(Serialize)]
struct ChartLine<'a> {
    format: u8,
    kind: &'static str,
    title: &'a str,
    svg: &'a Path,
    png: &'a Path,
}

/// What came of drawing.
pub(crate) struct Drawn {
    pub(crate) written: Vec<Written>,
    /// Words on the takes.
    pub(crate) words: Vec<String>,
}

/// A chart on disk.
pub(crate) struct Written {
    pub(crate) title: String,
    pub(crate) svg: PathBuf,
    pub(crate) png: PathBuf,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    let (earlier, later) = passes(&job, &arguments)?;
    let Drawn { written, words } = draw(&job, earlier.as_deref(), &later, arguments.out.as_deref())?;
    for word in words {
        output::say(&word);
    }
    for chart in &written {
        if arguments.json {
            let (svg, png) = (chart.svg.as_path(), chart.png.as_path());
            output::json(&ChartLine { format: 1, kind: "chart", title: &chart.title, svg, png })?;
        } else {
            output::line(&chart.svg.display().to_string())?;
            output::line(&chart.png.display().to_string())?;
        }
    }
    let drawn =
        earlier.map_or(format!("pass `{later}`"), |earlier| format!("passes `{earlier}` and `{later}`"));
    output::say(&format!("{} charts of {drawn}, each as SVG and PNG", written.len()));
    Ok(Ended::Done)
}

/// Which passes to draw: the earlier one, if any, and the later one.
fn passes(job: &Job, arguments: &Arguments) -> Result<(Option<String>, String), Failure> {
    if let Some([earlier, later]) = arguments.compare.as_deref() {
        let (earlier, later) = (job.pass(earlier)?.pass, job.pass(later)?.pass);
        if earlier == later {
            return Err(Failure::bad_usage(
                format!("`{later}` is named twice, so there is nothing to compare"),
                format!("name two passes, or draw one with `--pass {later}`"),
            ));
        }
        return Ok((Some(earlier), later));
    }
    if let Some(name) = &arguments.pass {
        return Ok((None, job.pass(name)?.pass));
    }
    let mut passes = job.passes();
    let later = passes.pop().ok_or_else(|| {
        Failure::could_not(
            format!("the job `{}` has no pass yet, so there is nothing to draw", job.folder().display()),
            format!("add sound files: `platenote add {} FILE… --pass before`", job.folder().display()),
        )
    })?;
    Ok((passes.pop().map(|earlier| earlier.pass), later.pass))
}

/// Judge the passes, draw every chart and write it: into `out`, or into the job's report folder.
pub(crate) fn draw(
    job: &Job,
    earlier: Option<&str>,
    later: &str,
    out: Option<&Path>,
) -> Result<Drawn, Failure> {
    let mut heard: Vec<HeardPass> = Vec::new();
    for name in earlier.into_iter().chain([later]) {
        heard.push(pass::listen(job, name)?);
    }
    let instrument = job.instrument();
    let findings: Vec<_> = heard.iter().map(|pass| judgement::judge(instrument, &pass.readings)).collect();
    let close_ups = close_ups::of(instrument, &heard, &findings);
    let comparison = match heard.as_slice() {
        [earlier, later] => Some(judgement::compare(instrument, &earlier.readings, &later.readings)),
        _ => None,
    };
    let (before, now) = match findings.as_slice() {
        [earlier, later] => (Some(earlier), later),
        [only] => (None, only),
        _ => return Ok(Drawn { written: Vec::new(), words: Vec::new() }),
    };
    let earlier = before.map(|findings| Earlier { findings, comparison: comparison.as_ref() });
    let subject = Subject { title: job.title(), instrument, findings: now, earlier, close_ups: &close_ups };
    let charts =
        report::charts(&subject).map_err(|error| Failure::could_not(error.to_string(), error.next()))?;
    if charts.is_empty() {
        return Err(Failure::could_not(
            "the plan has no plates, so there is nothing to draw",
            format!("list the notes of each row in `{}`", job.folder().join("plan.toml").display()),
        ));
    }
    let written = charts.into_iter().map(|chart| write(job, out, chart)).collect::<Result<_, _>>()?;
    Ok(Drawn { written, words: heard.into_iter().flat_map(|pass| pass.words).collect() })
}

fn write(job: &Job, out: Option<&Path>, chart: Chart) -> Result<Written, Failure> {
    let put = |name: String, bytes: &[u8]| -> Result<PathBuf, Failure> {
        let Some(folder) = out else { return Ok(job.write_report(&name, bytes)?) };
        let file = folder.join(name);
        std::fs::create_dir_all(folder).map_err(|source| Error::Io {
            doing: "made",
            file: folder.to_owned(),
            source,
        })?;
        record::write_whole(&file, bytes)?;
        Ok(file)
    };
    let svg = put(format!("{}.svg", chart.name), chart.svg.as_bytes())?;
    let png = put(format!("{}.png", chart.name), &chart.png)?;
    Ok(Written { title: chart.title, svg, png })
}
