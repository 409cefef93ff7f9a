//! `coilrig plan`: what a station will do to those who train on it.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::limits::RECEIVER_THRESHOLD;
use coilrig_analysis::plan;
use coilrig_analysis::units;

use super::{CAUTIONS, Outcome};
use crate::error::{Error, Result};
use crate::output::plan as output;
use crate::station_file;

/// Which units of a station mask each other, how often and how long
///
/// Pulses of two units that send at once hide each other. Units of nearly equal period
/// stay on top of each other for minutes, and a trainee then meets one where there are
/// two. From the planned period and on time of every unit: how often each pair sends at
/// once, the longest time for which they stay together, when they do again, and which
/// two units had better change places.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Plan {
    /// Station file (TOML): captures/station.toml shows every part of one
    #[arg(value_name = "STATION")]
    station: PathBuf,
    /// Field from which on a unit is taken for heard, such as 80nA/m or -22dBuA/m
    /// [default: 80nA/m]
    #[arg(long, value_name = "FIELD", value_parser = units::parse_field, allow_hyphen_values = true)]
    threshold: Option<f64>,
    /// Print one JSON document in place of the tables
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Example:
  coilrig plan captures/station.toml";

/// Run the command.
pub fn run(args: &Plan) -> Result<Outcome> {
    let station = station_file::load(&args.station)?;
    let threshold = args.threshold.unwrap_or(RECEIVER_THRESHOLD.field_a_per_m);
    if !(threshold > 0.0 && threshold.is_finite()) {
        let what = format!("--threshold {threshold} A/m is no field");
        return Err(Error::usage(what, "give a field over zero, such as 80nA/m"));
    }
    let masking = plan::masking(&station, threshold);
    let text = match args.json {
        true => output::json(&station, &masking)?,
        false => output::for_people(&station, &masking),
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    eprintln!("{CAUTIONS}");
    Ok(Outcome::Done)
}
