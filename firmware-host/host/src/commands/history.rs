//! `coilrig history`: what the records say of units over the years.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::{CAUTIONS, Outcome, into_records};
use crate::error::{Error, Result};
use crate::following::{self, DAY_S, Question, YEAR_S, seconds};
use crate::limits_file;
use crate::output::history as output;
use crate::records::Records;

/// What the records say of units over the years: drifts, steps, what is due
///
/// A straight line with steps is laid through the visits of each unit: what was done to
/// it (batteries, moves, service) may step it, and steps that nothing explains are told.
/// What visits differ by beyond their uncertainties is counted in, so that a drift is one
/// only beyond chance; where it leads out of the limits, when, as an interval. What
/// wants looking at comes first.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct History {
    #[command(flatten)]
    which: Which,
    /// Draw a chart of each quantity into this folder, with its visits as CSV
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Print one JSON document
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// Print CSV, one row a quantity
    #[arg(long)]
    csv: bool,
}

const EXAMPLE: &str = "\
Example:
  coilrig history
  coilrig history --unit creek --out creek
  coilrig history --station \"Larch meadow\" --as-of 2026-04-01";

/// Which units are meant, and how they are looked at: for history and report.
#[derive(Debug, Args)]
pub(super) struct Which {
    /// The records [default: $COILRIG_RECORDS, or records.sqlite in this folder]
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// This unit alone
    #[arg(long, value_name = "NAME", conflicts_with = "station")]
    pub unit: Option<String>,
    /// The units of this station alone
    #[arg(long, value_name = "NAME")]
    pub station: Option<String>,
    /// Seen from then, without what came later [default: now]
    #[arg(long, value_name = "DAY|TIME", value_parser = into_records::when)]
    as_of: Option<Timestamp>,
    /// Limits: en-300-718-1, erc-70-03, ets-300-718, en-282, or a TOML file of your own
    /// [default: en-300-718-1]
    #[arg(long, value_name = "NAME|FILE")]
    limits: Option<String>,
    /// How far to look ahead, in years; never further than three times the time seen
    #[arg(long, value_name = "YEARS", default_value_t = 10.0)]
    horizon: f64,
    /// After how many days a unit is to be verified again (common practice)
    #[arg(long, value_name = "DAYS", default_value_t = 365.0)]
    verify_every: f64,
    /// After how many days batteries are to be changed (common practice)
    #[arg(long, value_name = "DAYS", default_value_t = 180.0)]
    battery_every: f64,
}

impl Which {
    /// The records.
    pub(super) fn open(&self) -> Result<Records> {
        let path = into_records::path(self.records.as_deref());
        Records::open_to_read(&path.unwrap_or(into_records::USUAL.into()))
    }

    /// What is asked, as of `latest` or earlier.
    pub(super) fn question(&self, latest: Option<Timestamp>) -> Result<Question<'_>> {
        for (option, value) in [
            ("--horizon", self.horizon),
            ("--verify-every", self.verify_every),
            ("--battery-every", self.battery_every),
        ] {
            if !(value > 0.0 && value <= 36_525.0) {
                let what = format!("{option} {value} is no time over zero and up to a century");
                return Err(Error::usage(what, "give a number over zero"));
            }
        }
        let as_of = self.as_of.or(latest).unwrap_or_else(Timestamp::now);
        Ok(Question {
            unit: self.unit.as_deref(),
            station: self.station.as_deref(),
            as_of: latest.map_or(as_of, |latest| latest.min(as_of)),
            limits: limits_file::find(self.limits.as_deref(), None)?,
            horizon_s: self.horizon.min(100.0) * YEAR_S,
            verify_every_s: self.verify_every * DAY_S,
            battery_every_s: self.battery_every * DAY_S,
        })
    }
}

/// Run the command.
pub fn run(args: &History) -> Result<Outcome> {
    let question = args.which.question(None)?;
    let records = args.which.open()?;
    let histories = following::load(&records, &question)?;
    let now_s = seconds(question.as_of);
    let path = records.path().display().to_string();
    let text = if args.json {
        output::document::json(&histories, &question, &path)?
    } else if args.csv {
        output::csv::csv(&histories, now_s)?
    } else {
        output::text::text(&histories, &question, &path)
    };
    if let Some(folder) = &args.out {
        let count = output::pictures::write(folder, &histories, &question.limits, now_s)?;
        let what = crate::measuring::counted(count as u64, "chart");
        eprintln!("coilrig: wrote {what} to {}", folder.display());
    }
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    eprintln!("{CAUTIONS}");
    Ok(Outcome::Done)
}
