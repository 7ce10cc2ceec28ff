//! `add JOB FILE…`: sound files as takes, placed by list, by name, or by pitch.

use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use serde_json::json;

use super::clock::{self, TypedClock};
use super::failure::{Ended, Failure, print_error};
use super::output;
use super::pass_arguments::PassArguments;
use super::recorded::{self, TypedRecorded};
use crate::alignment::{NotPlaced, place_by_name, place_by_pitch};
use crate::analysis::{self, Expectation};
use crate::audio;
use crate::instrument::{Block, ReedPlace, Stroke};
use crate::job::{
    self, ClockFacts, JobWriter, NewTake, Recorded, SealPart, SealState, Stored, Table, TakeEntry,
};
use crate::take::Take;

/// Add sound files to a pass as takes; the files stay as they are
#[derive(Args)]
#[command(after_help = "\
A file is placed by its name where that holds block, plate and stroke (bass-A7-press.wav; case and separators do not \
matter; the block may be left out when there is one); else by its pitch, where one reed alone fits. In a unisonoric \
instrument that needs --stroke, since both reeds of a plate give one note.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Sound files: WAV, FLAC, and phone recordings
    #[arg(value_name = "FILE", required_unless_present = "list")]
    files: Vec<PathBuf>,
    /// CSV list with the header `file,place`, a place as `bass A7 press`; files relative to the list. With a further column
    /// `sealed` (`open`, `sealed`) its files are plays of sealing tests, in their order, and `kind` says `held` or `swell`;
    /// a column `with` names rows that sound along on purpose (`B`, `B+C`), a column `recorded` says when each was recorded,
    /// as --recorded does for all
    #[arg(long, value_name = "FILE")]
    list: Option<PathBuf>,
    #[command(flatten)]
    pass: PassArguments,
    /// Stroke of all files placed by pitch
    #[arg(long, value_enum, value_name = "STROKE")]
    stroke: Option<StrokeName>,
    /// Block of all files placed by pitch
    #[arg(long, value_name = "NAME")]
    block: Option<String>,
    /// Clock of the device that recorded the files, to correct the pitches for: its name, or ppm as `12.5±3`
    #[arg(long, value_name = "DEVICE|PPM", value_parser = clock::parse, allow_hyphen_values = true)]
    clock: Option<TypedClock>,
    /// A row's sealed pass: the files are sealed plays of sealing tests, each compared with the reed's ordinary takes of the
    /// pass
    #[arg(long)]
    sealed: bool,
    /// Reeds of these rows of the same block sound along on purpose (`B`, `B+C`): the beats are checked, and nothing else is
    /// told of the takes
    #[arg(long, value_name = "ROW", conflicts_with = "sealed")]
    with: Option<String>,
    /// When the files were recorded: a day, a time with its offset, or `now`; it counts, not when they are added [default:
    /// the day of `--date`, else each file's own date]
    #[arg(long, value_name = "WHEN", value_parser = recorded::parse)]
    recorded: Option<TypedRecorded>,
    /// Move a sound that is in the pass already from the place it was given before to the one given now
    #[arg(long = "move")]
    move_it: bool,
    /// Only say where each file would go; nothing is stored
    #[arg(long, conflicts_with = "move_it")]
    show: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum StrokeName {
    /// The bellows close
    Press,
    /// The bellows open
    Draw,
}

/// A file with the place the list gives it, if it came in a list.
struct Wanted {
    file: PathBuf,
    place: Option<Result<ReedPlace, Failure>>,
    seal: Option<SealPart>,
    with: Vec<String>,
    recorded: Option<Recorded>,
}

