//! The report as files: pages, tables and drawings, in the job's report folder or elsewhere.

use std::path::{Path, PathBuf};

use super::{Evaluation, EvaluationError};
use crate::instrument::place_ranges;
use crate::job::{self, Job, Visit, Workshop};
use crate::repair::{self, Mark, Work};
use crate::report::{self, Chart, Dossier, NotedPhoto, Table};

/// Sound in the page takes at most this many megabytes where nothing else is said.
pub const USUAL_SOUND_MB: f64 = 8.0;

/// A page on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// What it is called.
    pub title: &'static str,
    /// Where it lies.
    pub file: PathBuf,
}

/// A chart on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// What it shows.
    pub title: String,
    /// As SVG.
    pub svg: PathBuf,
    /// As PNG.
    pub png: PathBuf,
}

/// What was written.
#[derive(Debug, Clone)]
pub struct Reported {
    /// The report page, then the hand-over sheet.
    pub pages: Vec<Page>,
    /// Every table: its name, as CSV and as JSON.
    pub tables: Vec<(&'static str, PathBuf, PathBuf)>,
    /// Every chart.
    pub charts: Vec<Written>,
    /// Clips of sound for which there was no room.
    pub left_out: usize,
    /// Words on the takes.
    pub words: Vec<String>,
}

impl Reported {
    /// The report page.
    pub fn page(&self) -> Option<&Path> {
        self.pages.first().map(|page| page.file.as_path())
    }
}

/// Write the whole report: pages first, so that they are there even where a drawing cannot be written.
///
/// - `out`: another folder than the job's report folder.
/// - `sound_mb`: how much sound the page may hold; 0 leaves it out.
pub fn write_report(
    job: &Job,
    told: &Evaluation,
    out: Option<&Path>,
    sound_mb: f64,
) -> Result<Reported, EvaluationError> {
    let subject = told.subject(job)?;
    let work = told.work_list(job);
    let next = repair::next_list(&told.told, &work);
    let (clips, left_out) = told.clips(job, (1e6 * sound_mb) as usize);
    let passes: Vec<_> = told.shown().filter_map(|view| view.facts.clone()).collect();
    let clocks: Vec<String> = told.shown().flat_map(|view| view.clocks.clone()).collect();
    let (workshop, workshop_word) = Workshop::of_person();
    let words: Vec<String> = told.remarks().cloned().chain(workshop_word).collect();
    let dossier = Dossier {
        subject,
        passes: &passes,
        readings: &told.shown().map(|view| &view.readings).collect::<Vec<_>>(),
        clocks: &clocks,
        words: &words,
        work: &work,
        marks: &job.marks_of(&told.visit),
        standing: &told.told,
        next: &next,
        astray: &told.out_of_order(job),
        photos: &photos(job, &told.visit),
        visit: &told.visit,
        pitches: &told.pitches,
        workshop: &workshop,
        clips: &clips,
        clips_left_out: if sound_mb > 0.0 { left_out } else { 0 },
    };
    let page = report::report_page(&dossier)?;
    let sheet = report::hand_over_page(&dossier)?;
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
    let charts = report::charts(&subject)?;
    let charts = charts.into_iter().map(|chart| write_chart(job, out, chart)).collect::<Result<_, _>>()?;
    Ok(Reported { pages, tables, charts, left_out, words })
}

/// One photo in a page takes no more; a telephone's is smaller, bytes.
const PHOTO_BYTES: usize = 6_000_000;
/// And all of them together, bytes: a page of that size still opens everywhere.
const PHOTOS_BYTES: usize = 16_000_000;

/// The photos of the visit, with their bytes while there is room.
fn photos(job: &Job, visit: &Visit) -> Vec<NotedPhoto> {
    let mut room = PHOTOS_BYTES;
    let of_mark = |mark: Mark| {
        let Work::Photo(file) = &mark.work else { return None };
        if mark.undone {
            return None;
        }
        let picture = job::read_plain(&job.folder().join(file)).ok().flatten();
        let picture = picture.filter(|bytes| bytes.len() <= PHOTO_BYTES.min(room));
        let picture = picture.and_then(|bytes| Some((kind_of(job::picture_ending(&bytes)?)?, bytes)));
        room -= picture.as_ref().map_or(0, |(_, bytes)| bytes.len());
        let names: Vec<String> = mark.spots.iter().map(ToString::to_string).collect();
        Some(NotedPhoto {
            n: mark.n,
            day: mark.day,
            places: place_ranges(&names),
            file: file.clone(),
            picture,
        })
    };
    job.marks_of(visit).into_iter().filter_map(of_mark).collect()
}

/// What a page calls the pictures it can show.
fn kind_of(ending: &str) -> Option<&'static str> {
    Some(match ending {
        "jpg" => "image/jpeg",
        "png" => "image/png",
        "webp" => "image/webp",
        _ => return None,
    })
}

/// Write a chart: into `out`, or into the job's report folder.
pub fn write_chart(job: &Job, out: Option<&Path>, chart: Chart) -> Result<Written, EvaluationError> {
    let svg = put(job, out, &format!("{}.svg", chart.name), chart.svg.as_bytes())?;
    let png = put(job, out, &format!("{}.png", chart.name), &chart.png)?;
    Ok(Written { title: chart.title, svg, png })
}

/// Write a file whole, into `out` or into the job's report folder.
pub fn put(job: &Job, out: Option<&Path>, name: &str, bytes: &[u8]) -> Result<PathBuf, EvaluationError> {
    let Some(folder) = out else { return Ok(job.write_report(name, bytes)?) };
    let file = folder.join(name);
    std::fs::create_dir_all(folder).map_err(|source| job::Error::Io {
        doing: "made",
        file: folder.to_owned(),
        source,
    })?;
    job::write_whole(&file, bytes)?;
    Ok(file)
}
