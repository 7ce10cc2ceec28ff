//! The front door: arguments as typed, a file per verb; the only room that names clap.
//!
//! A verb is a file with its `Arguments` (derived) and `run(arguments) -> Result<Ended, Failure>`; results go to
//! stdout through `output`, words about them to stderr. With `--json` the results are one object a line.

mod add;
mod bench;
mod calibrate;
mod chart;
mod clock;
mod demo;
mod devices;
mod failure;
mod findings;
mod listen;
mod mark;
mod new;
mod next;
mod number;
mod output;
mod package_files;
mod pass;
mod pass_arguments;
mod passes;
mod places;
mod plain_text;
mod plan;
mod read;
mod read_table;
mod record;
mod recorded;
mod report;
mod seal;
mod sealing_words;
mod standing_lines;
mod status;
mod sweep;
mod take;
#[cfg(feature = "mic")]
mod terminal;
mod tune;
mod valves;
mod verify;
mod visit;
mod which_passes;
mod worklist;

use std::io::IsTerminal;
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

use failure::{Ended, Failure};

#[derive(Parser)]
#[command(name = "platenote", version, about, arg_required_else_help = true)]
struct Arguments {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Subcommand)]
enum Verb {
    Demo(demo::Arguments),
    New(new::Arguments),
    Add(add::Arguments),
    Read(read::Arguments),
    Record(record::Arguments),
    Sweep(sweep::Arguments),
    Tune(tune::Arguments),
    Findings(findings::Arguments),
    Chart(chart::Arguments),
    Report(report::Arguments),
    Devices(devices::Arguments),
    Calibrate(calibrate::Arguments),
    Listen(listen::Arguments),
    Seal(seal::Arguments),
    Valves(valves::Arguments),
    Mark(mark::Arguments),
    Take(take::Arguments),
    Pass(passes::Arguments),
    Plan(plan::Arguments),
    Status(status::Arguments),
    Worklist(worklist::Arguments),
    Next(next::Arguments),
    Visit(visit::Arguments),
    Bench(bench::Arguments),
    Verify(verify::Arguments),
    PackageFiles(package_files::Arguments),
}

/// Parse, run, print the error, and say how it ended.
///
/// Without any argument the help is printed; without a terminal to print it on, as an icon starts programs, the bench page
/// is opened on the jobs that were opened last.
pub fn run() -> ExitCode {
    // How notes are written is the person's, for all jobs.
    choose_note_names();
    if is_started_by_icon() {
        return bench::run_from_icon().unwrap_or_else(|failure| failure.print()).into();
    }
    let ended = obey(Arguments::parse().verb).unwrap_or_else(|failure| failure.print());
    ended.into()
}

fn choose_note_names() {
    if let Some(names) = crate::job::Workshop::of_person().0.note_names {
        names.choose();
    }
}

fn is_started_by_icon() -> bool {
    let has_terminal =
        std::io::stdin().is_terminal() || std::io::stdout().is_terminal() || std::io::stderr().is_terminal();
    std::env::args_os().len() <= 1 && !has_terminal && !is_read_by_a_program()
}

/// Whether the output goes into a pipe: then a script waits for it, and a page that is served without end would hold it up.
fn is_read_by_a_program() -> bool {
    #[cfg(target_os = "linux")]
    {
        use std::os::unix::fs::FileTypeExt;
        let is_pipe = |file| std::fs::metadata(file).is_ok_and(|facts| facts.file_type().is_fifo());
        is_pipe("/proc/self/fd/1") || is_pipe("/proc/self/fd/2")
    }
    #[cfg(not(target_os = "linux"))]
    false
}

fn obey(verb: Verb) -> Result<Ended, Failure> {
    match verb {
        Verb::Demo(arguments) => demo::run(arguments),
        Verb::New(arguments) => new::run(arguments),
        Verb::Add(arguments) => add::run(arguments),
        Verb::Read(arguments) => read::run(arguments),
        Verb::Record(arguments) => record::run(arguments),
        Verb::Sweep(arguments) => sweep::run(arguments),
        Verb::Tune(arguments) => tune::run(arguments),
        Verb::Findings(arguments) => findings::run(arguments),
        Verb::Chart(arguments) => chart::run(arguments),
        Verb::Report(arguments) => report::run(arguments),
        Verb::Devices(arguments) => devices::run(arguments),
        Verb::Calibrate(arguments) => calibrate::run(arguments),
        Verb::Listen(arguments) => listen::run(arguments),
        Verb::Seal(arguments) => seal::run(arguments),
        Verb::Valves(arguments) => valves::run(arguments),
        Verb::Mark(arguments) => mark::run(arguments),
        Verb::Take(arguments) => take::run(arguments),
        Verb::Pass(arguments) => passes::run(arguments),
        Verb::Plan(arguments) => plan::run(arguments),
        Verb::Status(arguments) => status::run(arguments),
        Verb::Worklist(arguments) => worklist::run(arguments),
        Verb::Next(arguments) => next::run(arguments),
        Verb::Visit(arguments) => visit::run(arguments),
        Verb::Bench(arguments) => bench::run(arguments),
        Verb::Verify(arguments) => verify::run(arguments),
        Verb::PackageFiles(arguments) => package_files::run(arguments, Arguments::command()),
    }
}
