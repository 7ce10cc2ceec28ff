//! What all requests share: which job is open, who writes to it, and what was found in it last.

use std::path::{Path, PathBuf};
use std::sync::mpsc::channel;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

use super::Error;
use super::event_stream::EventStream;
use super::recording_task::{Own, RecordingCommand, RecordingTask};
use super::shown_pass::ShownPass;
use super::staging::Staging;
use crate::demo;
use crate::evaluation::PassChoice;
use crate::job::recent::{self, Listed};
use crate::job::{Job, JobWriter, Plan, Template};

/// Templates by the names `new --template` knows them by, with a word on each.
pub(super) const TEMPLATES: [(&str, &str, Template); 4] = [
    ("bass24", "Bass block: two rows of twelve plates, E2 to D#4", Template::Bass24),
    ("treble41", "Treble rank: 41 plates, F3 to A6, the highest without valves", Template::Treble41),
    ("bisonoric20", "Bisonoric block: two rows of ten plates, in C and in G", Template::Bisonoric20),
    ("empty", "One short row, to be filled in", Template::Empty),
];

/// Where the invented job is made.
const DEMO_FOLDER: &str = "platenote demo";

/// The bench as the page sees it.
pub(super) struct AppState {
    /// The folder that holds jobs, and where new ones are made.
    folder: PathBuf,
    job: Mutex<Option<PathBuf>>,
    shown: Mutex<Option<(Stamp, Arc<ShownPass>)>>,
    task: Mutex<Option<RecordingTask>>,
    /// Sound files that wait to be accepted.
    pub sounds: Staging,
    /// What every open page hears.
    pub events: Arc<EventStream>,
}

/// The files of a job by length and time: another stamp means that something was written.
pub(super) type Stamp = Vec<(PathBuf, u64, Option<SystemTime>)>;

impl AppState {
    /// `folder` is a job, or holds jobs.
    pub fn new(folder: &Path) -> Result<Self, Error> {
        if !folder.is_dir() {
            return Err(Error::NoFolder(folder.display().to_string()));
        }
        let is_job = folder.join("plan.toml").exists();
        if is_job {
            recent::remember(folder);
        }
        // Jobs are made beside the one that was opened, never within it.
        let home = if is_job { beside(folder) } else { folder.to_owned() };
        Ok(Self {
            folder: home,
            job: Mutex::new(is_job.then(|| folder.to_owned())),
            shown: Mutex::default(),
            task: Mutex::default(),
            sounds: Staging::default(),
            events: Arc::default(),
        })
    }

    /// The jobs that can be opened: those opened last, then the others of the folder that was started with.
    pub fn jobs(&self) -> Vec<Listed> {
        let mut listed = recent::jobs();
        let entries = std::fs::read_dir(&self.folder).into_iter().flatten().flatten();
        let mut here: Vec<PathBuf> =
            entries.map(|entry| entry.path()).filter(|folder| folder.join("plan.toml").is_file()).collect();
        here.sort();
        for folder in here {
            if !listed.iter().any(|one| recent::is_same(&one.folder, &folder)) {
                listed.push(Listed { folder, when: None });
            }
        }
        listed
    }

    /// The folder that jobs are made in.
    pub fn home(&self) -> &Path {
        &self.folder
    }

    /// Open one of the jobs of the list.
    pub fn choose(&self, folder: &str) -> Result<(), Error> {
        self.must_rest()?;
        let listed = self.jobs().into_iter().find(|one| one.folder.display().to_string() == folder);
        let folder = listed.ok_or_else(|| Error::NoSuchJob(folder.to_owned()))?.folder;
        Job::open(&folder)?;
        self.opened(folder);
        Ok(())
    }

    /// Make a job from a template and open it.
    pub fn make(&self, name: &str, template: &str, title: &str) -> Result<(), Error> {
        self.must_rest()?;
        let name = name.trim();
        if !is_folder_name(name) {
            return Err(Error::JobName(name.to_owned()));
        }
        let known = TEMPLATES.iter().find(|(there, ..)| *there == template);
        let (.., template) = known.ok_or_else(|| Error::NoTemplate(template.to_owned()))?;
        let text = template.to_toml();
        let text = if title.trim().is_empty() { text } else { Plan::with_title(&text, title.trim()) };
        let folder = self.folder.join(name);
        Job::create(&folder, &text)?;
        self.opened(folder);
        Ok(())
    }

    /// Open the invented job; made where it is not there yet.
    pub fn demo(&self) -> Result<PathBuf, Error> {
        self.must_rest()?;
        let folder = self.folder.join(DEMO_FOLDER);
        if !folder.join("plan.toml").is_file() {
            demo::make(&folder)?;
        }
        Job::open(&folder)?;
        self.opened(folder.clone());
        Ok(folder)
    }

    fn opened(&self, folder: PathBuf) {
        recent::remember(&folder);
        *locked(&self.job) = Some(folder);
        self.events.changed();
    }

    /// The folder of the open job.
    pub fn job_folder(&self) -> Result<PathBuf, Error> {
        locked(&self.job).clone().ok_or(Error::NoJob)
    }

