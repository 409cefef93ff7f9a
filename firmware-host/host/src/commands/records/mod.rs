//! `coilrig records`: the records of a park or club.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use super::{Outcome, into_records};
use crate::error::{Error, Result};
use crate::records::Records;

mod care;
mod correct;
mod enter;
mod look;

/// The records of a park or club: units, what was measured of them, what was decided
///
/// One SQLite file. What is entered is never changed or deleted: a correction is a new
/// entry that takes the place of the old one, which can still be looked up. Commands
/// that measure enter by themselves where --unit names one.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    #[command(subcommand)]
    what: What,
}

const EXAMPLE: &str = "\
Example:
  coilrig records new
  coilrig records station meadow.toml
  coilrig records event creek battery --detail \"two new ones\" --by anna
  coilrig measure --unit creek monday
  coilrig records list";

#[derive(Debug, Subcommand)]
enum What {
    New(enter::New),
    Unit(enter::Unit),
    Station(enter::Station),
    Calibration(enter::Calibration),
    Event(enter::Event),
    Decide(enter::Decide),
    Correct(correct::Correct),
    Withdraw(correct::Withdraw),
    List(look::List),
    Show(look::Show),
    Check(care::Check),
    Salvage(care::Salvage),
}

/// Run the command.
pub fn run(args: &Arguments) -> Result<Outcome> {
    match &args.what {
        What::New(args) => enter::new(args),
        What::Unit(args) => enter::unit(args),
        What::Station(args) => enter::station(args),
        What::Calibration(args) => enter::calibration(args),
        What::Event(args) => enter::event(args),
        What::Decide(args) => enter::decide(args),
        What::Correct(args) => correct::correct(args),
        What::Withdraw(args) => correct::withdraw(args),
        What::List(args) => look::list(args),
        What::Show(args) => look::show(args),
        What::Check(args) => care::check(args),
        What::Salvage(args) => care::salvage(args),
    }?;
    Ok(Outcome::Done)
}

/// The records meant.
#[derive(Debug, Args)]
struct Which {
    /// The records [default: $COILRIG_RECORDS, or records.sqlite in this folder]
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
}

/// The records meant, and who enters into them.
#[derive(Debug, Args)]
struct Writing {
    #[command(flatten)]
    which: Which,
    /// Who enters this [default: the user of this computer]
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Anything else to know
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

impl Which {
    fn path(&self) -> PathBuf {
        into_records::path(self.records.as_deref()).unwrap_or(into_records::USUAL.into())
    }

    fn open_to_read(&self) -> Result<Records> {
        Records::open_to_read(&self.path())
    }
}

impl Writing {
    fn open(&self) -> Result<(Records, String)> {
        let by = into_records::by(self.by.as_deref())?;
        Ok((Records::open(&self.which.path())?, by))
    }
}

/// Results on standard output.
fn print(text: &str) -> Result<()> {
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))
}

fn say(what: &str) {
    eprintln!("coilrig: {what}");
}