/// How a file came to its place.
#[derive(Clone, Copy)]
enum By {
    List,
    Name,
    Pitch,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    let block = arguments.block.as_deref().map(|name| find_block(&job, name)).transpose()?.cloned();
    let stroke = arguments.stroke.map(|stroke| match stroke {
        StrokeName::Press => Stroke::Press,
        StrokeName::Draw => Stroke::Draw,
    });
    let mut wanted = match &arguments.list {
        Some(list) => read_list(list, &job)?,
        None => Vec::new(),
    };
    wanted.extend(arguments.files.iter().map(|file| Wanted {
        file: file.clone(),
        place: None,
        seal: None,
        with: Vec::new(),
        recorded: None,
    }));
    let change = arguments.pass.checked()?;
    if let Some(day) = change.date {
        output::offer_visit(&job, day);
    }
    let mut ended = Ended::Done;
    for one in wanted {
        let all = arguments.sealed.then_some(SealPart { state: SealState::Sealed, kind: None });
        let (file, seal) = (one.file.clone(), one.seal.or(all));
        let mut with = one.with.clone();
        with.extend(arguments.with.iter().flat_map(|rows| rows_of(rows)));
        let recorded = recorded::of_file(&file, one.recorded, arguments.recorded, change.date);
        let outcome = place(one, block.as_ref(), stroke, &job).and_then(|placed| {
            let with = job.rows_beside(&placed.place.to_string(), &with)?;
            if arguments.show {
                return Ok(placed.shown());
            }
            let clock = arguments.clock.as_ref().map(|clock| clock.at(placed.take.rate_hz)).transpose()?;
            // Only now, so that a slip in the pass's name leaves no pass behind when no file could be placed.
            let sounded =
                recorded.and_then(|told| told.before(Timestamp::now())).unwrap_or_else(Timestamp::now);
            say_if_older(&job, &placed.place, sounded, &file);
            // A play of a sealing test goes with the reed's takes of its pass, and so does a sound that is there already.
            let is_bound = seal.is_some() || job.holds_sound(&arguments.pass.name, &job::hash_of(&file)?);
            let takes = if is_bound { vec![] } else { vec![(placed.place.clone(), sounded)] };
            let pass = arguments.pass.open_for(&mut job, &change, &takes)?.pass;
            let how = How { clock, seal, with, recorded, move_it: arguments.move_it };
            store(&mut job, pass, &file, placed, how)
        });
        let told = match &outcome {
            Ok(done) => tell(&file, done, arguments.json),
            Err(failure) => {
                ended = Ended::CouldNot;
                refuse(&file, failure, arguments.json)
            }
        };
        // When nobody listens any more (`… | head`), the rest is stored all the same.
        told.or_else(|failure| if failure.is_reader_gone() { Ok(()) } else { Err(failure) })?;
    }
    Ok(ended)
}

/// A file and where it belongs.
struct Placed {
    take: Take,
    place: ReedPlace,
    by: By,
    why: String,
}

fn place(
    wanted: Wanted,
    block: Option<&Block>,
    stroke: Option<Stroke>,
    job: &JobWriter,
) -> Result<Placed, Failure> {
    let Wanted { file, place, .. } = wanted;
    let instrument = job.instrument();
    let listed = place.transpose()?;
    let take = audio::read_file(&file)?;
    if let Some(place) = listed {
        return Ok(Placed { take, place, by: By::List, why: "the list says so".into() });
    }
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    let by_name = match place_by_name(&stem, instrument) {
        Ok(place) => return Ok(Placed { take, place, by: By::Name, why: "its name says so".into() }),
        Err(error) => error,
    };
    // A name that says something else than a place of the plan is not overruled by the pitch.
    if !matches!(by_name, NotPlaced::NoPlate | NotPlaced::NoStroke { .. }) {
        return Err(not_placed(&file, &by_name.to_string()));
    }
    let heard = analysis::listen(&take, &Expectation::default())
        .map_err(|refusal| not_placed(&file, &format!("{by_name}, and {refusal}")))?;
    let (pitch, _) = heard.pitch();
    let candidate = place_by_pitch(pitch, block, stroke, instrument)
        .map_err(|error| not_placed(&file, &format!("{by_name}, and {error}")))?;
    let why = format!("its pitch of {pitch} lies {} from that reed, and from no other", candidate.deviation);
    Ok(Placed { take, place: candidate.place, by: By::Pitch, why })
}

impl Placed {
    /// Where it would go.
    fn shown(self) -> Done {
        let Self { place, by, why, .. } = self;
        Done { place, by, why, take: String::new(), state: ("shown", "not stored") }
    }
}

/// What became of a placed file.
struct Done {
    place: ReedPlace,
    by: By,
    why: String,
    /// The stored file, seen from the job folder.
    take: String,
    /// The word for it in JSON, and to people.
    state: (&'static str, &'static str),
}

/// How a placed file is stored.
struct How {
    clock: Option<ClockFacts>,
    seal: Option<SealPart>,
    with: Vec<String>,
    recorded: Option<Recorded>,
    move_it: bool,
}

fn store(
    job: &mut JobWriter,
    pass: String,
    file: &Path,
    placed: Placed,
    How { clock, seal, with, recorded, move_it }: How,
) -> Result<Done, Failure> {
    let Placed { take, place, by, why } = placed;
    let new = NewTake {
        pass,
        place: place.clone(),
        original: file.file_name().map(|name| name.to_string_lossy().into_owned()),
        extension: file.extension().unwrap_or_default().to_string_lossy().into_owned(),
        why: why.clone(),
        lossy: take.lossy,
        remarks: take.remarks,
        clock: clock.clone(),
        recorded,
    };
    let stored = match seal {
        Some(part) => job.store_seal_file(new, part, file),
        None => job.store_file(new, file),
    };
    let (take, state) = match stored {
        Ok(Stored::New(stored)) => (stored.facts.file, ("stored", "stored as")),
        Ok(Stored::Again(stored)) => {
            if clock.is_some() && stored.facts.clock != clock {
                output::say(&format!(
                    "note: `{}` keeps the clock it was stored with; add the file to a pass of its own for another",
                    stored.facts.file
                ));
            }
            (stored.facts.file, ("already_there", "the same sound is there already, not stored again:"))
        }
        Ok(Stored::Restored(stored)) => (stored.facts.file, ("restored", "its take had gone and is back:")),
        Err(job::Error::SameSound { file, .. }) if move_it => {
            job.move_take(&file, &place, &why)?;
            (file, ("moved", "moved there, the take keeps its name"))
        }
        Err(error) => return Err(error.into()),
    };
    let is_said = |there: &TakeEntry| there.file == take && there.with == with;
    if !with.is_empty() && !job.all_takes().iter().any(is_said) {
        job.sounds_with(&take, &with)?;
    }
    Ok(Done { place, by, why, take, state })
}

