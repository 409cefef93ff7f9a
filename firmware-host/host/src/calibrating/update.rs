//! A measurement into a calibration file, in one step.

use std::path::{Path, PathBuf};

use jiff::civil::Date;

use super::captures::Origin;
use crate::calibration::records::Made;
use crate::calibration::{Calibration, Record, age};
use crate::error::{Error, Result};

/// Who measures, when, and for how long it counts.
#[derive(Clone, Debug)]
pub struct About {
    /// Today.
    pub day: Date,
    /// Days that it counts.
    pub valid_for_days: u32,
    /// Who.
    pub by: Option<String>,
    /// Temperature of the receiver.
    pub temperature_c: Option<f64>,
}

impl About {
    /// As it stands in a record.
    pub fn made(&self) -> Made {
        Made {
            date: self.day.to_string(),
            expires: age::after(self.day, self.valid_for_days).to_string(),
            by: self.by.clone(),
            temperature_c: self.temperature_c,
        }
    }
}

/// A calibration file that is being added to.
#[derive(Clone, Debug)]
pub struct Update {
    path: PathBuf,
    /// As it stands.
    pub calibration: Calibration,
    channels: usize,
    /// Gain step of the captures.
    pub gain_step: u8,
}

impl Update {
    /// The file at `path`, or a new one, for the receiver that the captures are of.
    ///
    /// # Errors
    ///
    /// A file that is none, of another receiver or with another number of channels;
    /// or captures of which nobody said what receiver and gain step they are of.
    pub fn open(path: &Path, origin: &Origin) -> Result<Self> {
        let unknown = |what: &str, option: &str| {
            Error::usage(
                format!("the captures do not state their {what}"),
                format!("give {option}, or record with this version of coilrig"),
            )
        };
        let receiver =
            origin.receiver.as_ref().ok_or_else(|| unknown("receiver", "--receiver SERIAL"))?;
        let gain_step = origin.gain_step.ok_or_else(|| unknown("gain step", "--gain STEP"))?;
        let channels = origin.channels.unwrap_or(3);
        let calibration = match path.exists() {
            true => Calibration::load(path)?,
            false => Calibration::new(receiver, "", ""),
        };
        let refuse = |what: String| {
            let remedy = "give another --out, or the captures of that receiver";
            Err(Error::file(path.display(), what, remedy))
        };
        if calibration.receiver != *receiver {
            return refuse(format!(
                "is of receiver {}, the captures are of {receiver}",
                calibration.receiver
            ));
        }
        let of_scale = calibration.gain_steps.first().map(|s| s.field_per_count.len());
        if let Some(has) = calibration.channels.or(of_scale).filter(|has| *has != channels) {
            return refuse(format!("is for {has} channels, the captures have {channels}"));
        }
        Ok(Self { path: path.to_owned(), calibration, channels, gain_step })
    }

    /// Add a measurement and write the file whole.
    ///
    /// # Errors
    ///
    /// A file that cannot be written.
    pub fn add(&mut self, record: Record) -> Result<()> {
        self.calibration.add(record, self.channels);
        self.calibration.save(&self.path)
    }
}
