//! The calibration file of a receiver: what a count means in A/m, and what its
//! clock is worth.
//!
//! ```toml
//! format = "coilrig-calibration/1"
//! receiver = "CR-0001"              # serial number
//! date = "2026-01-15"
//! method = "reference loop of 0.25 m at 1 m"
//! clock_offset_ppm = -3.2           # positive: the clock runs fast
//! clock_offset_u_ppm = 0.1
//! axes = [[1.0, 0.01, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]   # optional
//!
//! [[gain_step]]                     # one for each gain step that was calibrated
//! step = 0
//! field_per_count = [2.1e-9, 2.0e-9, 2.2e-9]   # A/m RMS, one per channel
//! u_rel = [0.03, 0.03, 0.03]                   # relative standard uncertainty
//! ```

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::{files, toml_file};

/// Format of the file.
pub const FORMAT: &str = "coilrig-calibration/1";

/// The calibration of one receiver.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Unchecked")]
pub struct Calibration {
    format: String,
    /// Serial number of the receiver.
    pub receiver: String,
    /// Day of the calibration, ISO 8601.
    pub date: String,
    /// How it was done.
    pub method: String,
    /// Error of the receiver's clock, positive when it runs fast.
    pub clock_offset_ppm: f64,
    /// Standard uncertainty of `clock_offset_ppm`.
    pub clock_offset_u_ppm: f64,
    /// Row-major matrix from channel fields to orthogonal field components;
    /// identity when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axes: Option<[[f64; 3]; 3]>,
    /// One entry for each calibrated gain step.
    #[serde(rename = "gain_step")]
    pub gain_steps: Vec<GainStep>,
}

/// The scale of one gain step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "UncheckedStep")]
pub struct GainStep {
    /// Number of the step, from 0.
    pub step: u8,
    /// RMS field in A/m per count of complex magnitude, one per channel (1 or 3).
    pub field_per_count: Vec<f64>,
    /// Relative standard uncertainty of each `field_per_count`.
    pub u_rel: Vec<f64>,
}

impl Calibration {
    /// A calibration of the receiver with this serial number, with an ideal
    /// clock and no gain step yet.
    pub fn new(receiver: &str, date: &str, method: &str) -> Self {
        Self {
            format: FORMAT.into(),
            receiver: receiver.into(),
            date: date.into(),
            method: method.into(),
            clock_offset_ppm: 0.0,
            clock_offset_u_ppm: 0.0,
            axes: None,
            gain_steps: Vec::new(),
        }
    }

    /// Read a calibration file.
    pub fn load(path: &Path) -> Result<Self> {
        toml_file::load(path, "mend the line, or calibrate the receiver anew")
    }

    /// Write the calibration file in one step.
    pub fn save(&self, path: &Path) -> Result<()> {
        let text = toml::to_string(self).map_err(|e| {
            Error::file(path.display(), format!("cannot be written: {e}"), "check its numbers")
        })?;
        files::write_whole(path, text.as_bytes())
    }

    /// The scale of a gain step, when it was calibrated.
    pub fn gain_step(&self, step: u8) -> Option<&GainStep> {
        self.gain_steps.iter().find(|entry| entry.step == step)
    }
}

/// [`Calibration`] as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Unchecked {
    #[serde(deserialize_with = "known_format")]
    format: String,
    receiver: String,
    date: String,
    method: String,
    clock_offset_ppm: f64,
    #[serde(deserialize_with = "not_negative")]
    clock_offset_u_ppm: f64,
    axes: Option<[[f64; 3]; 3]>,
    gain_step: Vec<GainStep>,
}

impl TryFrom<Unchecked> for Calibration {
    type Error = String;

    fn try_from(file: Unchecked) -> std::result::Result<Self, String> {
        let Some(first) = file.gain_step.first() else {
            return Err("holds no [[gain_step]]".into());
        };
        let channels = first.field_per_count.len();
        for (place, entry) in file.gain_step.iter().enumerate() {
            if entry.field_per_count.len() != channels {
                return Err(format!(
                    "gain step {} has another number of channels than step {}",
                    entry.step, first.step
                ));
            }
            if file.gain_step[..place].iter().any(|earlier| earlier.step == entry.step) {
                return Err(format!("gain step {} stands there twice", entry.step));
            }
        }
        if file.axes.is_some() && channels != 3 {
            return Err("axes are for a receiver of three channels".into());
        }
        // What is written into a capture must be what can be measured with.
        for step in &file.gain_step {
            coilrig_analysis::signal::Calibration {
                field_per_count: Some(step.field_per_count.clone()),
                field_per_count_u_rel: Some(step.u_rel.clone()),
                clock_offset_ppm: Some(file.clock_offset_ppm),
                clock_offset_u_ppm: Some(file.clock_offset_u_ppm),
                axes: file.axes,
            }
            .check(channels)
            .map_err(|e| format!("gain step {} {e}", step.step))?;
        }
        Ok(Self {
            format: file.format,
            receiver: file.receiver,
            date: file.date,
            method: file.method,
            clock_offset_ppm: file.clock_offset_ppm,
            clock_offset_u_ppm: file.clock_offset_u_ppm,
            axes: file.axes,
            gain_steps: file.gain_step,
        })
    }
}

/// [`GainStep`] as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedStep {
    step: u8,
    #[serde(deserialize_with = "scales")]
    field_per_count: Vec<f64>,
    #[serde(deserialize_with = "relative_uncertainties")]
    u_rel: Vec<f64>,
}