/// A take from before a change of its valve tells nothing of the valve that is there now: that is said.
fn say_if_older(job: &JobWriter, reed: &ReedPlace, sounded: Timestamp, file: &Path) {
    if let Some(mark) = job.valve_changed(reed, sounded, Timestamp::now()) {
        let day = Recorded::At(sounded).day();
        output::say(&format!(
            "note: `{}` counts as recorded on {day}, before `{}` on {}; --recorded says otherwise",
            file.display(),
            mark.work,
            mark.day
        ));
    }
}

fn tell(file: &Path, done: &Done, as_json: bool) -> Result<(), Failure> {
    let Done { place, by, why, take, state: (state, words) } = done;
    if !as_json {
        return output::line(&format!("{}: {place}, since {why}; {words} {take}", file.display()));
    }
    output::json(&json!({
        "format": 1,
        "file": file.to_string_lossy(),
        "state": state,
        "place": place.to_string(),
        "take": (!take.is_empty()).then_some(take),
        "by": by.name(),
        "why": why,
        "error": null,
    }))
}

fn refuse(file: &Path, failure: &Failure, as_json: bool) -> Result<(), Failure> {
    print_error(failure.what(), failure.next());
    if !as_json {
        return Ok(());
    }
    output::json(&json!({
        "format": 1,
        "file": file.to_string_lossy(),
        "state": "refused",
        "place": null,
        "take": null,
        "by": null,
        "why": null,
        "error": failure.what(),
    }))
}

fn read_list(list: &Path, job: &JobWriter) -> Result<Vec<Wanted>, Failure> {
    let bytes = std::fs::read(list).map_err(|source| job::Error::Io {
        doing: "read",
        file: list.to_owned(),
        source,
    })?;
    let table = Table::parse(&bytes, list, &["file", "place"], &["sealed", "kind", "with", "recorded"])?;
    let beside = list.parent().unwrap_or(Path::new(""));
    let wanted = table.rows().map(|row| {
        let place = job.instrument().reed_place(row.get("place")).map_err(|error| {
            Failure::could_not(format!("`{}` line {}: {error}", list.display(), row.line), error.next())
        });
        let seal = SealPart::parse(row.get("sealed"), row.get("kind"));
        let (place, seal) = match seal {
            Ok(seal) => (place, seal),
            Err(odd) => {
                let what = format!("`{}` line {}: {odd}", list.display(), row.line);
                let next =
                    "write `open` or `sealed` under `sealed`, and `held`, `swell` or nothing under `kind`";
                (Err(Failure::could_not(what, next)), None)
            }
        };
        let (place, recorded) = match (place, row.get("recorded")) {
            (place, "") => (place, None),
            (place, text) => match Recorded::parse(text) {
                Ok(told) => (place, Some(told)),
                Err(_) => {
                    let what = format!("`{}` line {}: `{text}` is no day", list.display(), row.line);
                    let next = "write `2026-04-30` or `2026-04-30T18:05:00+02:00` under `recorded`";
                    (Err(Failure::could_not(what, next)), None)
                }
            },
        };
        Wanted {
            file: beside.join(row.get("file")),
            place: Some(place),
            seal,
            with: rows_of(row.get("with")),
            recorded,
        }
    });
    Ok(wanted.collect())
}

/// Rows as they are typed: `B`, `B+C`.
pub(super) fn rows_of(text: &str) -> Vec<String> {
    text.split(['+', ',', ' ']).filter(|row| !row.is_empty()).map(str::to_owned).collect()
}

fn find_block<'a>(job: &'a JobWriter, name: &str) -> Result<&'a Block, Failure> {
    let blocks = &job.instrument().blocks;
    blocks.iter().find(|block| block.name.to_lowercase() == name.to_lowercase()).ok_or_else(|| {
        let known: Vec<String> = blocks.iter().map(|block| format!("`{}`", block.name)).collect();
        Failure::bad_usage(format!("there is no block `{name}`"), format!("give one of {}", known.join(", ")))
    })
}

fn not_placed(file: &Path, why: &str) -> Failure {
    Failure::could_not(
        format!("`{}` is not placed: {why}", file.display()),
        "name it like `bass-A7-press.wav`, give its place in a list (--list), or say --stroke and --block",
    )
}

impl By {
    fn name(self) -> &'static str {
        match self {
            By::List => "list",
            By::Name => "name",
            By::Pitch => "pitch",
        }
    }
}