    /// The open job as it is now.
    pub fn job(&self) -> Result<Job, Error> {
        Ok(Job::open(&self.job_folder()?)?)
    }

    /// Write to the job: through the task that has it, or by ourselves.
    pub fn write<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut JobWriter) -> Result<T, Error> + Send + 'static,
    ) -> Result<T, Error> {
        let done = match self.orders() {
            None => work(&mut JobWriter::open(&self.job_folder()?)?),
            Some(orders) => {
                let (answer, answered) = channel();
                let order = RecordingCommand::Own(Own::Write(Box::new(move |job| {
                    // Whoever asked may have gone away; the work is done all the same.
                    let _ = answer.send(work(job));
                })));
                orders.send(order).map_err(|_| Error::NotRecording)?;
                answered.recv().map_err(|_| Error::NotRecording)?
            }
        };
        self.events.changed();
        done
    }

    /// What a pass tells, the newest where none is named; worked out anew only when something was written.
    pub fn shown(&self, pass: Option<&str>) -> Result<Arc<ShownPass>, Error> {
        let mut kept = locked(&self.shown);
        let stamp = self.stamp();
        let job = self.job()?;
        let choice = PassChoice::with_the_one_before(&job, pass)?;
        if let Some((_, shown)) =
            kept.as_ref().filter(|(then, shown)| *then == stamp && shown.choice == choice)
        {
            return Ok(shown.clone());
        }
        let shown = Arc::new(ShownPass::of(&job, choice)?);
        *kept = Some((stamp, shown.clone()));
        Ok(shown)
    }

    /// The job's files by length and time.
    pub fn stamp(&self) -> Stamp {
        let Some(folder) = locked(&self.job).clone() else { return Vec::new() };
        let files = ["plan.toml", "diary.jsonl"].map(|name| folder.join(name));
        let stamps = files.into_iter().map(|file| {
            let facts = std::fs::metadata(&file).ok();
            let length = facts.as_ref().map_or(0, std::fs::Metadata::len);
            (file, length, facts.and_then(|facts| facts.modified().ok()))
        });
        stamps.collect()
    }

    /// Begin to record; `start` is given the job's folder.
    pub fn start_recording(
        &self,
        start: impl FnOnce(PathBuf) -> Result<RecordingTask, Error>,
    ) -> Result<(), Error> {
        let folder = self.job_folder()?;
        let mut task = locked(&self.task);
        if task.as_ref().is_some_and(|task| task.holds_job && !task.is_over()) {
            return Err(Error::Recording);
        }
        // A trial gives the microphone back.
        if let Some(trial) = task.take() {
            trial.end();
        }
        *task = Some(start(folder)?);
        Ok(())
    }

    /// Try the microphone, when nothing is recorded.
    pub fn start_trial(&self, start: impl FnOnce() -> Result<RecordingTask, Error>) -> Result<(), Error> {
        self.must_rest()?;
        self.stop_recording();
        *locked(&self.task) = Some(start()?);
        Ok(())
    }

    /// Where orders to the task go; `None` when none is there.
    pub fn orders(&self) -> Option<std::sync::mpsc::Sender<RecordingCommand>> {
        let task = locked(&self.task);
        task.as_ref().filter(|task| task.holds_job && !task.is_over()).map(|task| task.orders.clone())
    }

    /// Fails while takes are recorded.
    pub fn must_rest(&self) -> Result<(), Error> {
        if self.orders().is_some() { Err(Error::Recording) } else { Ok(()) }
    }

    /// End the task, if there is one, and wait for it.
    pub fn stop_recording(&self) {
        if let Some(task) = locked(&self.task).take() {
            task.end();
        }
    }
}

/// The folder that a job lies in.
fn beside(job: &Path) -> PathBuf {
    let whole = job.canonicalize().unwrap_or_else(|_| job.to_owned());
    whole.parent().map_or(whole.clone(), Path::to_owned)
}

/// Whether a folder can be called that on every system: spaces and letters of all languages are well, separators, marks
/// that some systems keep, and a dot at either end are not.
fn is_folder_name(name: &str) -> bool {
    let is_odd = |letter: char| letter.is_control() || "/\\:*?\"<>|".contains(letter);
    let device = name.split('.').next().unwrap_or("").to_lowercase();
    let is_device = matches!(device.as_str(), "con" | "prn" | "aux" | "nul")
        || (device.len() == 4 && (device.starts_with("com") || device.starts_with("lpt")));
    !name.is_empty()
        && name.chars().count() <= 80
        && !name.contains(is_odd)
        && !name.starts_with(['.', '-', ' '])
        && !name.ends_with(['.', ' '])
        && !is_device
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What another request left half done is only kept findings; they are made again.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_may_be_called_what_folders_are_called_everywhere() {
        for good in ["Spring 2026 treble", "Bässe, zweite Reihe", "job-1", "a"] {
            assert!(is_folder_name(good), "{good}");
        }
        for bad in [
            "", ".", "..", "../x", "a/b", "a\\b", ".hidden", "-x", "x ", "x.", "con", "lpt1.txt", "a\nb",
            "a:b",
        ] {
            assert!(!is_folder_name(bad), "{bad}");
        }
        assert!(!is_folder_name(&"x".repeat(81)));
    }
}
