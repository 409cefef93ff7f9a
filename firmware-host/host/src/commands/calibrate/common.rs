//! What all parts of a calibration are told.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use crate::calibrating::{About, Listened, Origin, Update};
use crate::calibration::Record;
use crate::error::{Error, Result};
use crate::output::calibration as output;

/// Options of every part.
#[derive(Args)]
pub struct Common {
    /// Calibration file: made when it is not there, added to when it is
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// A capture recorded before, one for each repeat or turn; may be repeated
    #[arg(long, value_name = "CAPTURE", num_args = 1.., conflicts_with = "port")]
    pub capture: Vec<PathBuf>,
    /// Serial number of the receiver, for captures that do not state it
    #[arg(long, value_name = "SERIAL", conflicts_with = "port")]
    pub receiver: Option<String>,
    /// Gain step of the receiver [default: as the captures state, 0 with --port]
    #[arg(long, value_name = "STEP")]
    pub gain: Option<u8>,
    /// Who calibrates
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Temperature of the receiver, °C
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    #[arg(value_parser = super::super::record::celsius)]
    pub temperature: Option<f64>,
    /// For how many days this part counts
    #[arg(long, value_name = "DAYS", default_value_t = crate::calibration::age::VALID_FOR_DAYS)]
    #[arg(value_parser = clap::value_parser!(u32).range(1..=36_500))]
    pub valid_for: u32,
    /// Print one JSON document in place of the table
    #[arg(long)]
    pub json: bool,
}

impl Common {
    /// The captures to calibrate from.
    pub fn captures(&self) -> Result<Vec<PathBuf>> {
        Ok(self.capture.clone())
    }

    /// What the command line says of the receiver.
    pub fn origin(&self) -> Origin {
        Origin { receiver: self.receiver.clone(), gain_step: self.gain, channels: None }
    }

    /// Who, when, how long.
    pub fn about(&self) -> About {
        About {
            day: jiff::ZonedDateTime::now().date(),
            valid_for_days: self.valid_for,
            by: self.by.clone(),
            temperature_c: self.temperature,
        }
    }

    /// A part that is finished: into the file, then told.
    pub fn finish(&self, mut update: Update, record: Record) -> Result<()> {
        update.add(record.clone())?;
        for warning in update.calibration.contradictions() {
            eprintln!("coilrig: {warning}");
        }
        let told =
            output::Told { file: &self.out, calibration: &update.calibration, record: &record };
        let text = if self.json { told.json()? } else { told.text() };
        std::io::stdout()
            .write_all(text.as_bytes())
            .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))
    }
}

/// Say what a person should know of the captures.
pub fn warn(listened: &[Listened]) {
    for warning in listened.iter().flat_map(|l| &l.warnings) {
        eprintln!("coilrig: {warning}");
    }
}

/// An error of all captures together.
pub fn refused(captures: &[PathBuf], what: impl ToString, remedy: &str) -> Error {
    let names: Vec<String> = captures.iter().map(|p| p.display().to_string()).collect();
    let place = match names.as_slice() {
        [first, _, _, .., last] => format!("{first} to {last}"),
        few => few.join(", "),
    };
    Error::file(place, what.to_string(), remedy)
}

pub fn above_zero(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number above zero in SI units, as 0.15".into()),
    }
}

pub fn zero_or_more(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value >= 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number, zero or more, in SI units, as 0.002".into()),
    }
}

pub fn any_number(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("give a number in SI units, as 0.5".into()),
    }
}
