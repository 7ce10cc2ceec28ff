//! What can go wrong with a job folder, and what to do about it.

use std::io;
use std::path::{Path, PathBuf};

use super::plan::Fault;

/// Why the job folder could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// There is no job in the folder.
    #[error("`{}` is not a job: it has no plan.toml", .folder.display())]
    NoJob {
        /// The folder.
        folder: PathBuf,
    },
    /// A new job was to be made where something lies already.
    #[error("`{}` has a `{name}` already", .folder.display())]
    JobThere {
        /// The folder.
        folder: PathBuf,
        /// What lies there.
        name: &'static str,
    },
    /// The plan has faults.
    #[error("{}", say_faults(.file, .faults))]
    Plan {
        /// The plan.
        file: PathBuf,
        /// Everything wrong in it, by line.
        faults: Vec<Fault>,
    },
    /// A CSV list has a fault.
    #[error("`{}` line {line}: {wrong}", .file.display())]
    List {
        /// The list.
        file: PathBuf,
        /// The line, counted from 1.
        line: u64,
        /// What is wrong.
        wrong: String,
        /// What would be right.
        right: String,
    },
    /// The file is of a later program.
    #[error("{} has format {found} and this program knows formats up to {known}", say_place(.file, *.line))]
    NewerFormat {
        /// The file.
        file: PathBuf,
        /// The line; 0 for the file as a whole.
        line: usize,
        /// The format found.
        found: f64,
        /// The newest format known.
        known: i64,
    },
    /// The file of clocks cannot be used.
    #[error("`{}` cannot be used: {detail}", .file.display())]
    Clocks {
        /// The file.
        file: PathBuf,
        /// What is wrong in it.
        detail: String,
    },
    /// The file of sealing measurements cannot be used.
    #[error("`{}` cannot be used: {detail}", .file.display())]
    SealBench {
        /// The file.
        file: PathBuf,
        /// What is wrong in it.
        detail: String,
    },
    /// The person has no folder for settings.
    #[error("this user has no folder for settings, where the clocks of sound cards are kept")]
    NoHome {
        /// The variable that names one.
        variable: &'static str,
    },
    /// Another program has the job.
    #[error("another program is writing to the job `{}`", .folder.display())]
    Busy {
        /// The job.
        folder: PathBuf,
        /// Which program that is, where it said so: `platenote record, process 4711, since 14:02`.
        holder: Option<String>,
    },
    /// Another program has the clocks.
    #[error("another program is writing to `{}`", .file.display())]
    ClocksBusy {
        /// The file of clocks.
        file: PathBuf,
    },
    /// No pass of that name.
    #[error("there is no pass `{pass}` in this job; it has {known}")]
    NoPass {
        /// As typed.
        pass: String,
        /// The job's passes.
        known: String,
    },
    /// A pass cannot have that name.
    #[error("`{pass}` cannot name a pass")]
    PassName {
        /// As typed.
        pass: String,
    },
    /// The same sound is in the pass already, at another place.
    #[error("the same sound is in the pass already, as `{file}` of {place}")]
    SameSound {
        /// The take that is there.
        file: String,
        /// Where it was placed.
        place: String,
    },
    /// The sound is a take that was withdrawn.
    #[error("the same sound is there as `{file}`, and was withdrawn (line {n} of the notes)")]
    Withdrawn {
        /// The take that is there.
        file: String,
        /// The number of the withdrawal.
        n: u32,
    },
    /// No take of that file.
    #[error("the diary names no take `{file}`")]
    NoTake {
        /// As typed.
        file: String,
    },
    /// No correction of that number that could be taken back.
    #[error("there is no correction {n} to take back")]
    NoCorrection {
        /// Its number.
        n: u32,
    },
    /// No correction is left to take back.
    #[error("there is no correction to take back")]
    NoCorrections,
    /// Two passes would have one name.
    #[error("two passes would be called `{pass}`")]
    PassTwice {
        /// The name.
        pass: String,
    },
    /// The plan cannot be changed so.
    #[error("{wrong}")]
    PlanEdit {
        /// What is wrong.
        wrong: String,
        /// What would be right.
        right: String,
    },
    /// Takes or notes would be left without a place.
    #[error("the plan would leave without a place:{}", lost.iter().map(|line| format!("\n       {line}")).collect::<String>())]
    LeavesWithoutPlace {
        /// Each with the place it has now.
        lost: Vec<String>,
    },
    /// The plan was edited by hand, and takes or notes have no place by it.
    #[error("{words}; that leaves without a place:{}", lost.iter().map(|line| format!("\n       {line}")).collect::<String>())]
    EditedByHand {
        /// What was noticed.
        words: String,
        /// Each with the place it had.
        lost: Vec<String>,
    },
    /// This program never changed the plan.
    #[error("there is no change of the plan to take back")]
    NoPlanChange,
    /// The plan was edited since.
    #[error("plan.toml was edited since the change that would be taken back")]
    PlanSince,
    /// The plate of a take is not in the plan any more.
    #[error("{place} is not in the plan any more")]
    PlateGone {
        /// The place.
        place: String,
    },
    /// No such row beside the reed's own.
    #[error("there is no row `{row}` beside that of {place}")]
    NoRowBeside {
        /// As typed.
        row: String,
        /// The reed.
        place: String,
        /// The rows there are.
        known: String,
    },
    /// Nothing would be otherwise.
    #[error("{what}")]
    NothingNew {
        /// What is so already.
        what: String,
    },
    /// No mark of that number that could be taken back.
    #[error("there is no mark {n} to take back")]
    NoMark {
        /// Its number.
        n: u32,
    },
    /// Nothing is left to take back.
    #[error("there is no mark to take back")]
    NoMarks,
    /// Something is not a plain file.
    #[error("`{}` is not a file", .file.display())]
    NotAFile {
        /// What it is called.
        file: PathBuf,
    },
    /// Not a picture that browsers and printers show.
    #[error("`{}` is no photo in JPEG, PNG or WebP{}", .file.display(), if *.is_heic { ", but one in HEIC" } else { ", whatever its name says" })]
    NotAPhoto {
        /// What it is called.
        file: PathBuf,
        /// Whether a telephone stored it as HEIC.
        is_heic: bool,
    },
    /// A link in the job leads out of it.
    #[error("`{}` leads out of the job", .file.display())]
    LeadsOut {
        /// The link.
        file: PathBuf,
    },
    /// The system refused.
    #[error("`{}` could not be {doing}: {source}", .file.display())]
    Io {
        /// What was being done: `read`, `written`, `locked`.
        doing: &'static str,
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl Error {
    /// What to do about it.
    pub fn next(&self) -> String {
        match self {
            Self::NoJob { .. } => "give the folder of a job, or make one with `platenote new`".into(),
            Self::JobThere { .. } => {
                "give a new folder, or one that holds no job; nothing was changed".into()
            }
            Self::Plan { .. } => "correct the lines named; nothing was changed".into(),
            Self::List { right, .. } => right.clone(),
            Self::NewerFormat { .. } => "use a later version of platenote; the files are as they were".into(),
            Self::Clocks { .. } => "correct it by hand, or delete it and measure the clocks again".into(),
            Self::SealBench { .. } => {
                "correct it by hand, or delete it and seal the good plates again".into()
            }
            Self::NoHome { variable } => format!("name a folder for them in the variable `{variable}`"),
            Self::Busy { holder: Some(holder), .. } => {
                format!(
                    "wait until it is done, or end it, and try again; nothing was changed. It is {holder}"
                )
            }
            Self::Busy { .. } | Self::ClocksBusy { .. } => {
                "wait until it is done, or end it, and try again; nothing was changed".into()
            }
            Self::NoPass { .. } => "give one of these, or open the pass by adding takes to it".into(),
            Self::PassName { .. } => super::plain_name::PLAIN_NAME.into(),
            Self::SameSound { .. } => {
                "leave it out, or, where it was placed wrongly before, add it once more with --move".into()
            }
            Self::Withdrawn { n, .. } => {
                format!("`platenote take JOB --undo={n}` makes it count again")
            }
            Self::NoTake { .. } => "`platenote take JOB` lists the takes".into(),
            Self::NoCorrection { .. } | Self::NoCorrections => {
                "`platenote pass JOB --changes` lists the corrections with their numbers".into()
            }
            Self::PassTwice { .. } => "rename one of them first, or merge them".into(),
            Self::PlanEdit { right, .. } => right.clone(),
            Self::LeavesWithoutPlace { .. } => {
                "say --yes if that is meant: they stay in the job and come back with the plate; nothing was changed"
                    .into()
            }
            Self::EditedByHand { .. } => {
                "put the plates' numbers (`plates = […]`) back to where their notes are, or say `platenote plan JOB --adopt --yes`: \
                 takes and notes then stay in the job and come back with the number; nothing was changed"
                    .into()
            }
            Self::NoPlanChange => "nothing needs to be done".into(),
            Self::PlanSince => "change it by hand; the plan before is in plan.before.toml".into(),
            Self::PlateGone { .. } => "put the plate back into the plan first (`platenote plan`)".into(),
            Self::NoRowBeside { known, .. } if known.is_empty() => "its block has one row: nothing can sound along".into(),
            Self::NoRowBeside { known, .. } => format!("name a row of its block: {known}"),
            Self::NothingNew { .. } => "nothing needs to be done".into(),
            Self::NoMark { .. } => "`platenote status JOB --marks` lists the marks with their numbers".into(),
            Self::NoMarks => "nothing needs to be done".into(),
            Self::NotAPhoto { is_heic: true, .. } => {
                "export it as JPEG (on the telephone: share or save as JPEG, or set the camera to the most compatible format), and \
                 note that"
                    .into()
            }
            Self::NotAPhoto { .. } => "give a photo in one of these; a text belongs into a mark: `note TEXT`".into(),
            Self::NotAFile { .. } => "give a plain file".into(),
            Self::LeadsOut { .. } => {
                "put what it leads to in its place, or take the link away; nothing was changed".into()
            }
            Self::Io { doing: "read", .. } => "check that it is there and may be read".into(),
            Self::Io { .. } => {
                "check that the folder may be written to and the disk has room; what was stored is safe"
                    .into()
            }
        }
    }

    pub(super) fn read(file: &Path, source: io::Error) -> Self {
        Self::Io { doing: "read", file: file.to_owned(), source }
    }

    pub(super) fn written(file: &Path, source: io::Error) -> Self {
        Self::Io { doing: "written", file: file.to_owned(), source }
    }
}

fn say_faults(file: &Path, faults: &[Fault]) -> String {
    match faults {
        [only] => format!("`{}` {only}", file.display()),
        _ => {
            let lines: String = faults.iter().map(|fault| format!("\n       {fault}")).collect();
            format!("`{}` has {} faults:{lines}", file.display(), faults.len())
        }
    }
}

fn say_place(file: &Path, line: usize) -> String {
    match line {
        0 => format!("`{}`", file.display()),
        _ => format!("`{}` line {line}", file.display()),
    }
}
