//! The loop in front of a terminal: sound in, what it means out, keys back.

use super::Arguments;
use super::front::Front;
use super::keys::Key;
use super::lines::Lines;
use super::screen::Screen;
use crate::audio::Microphone;
use crate::cli::failure::{Ended, Failure};
use crate::cli::terminal::choose;
use crate::cli::{output, pass, places};
use crate::evaluation::{self, Detail, PassChoice};
use crate::instrument::Spot;
use crate::job::recent;
use crate::job::{Job, JobWriter, PassChange};
use crate::repair::{Filing, Part, Work, summed_work};
use crate::report::caution_for;
use crate::session::{self, TuneReed, TuneSaid, TuneSetting, Tuning};
use crate::tuning::{Hand, bench_target};
use crate::units::Cents;

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let hand = hand(&arguments)?;
    if let Some(tolerance) = arguments.tolerance.filter(|cents| !session::TOLERANCES_CENTS.contains(cents)) {
        let what = format!("a tolerance of {tolerance} cents is out of range");
        return Err(Failure::bad_usage(what, "give 0.2 to 50 cents"));
    }
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    let reeds = reeds(&arguments, &job)?;
    let (own, gains) = (evaluation::goes(&job), evaluation::gains(&job));
    let elsewhere = evaluation::goes_elsewhere(&job, &hand);
    if !elsewhere.is_empty() {
        let goes = match elsewhere.len() {
            1 => "1 go".to_owned(),
            n => format!("{n} goes"),
        };
        output::say(&format!("counted in from other jobs: {goes} of {}", hand.by));
    }
    recent::remember(job.folder());
    let goes: Vec<_> = elsewhere.into_iter().chain(own).collect();
    // The input first: where none can be opened, no pass is opened either.
    let mut microphone = Microphone::open(arguments.device.as_deref())?;
    let input = microphone.input().clone();
    let keep = match &arguments.keep {
        Some(name) => Some(job.open_pass(name, &PassChange::default())?.pass),
        None => None,
    };
    output::say(&format!(
        "listening to `{}`, {} Hz, {} channels; be quiet for a moment",
        input.name, input.rate_hz, input.channels
    ));
    let (clock, clock_words) = session::clock_of_input(&input);
    output::say(&clock_words);
    if let Some(caution) = caution_for(&Work::Filed(Filing::at(Part::Tip))) {
        output::say(&format!("caution: {caution}"));
    }
    let title = match job.title() {
        "" => "tuning".to_owned(),
        title => format!("{title}, tuning"),
    };
    let mut front = choose(
        arguments.lines || arguments.json,
        || -> std::io::Result<Box<dyn Front>> { Ok(Box::new(Screen::open(&title)?)) },
        || Box::new(Lines::new(arguments.json)),
    );
    let setting = TuneSetting { rate_hz: input.rate_hz, channels: input.channels, clock, hand, keep };
    let mut tuning = Tuning::new(&mut job, setting, reeds, goes, gains);
    let played = play(&mut tuning, &mut microphone, front.as_mut());
    // Whatever happened, the terminal first.
    front.close()?;
    played?;
    sum_up(&tuning);
    Ok(Ended::Done)
}

fn hand(arguments: &Arguments) -> Result<Hand, Failure> {
    let plain = |name: &str| {
        let name = name.to_lowercase();
        if name.is_empty() || crate::repair::is_bin_name(&name) {
            return Ok(name);
        }
        let next = "use up to 20 letters, digits, `_` and `-`";
        Err(Failure::bad_usage(format!("`{name}` is no plain name"), next))
    };
    Ok(Hand { by: plain(&arguments.by)?, tool: plain(&arguments.tool)? })
}