impl TryFrom<UncheckedStep> for GainStep {
    type Error = String;

    fn try_from(entry: UncheckedStep) -> std::result::Result<Self, String> {
        let UncheckedStep { step, field_per_count, u_rel } = entry;
        if u_rel.len() != field_per_count.len() {
            return Err(format!("gain step {step}: u_rel is not as long as field_per_count"));
        }
        Ok(Self { step, field_per_count, u_rel })
    }
}

fn known_format<'de, D: serde::Deserializer<'de>>(
    deserializer: D,
) -> std::result::Result<String, D::Error> {
    let format = String::deserialize(deserializer)?;
    if format == FORMAT {
        Ok(format)
    } else {
        Err(serde::de::Error::custom(format!("format is \"{format}\", not \"{FORMAT}\"")))
    }
}

fn not_negative<'de, D: serde::Deserializer<'de>>(
    deserializer: D,
) -> std::result::Result<f64, D::Error> {
    let value = f64::deserialize(deserializer)?;
    if is_uncertainty(value) {
        Ok(value)
    } else {
        Err(serde::de::Error::custom("an uncertainty must not be negative"))
    }
}

fn scales<'de, D: serde::Deserializer<'de>>(
    deserializer: D,
) -> std::result::Result<Vec<f64>, D::Error> {
    let scales = Vec::<f64>::deserialize(deserializer)?;
    if !matches!(scales.len(), 1 | 3) {
        return Err(serde::de::Error::custom("one number per channel is wanted, 1 or 3"));
    }
    if !scales.iter().all(|&scale| scale.is_finite() && scale > 0.0) {
        return Err(serde::de::Error::custom("field_per_count must be above zero"));
    }
    Ok(scales)
}

fn relative_uncertainties<'de, D: serde::Deserializer<'de>>(
    deserializer: D,
) -> std::result::Result<Vec<f64>, D::Error> {
    let uncertainties = Vec::<f64>::deserialize(deserializer)?;
    if uncertainties.iter().all(|&u| is_uncertainty(u)) {
        Ok(uncertainties)
    } else {
        Err(serde::de::Error::custom("an uncertainty must not be negative"))
    }
}

fn is_uncertainty(u: f64) -> bool {
    u.is_finite() && u >= 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = r#"
format = "coilrig-calibration/1"
receiver = "CR-0001"
date = "2026-01-15"
method = "reference loop"
clock_offset_ppm = -3.2
clock_offset_u_ppm = 0.1

[[gain_step]]
step = 0
field_per_count = [2.1e-9, 2.0e-9, 2.2e-9]
u_rel = [0.03, 0.03, 0.03]

[[gain_step]]
step = 2
field_per_count = [2.1e-10, 2.0e-10, 2.2e-10]
u_rel = [0.04, 0.03, 0.03]
"#;

    fn load(text: &str) -> Result<Calibration> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("c.toml");
        std::fs::write(&path, text).unwrap();
        Calibration::load(&path)
    }

    #[test]
    fn what_is_saved_is_loaded() {
        let mut calibration = load(FILE).unwrap();
        calibration.axes = Some([[1.0, 0.01, 0.0], [-0.02, 0.99, 0.0], [0.0, 0.0, 1.0]]);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("c.toml");
        calibration.save(&path).unwrap();
        assert_eq!(Calibration::load(&path).unwrap(), calibration);
        assert_eq!(calibration.gain_step(2).unwrap().u_rel, [0.04, 0.03, 0.03]);
        assert_eq!(calibration.gain_step(1), None);
    }

    #[test]
    fn an_error_names_the_line_and_the_matter() {
        for (from, to, line, matter) in [
            ("calibration/1", "calibration/9", 2, "coilrig-calibration/9"),
            ("receiver =", "reciever =", 3, "reciever"),
            ("clock_offset_u_ppm = 0.1", "clock_offset_u_ppm = -0.1", 7, "negative"),
            ("[0.04, 0.03, 0.03]", "[0.04, -0.03, 0.03]", 17, "negative"),
            ("[0.04, 0.03, 0.03]", "[0.04, 0.03]", 9, "gain step 2: u_rel"),
            ("[2.1e-9, 2.0e-9, 2.2e-9]", "[2.1e-9, 0.0, 2.2e-9]", 11, "above zero"),
            ("[2.1e-9, 2.0e-9, 2.2e-9]", "[2.1e-9, 2.0e-9]", 11, "per channel"),
            ("step = 2", "step = 300", 15, "300"),
            ("step = 2", "step = ", 15, ""),
        ] {
            let error = load(&FILE.replace(from, to)).unwrap_err().to_string();
            assert!(error.contains(&format!("c.toml, line {line}:")), "{to}: {error}");
            assert!(error.contains(matter), "{to}: {error}");
        }
    }

    #[test]
    fn what_does_not_hang_together_is_refused() {
        for (from, to, matter) in [
            ("step = 2", "step = 0", "twice"),
            (
                "[2.1e-10, 2.0e-10, 2.2e-10]\nu_rel = [0.04, 0.03, 0.03]",
                "[2.1e-10]\nu_rel = [0.04]",
                "channels",
            ),
        ] {
            let error = load(&FILE.replace(from, to)).unwrap_err().to_string();
            assert!(error.contains(matter), "{to}: {error}");
        }
    }
}
