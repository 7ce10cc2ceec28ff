//! `report JOB`: the report page, the hand-over sheet, and every table and drawing beside them.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::chart::{Written, put, write};
use super::failure::{Ended, Failure};
use super::gather::{Gathered, WhichPasses};
use super::{clips, output};
use crate::record::Job;
use crate::report::{self, Dossier, Table};
use crate::workshop;

/// Sound in the page takes at most this many megabytes where nothing else is said.
pub(crate) const USUAL_SOUND_MB: f64 = 8.0;

/// Write the report page, a hand-over sheet for the owner, and every table and drawing
#[derive(Args)]
#[command(after_help = "\
report.html is one file with everything in it: it can be sent, opened on a telephone without a network, and printed \
on A4. hand-over.html is the shorter sheet for the instrument's owner.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    #[command(flatten)]
    passes: WhichPasses,
    /// Folder for what is written [default: the job's report folder]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// How much sound the page may hold; 0 leaves it out
    #[arg(long, value_name = "MB", default_value_t = USUAL_SOUND_MB, value_parser = megabytes)]
    sound: f64,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// A page on disk.
struct Page {
    title: &'static str,
    file: PathBuf,
}

/// What was written.
pub(crate) struct Reported {
    pages: Vec<Page>,
    tables: Vec<(&'static str, PathBuf, PathBuf)>,
    /// The charts, as `chart` writes them.
    pub(crate) charts: Vec<Written>,
    left_out: usize,
    words: Vec<String>,
}

impl Reported {
    /// The report page.
    pub(crate) fn page(&self) -> Option<&Path> {
        self.pages.first().map(|page| page.file.as_path())
    }
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    output::say_odd_lines(&job);
    let (earlier, later) = arguments.passes.of(&job)?;
    let reported = make(&job, earlier.as_deref(), &later, arguments.out.as_deref(), arguments.sound)?;
    for word in &reported.words {
        output::say(word);
    }
    print(&reported, arguments.json)?;
    if reported.left_out > 0 && arguments.sound > 0.0 {
        output::say(&format!(
            "{} clips of sound were left out to keep the page small; `--sound 50` lets in 50 MB",
            reported.left_out
        ));
    }
    if let Some(page) = reported.page() {
        output::say(&format!("next:  open `{}` in a browser", page.display()));
    }
    Ok(Ended::Done)
}

/// Write everything: pages first, so that they are there even where a drawing cannot be written.
pub(crate) fn make(
    job: &Job,
    earlier: Option<&str>,
    later: &str,
    out: Option<&Path>,
    sound_mb: f64,
) -> Result<Reported, Failure> {
    let gathered = Gathered::from(job, earlier, later)?;
    let subject = gathered.subject(job)?;
    let work = workshop::work_list(
        job.instrument(),
        job.valve_rule(),
        &job.bench(),
        Some(subject.findings),
        &job.heard_at(later),
    );
    let (clips, left_out) = clips::of(job.instrument(), &gathered, (1e6 * sound_mb) as usize);
    let passes: Vec<_> =
        gathered.heard.iter().filter_map(|pass| job.pass(&pass.readings.name).ok()).collect();
    let clocks: Vec<String> = gathered.heard.iter().flat_map(|pass| pass.clocks.clone()).collect();
    let words: Vec<String> = gathered.words().cloned().collect();
    let dossier = Dossier {
        subject,
        passes: &passes,
        readings: &gathered.heard.iter().map(|pass| &pass.readings).collect::<Vec<_>>(),
        clocks: &clocks,
        words: &words,
        work: &work,
        marks: &job.marks(),
        clips: &clips,
        clips_left_out: if sound_mb > 0.0 { left_out } else { 0 },
    };
    let failed = |error: report::ReportError| Failure::could_not(error.to_string(), error.next());
    let page = report::report_page(&dossier).map_err(failed)?;
    let sheet = report::hand_over_page(&dossier).map_err(failed)?;
    let mut pages = Vec::new();
    for (title, name, text) in [("Report", "report.html", page), ("Hand-over sheet", "hand-over.html", sheet)]
    {
        pages.push(Page { title, file: put(job, out, name, text.as_bytes())? });
    }
    let mut tables = Vec::new();
    for table in report::tables(&dossier) {
        let Table { name, .. } = table;
        let csv = put(job, out, &format!("{name}.csv"), table.csv().as_bytes())?;
        tables.push((name, csv, put(job, out, &format!("{name}.json"), table.json().as_bytes())?));
    }
    let charts = report::charts(&subject).map_err(failed)?;
    let charts = charts.into_iter().map(|chart| write(job, out, chart)).collect::<Result<_, _>>()?;
    Ok(Reported { pages, tables, charts, left_out, words })
}

fn print(reported: &Reported, json: bool) -> Result<(), Failure> {
    for Page { title, file } in &reported.pages {
        if json {
            output::json(&json!({"format": 1, "kind": "page", "title": title, "html": file}))?;
        } else {
            output::line(&file.display().to_string())?;
        }
    }
    for (name, csv, object) in &reported.tables {
        if json {
            output::json(&json!({"format": 1, "kind": "table", "name": name, "csv": csv, "json": object}))?;
        } else {
            output::line(&csv.display().to_string())?;
            output::line(&object.display().to_string())?;
        }
    }
    for chart in &reported.charts {
        if json {
            output::json(&json!({
                "format": 1, "kind": "chart", "title": chart.title, "svg": chart.svg, "png": chart.png,
            }))?;
        } else {
            output::line(&chart.svg.display().to_string())?;
            output::line(&chart.png.display().to_string())?;
        }
    }
    Ok(())
}

/// From nothing to what a browser still opens.
fn megabytes(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|number| (0.0..=500.0).contains(number));
    number.ok_or_else(|| "give megabytes from 0 to 500".to_owned())
}
