//! One file a command.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::calibration::Calibration;
use crate::error::{Error, Result};

mod calibrate;
mod demo;
mod emulate;
mod history;
mod into_records;
mod live;
mod locate;
mod measure;
mod plan;
mod ports;
mod range;
mod record;
mod records;
mod report;
mod station;
mod survey;
mod verify;

/// How a command that worked came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Done.
    Done,
    /// Done, and a unit did not conform.
    NotConforming,
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Done => ExitCode::SUCCESS,
            Outcome::NotConforming => ExitCode::from(1),
        }
    }
}

#[derive(Parser)]
#[command(name = "coilrig", version, about, long_about = None, after_help = CAUTIONS)]
#[command(propagate_version = true, arg_required_else_help = true)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

/// Shown wherever someone decides something by what the program says.
pub const CAUTIONS: &str = "\
This rig is no certification: the maker's service, local rules and licensed practice come first.
457 kHz is a rescue frequency: never transmit tests near a rescue.";

#[derive(Subcommand)]
enum Command {
    Calibrate(calibrate::Calibrate),
    Demo(demo::Demo),
    Emulate(emulate::Emulate),
    History(history::History),
    Live(live::Live),
    Locate(locate::Locate),
    Measure(measure::Measure),
    Plan(plan::Plan),
    Ports(ports::Ports),
    Record(record::Record),
    Range(range::Range),
    Records(records::Arguments),
    Report(report::Report),
    Station(station::Arguments),
    Survey(survey::Arguments),
    Verify(verify::Verify),
}

/// The calibration at `path` for use today; a person is told of its age.
fn load_calibration(path: &Path) -> Result<Calibration> {
    Calibration::load_for_use(path, jiff::ZonedDateTime::now().date(), |concern| {
        eprintln!("coilrig: {concern}");
    })
}

/// The calibration at `path` for captures that were made before: its age is held
/// against the day of each, not against today.
fn load_for_captures(path: Option<&Path>) -> Result<Option<(PathBuf, Calibration)>> {
    path.map(|path| Ok((path.to_owned(), Calibration::load(path)?))).transpose()
}

/// Read the command line, run the command, say what happened.
pub fn run() -> ExitCode {
    let result: Result<Outcome> = match CommandLine::parse().command {
        Command::Calibrate(args) => calibrate::run(&args),
        Command::Demo(args) => demo::run(&args),
        Command::Emulate(args) => emulate::run(&args),
        Command::History(args) => history::run(&args),
        Command::Live(args) => live::run(args),
        Command::Locate(args) => locate::run(&args),
        Command::Measure(args) => measure::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Ports(args) => ports::run(&args),
        Command::Record(args) => record::run(args),
        Command::Range(args) => range::run(&args),
        Command::Records(args) => records::run(&args),
        Command::Report(args) => report::run(&args),
        Command::Station(args) => station::run(&args),
        Command::Survey(args) => survey::run(args),
        Command::Verify(args) => verify::run(&args),
    };
    result.map_or_else(report, ExitCode::from)
}

fn report(error: Error) -> ExitCode {
    eprintln!("coilrig: {error}");
    error.exit_code()
}