/// The reeds to be tuned, both of a plate one after the other.
fn reeds(arguments: &Arguments, job: &Job) -> Result<Vec<TuneReed>, Failure> {
    let instrument = job.instrument();
    // `"A7 press"` is typed as one word or as two.
    let words: Vec<String> =
        arguments.places.iter().flat_map(|text| text.split_whitespace()).map(str::to_owned).collect();
    let (spots, rest) = places::split(instrument, &words)?;
    if let Some(word) = rest.first() {
        return Err(Failure::bad_usage(
            format!("`{word}` is no place"),
            "write reeds or plates: `A7 press`, `A1..A12`",
        ));
    }
    let offsets = match arguments.offsets.as_deref() {
        Some([bench, home]) => {
            let two = PassChoice::of_two(&job.pass(bench)?.pass, &job.pass(home)?.pass);
            let told = pass::evaluate(job, &two, Detail::Findings)?;
            let Some(bench) = told.earlier.as_ref().map(|view| &view.readings) else {
                return Err(Failure::bad_usage("bench and instrument are one pass", "name two passes"));
            };
            let home = &told.later.readings;
            let mut worked = evaluation::worked_between(job, &bench.name, &home.name);
            worked.touched.extend(evaluation::worked_between(job, &home.name, &bench.name).touched);
            let offsets = evaluation::bench_offsets(instrument, bench, home, &worked);
            output::say(&format!("bench against instrument is known of {} reeds", offsets.len()));
            Some(offsets)
        }
        _ => None,
    };
    let places = session::reeds_at(instrument, spots).map_err(|valve| {
        let what = format!("`{valve}` is a valve, and reeds are tuned");
        Failure::bad_usage(what, "write `A7 press`, or `A7` for both reeds")
    })?;
    let tolerance = arguments.tolerance.and_then(Cents::new);
    let mut reeds: Vec<TuneReed> = Vec::new();
    for place in places {
        let offset = offsets.as_ref().map(|offsets| {
            let offset = offsets.get(&place).copied().map(bench_target);
            offset.ok_or_else(|| {
                Failure::could_not(
                    format!("the two passes do not tell how {place} stands on the bench"),
                    "four reeds of its rank and stroke must be in both; or leave `--offsets` out",
                )
            })
        });
        reeds.extend(session::tune_reed(instrument, &place, tolerance, offset.transpose()?));
    }
    if reeds.is_empty() {
        return Err(Failure::bad_usage("no reed is named", "write reeds or plates: `A7 press`, `A1..A12`"));
    }
    Ok(reeds)
}

fn play(tuning: &mut Tuning, microphone: &mut Microphone, front: &mut dyn Front) -> Result<(), Failure> {
    let mut sound: Vec<f32> = Vec::new();
    loop {
        sound.clear();
        for incident in microphone.hear(&mut sound)? {
            front.word(&format!("warning: {incident}"));
        }
        for said in tuning.hear(&sound)? {
            front.happened(&said)?;
        }
        for key in front.keys() {
            if key == Key::Stop {
                return Ok(());
            }
            obey(tuning, front, key)?;
        }
        front.look(&tuning.look())?;
        if tuning.is_done() {
            return Ok(());
        }
    }
}

fn obey(tuning: &mut Tuning, front: &mut dyn Front, key: Key) -> Result<(), Failure> {
    let said = match key {
        Key::Filed(part, strokes) => tuning.filed(part, strokes)?,
        Key::Strokes(strokes) => tuning.correct(None, strokes)?,
        Key::Undo => tuning.undo()?,
        Key::Skip => {
            tuning.skip();
            return Ok(());
        }
        Key::Back => {
            tuning.back();
            return Ok(());
        }
        Key::Note(text) => {
            let spots: Vec<Spot> =
                tuning.look().due.map(|due| Spot::Reed(due.place.clone())).into_iter().collect();
            let n = tuning.job().mark(&spots, &Work::Note(text))?;
            TuneSaid::Word(format!("note {n} is written"))
        }
        Key::Unknown(text) => TuneSaid::Word(format!(
            "`{text}` is none of: tip N, root N, N, undo, skip, back, note TEXT, stop"
        )),
        Key::Stop => return Ok(()),
    };
    front.happened(&said)
}

fn sum_up(tuning: &Tuning) {
    for reed in tuning.reeds().iter().filter(|reed| !reed.history().is_empty()) {
        let plays: Vec<String> =
            reed.history().iter().map(|(off, _)| output::signed(off.value.get(), 1)).collect();
        let work: Vec<Work> = reed.filings().cloned().map(Work::Filed).collect();
        let work = match work.as_slice() {
            [] => "not filed".to_owned(),
            work => summed_work(work).join("; "),
        };
        output::say(&format!("{}: {} cents; {work}", reed.place, plays.join(", ")));
    }
    let gain = tuning.gain();
    if gain.reeds > 0 {
        output::say(&format!(
            "a touched reed gained {} ± {:.1} cents while it settled ({} reeds)",
            output::signed(gain.expected.value.get(), 1),
            gain.expected.uncertainty.get(),
            gain.reeds
        ));
    }
}
