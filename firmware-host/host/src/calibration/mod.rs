//! The calibration file of a receiver: what a count means in A/m, and what its
//! clock is worth.
//!
//! ```toml
//! format = "coilrig-calibration/1"
//! receiver = "CR-0001"              # serial number
//! date = "2026-01-15"
//! method = "reference loop of 0.25 m at 1 m"
//! clock_offset_ppm = -3.2           # optional; positive: the clock runs fast
//! clock_offset_u_ppm = 0.1
//! axes = [[1.0, 0.01, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]   # optional
//! expires = "2027-01-15"            # optional; a year after the date when absent
//!
//! [[gain_step]]                     # one for each gain step that was calibrated
//! step = 0
//! field_per_count = [2.1e-9, 2.0e-9, 2.2e-9]   # A/m RMS, one per channel
//! u_rel = [0.03, 0.03, 0.03]                   # relative standard uncertainty
//! u_common_rel = 0.02               # optional; part of u_rel that all channels share,
//!                                   # all of it when absent
//! degrees_of_freedom = [12.0, 15.0, inf]       # optional, as all below
//! noise_a_per_m_rthz = [1.2e-9, 1.4e-9, 1.8e-9]
//! smallest_field_a_per_m = 4.1e-8
//! ```
//!
//! That much a person can write by hand. What `coilrig calibrate` measures stands
//! below it as [`records`], with raw readings and budgets; [`derive`] makes the
//! values above from them. [`age`] and [`fit`] say whether a calibration may be
//! used.

pub mod age;
mod derive;
mod file;
mod fit;
pub mod records;

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::capture::meta::{CalibrationMade, Global};
use crate::error::{Error, Result};
use crate::{files, toml_file};

pub use derive::Record;
pub use fit::InUse;
use records::{ClockRecord, NoiseRecord, ReferenceRecord, RotationRecord, Stated};

/// Format of the file.
pub const FORMAT: &str = "coilrig-calibration/1";

/// The calibration of one receiver.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "file::Unchecked")]
pub struct Calibration {
    format: String,
    /// Serial number of the receiver.
    pub receiver: String,
    /// Day of the calibration, of its newest part, ISO 8601.
    pub date: String,
    /// Last day on which all parts of it count, ISO 8601.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires: Option<String>,
    /// Who made its newest part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Temperature of the receiver at its newest part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// How it was done.
    pub method: String,
    /// Error of the receiver's clock, positive when it runs fast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_offset_ppm: Option<f64>,
    /// Standard uncertainty of `clock_offset_ppm`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_offset_u_ppm: Option<f64>,
    /// Degrees of freedom of that uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_degrees_of_freedom: Option<f64>,
    /// Row-major matrix from channel fields to orthogonal field components;
    /// identity when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axes: Option<[[f64; 3]; 3]>,
    /// Standard uncertainty of each element of `axes`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axes_u: Option<[[f64; 3]; 3]>,
    /// Channels of the receiver; as `field_per_count` has when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channels: Option<usize>,
    /// One entry for each calibrated gain step.
    #[serde(rename = "gain_step", skip_serializing_if = "Vec::is_empty")]
    pub gain_steps: Vec<GainStep>,
    /// Axes in the field of a loop or pair, oldest first.
    #[serde(rename = "reference", skip_serializing_if = "Vec::is_empty")]
    pub references: Vec<ReferenceRecord>,
    /// Turns in a steady field, oldest first.
    #[serde(rename = "rotation", skip_serializing_if = "Vec::is_empty")]
    pub rotations: Vec<RotationRecord>,
    /// The clock against known carriers, oldest first.
    #[serde(rename = "clock", skip_serializing_if = "Vec::is_empty")]
    pub clocks: Vec<ClockRecord>,
    /// Noise with nothing on, oldest first.
    #[serde(rename = "noise", skip_serializing_if = "Vec::is_empty")]
    pub noises: Vec<NoiseRecord>,
    /// What stood here before anything was measured by this program.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stated: Option<Stated>,
}

/// The scale of one gain step.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "file::UncheckedStep")]
pub struct GainStep {
    /// Number of the step, from 0.
    pub step: u8,
    /// RMS field in A/m per count of complex magnitude, one per channel (1 or 3).
    pub field_per_count: Vec<f64>,
    /// Relative standard uncertainty of each `field_per_count`.
    pub u_rel: Vec<f64>,
    /// Part of each `u_rel` that all channels share; see [`shared_u_rel`] when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_common_rel: Option<f64>,
    /// Degrees of freedom of each `u_rel`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<Vec<f64>>,
    /// Noise density of each axis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise_a_per_m_rthz: Option<Vec<f64>>,
    /// Smallest field that can be measured, whichever way it points; defined in
    /// `coilrig_analysis::calibration::noise`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smallest_field_a_per_m: Option<f64>,
}

impl Calibration {
    /// A calibration of the receiver with this serial number, with nothing known
    /// yet.
    pub fn new(receiver: &str, date: &str, method: &str) -> Self {
        Self {
            format: FORMAT.into(),
            receiver: receiver.into(),
            date: date.into(),
            expires: None,
            by: None,
            temperature_c: None,
            method: method.into(),
            clock_offset_ppm: None,
            clock_offset_u_ppm: None,
            clock_degrees_of_freedom: None,
            axes: None,
            axes_u: None,
            channels: None,
            gain_steps: Vec::new(),
            references: Vec::new(),
            rotations: Vec::new(),
            clocks: Vec::new(),
            noises: Vec::new(),
            stated: None,
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
        files::write_whole(path, with_powers_of_ten(&text).as_bytes())
    }

    /// The scale of a gain step, when it was calibrated.
    pub fn gain_step(&self, step: u8) -> Option<&GainStep> {
        self.gain_steps.iter().find(|entry| entry.step == step)
    }

    /// Whether it holds anything that this program measured.
    pub fn has_records(&self) -> bool {
        !(self.references.is_empty()
            && self.rotations.is_empty()
            && self.clocks.is_empty()
            && self.noises.is_empty())
    }

    /// Write it, at a gain step, into the metadata of a capture.
    pub fn put_into(&self, scale: &GainStep, global: &mut Global) {
        global.field_per_count = Some(scale.field_per_count.clone());
        global.field_per_count_u_rel = Some(scale.u_rel.clone());
        global.field_per_count_u_common_rel = scale.u_common_rel;
        global.clock_offset_ppm = self.clock_offset_ppm;
        global.clock_offset_u_ppm = self.clock_offset_u_ppm;
        global.axes = self.axes.map(|axes| serde_json::json!(axes));
        // JSON has no infinity.
        let finite = |freedom: &f64| freedom.is_finite().then_some(*freedom);
        global.calibration = Some(CalibrationMade {
            date: self.date.clone(),
            expires: self.expires.clone(),
            method: Some(self.method.clone()),
            field_degrees_of_freedom: scale
                .degrees_of_freedom
                .as_ref()
                .map(|all| all.iter().map(finite).collect()),
            clock_degrees_of_freedom: self.clock_degrees_of_freedom.as_ref().and_then(finite),
            axes_u: self.axes_u,
            other: serde_json::Map::new(),
        });
    }

    /// What of it goes into the analysis of samples at a gain step.
    pub fn for_analysis(&self, scale: &GainStep) -> coilrig_analysis::signal::Calibration {
        coilrig_analysis::signal::Calibration {
            field_per_count: Some(scale.field_per_count.clone()),
            field_per_count_u_rel: Some(scale.u_rel.clone()),
            field_per_count_u_common_rel: shared_u_rel(scale.u_common_rel, &scale.u_rel),
            clock_offset_ppm: self.clock_offset_ppm,
            clock_offset_u_ppm: self.clock_offset_u_ppm,
            axes: self.axes,
        }
    }

    /// How well that is known beyond its standard uncertainties.
    pub fn detail(&self, scale: &GainStep) -> coilrig_analysis::verification::CalibrationDetail {
        coilrig_analysis::verification::CalibrationDetail {
            field_degrees_of_freedom: scale.degrees_of_freedom.clone(),
            clock_degrees_of_freedom: self.clock_degrees_of_freedom,
            axes_u: self.axes_u,
        }
    }
}

/// Small numbers of a TOML text as 2.1e-9 in place of 0.0000000021, for those who read
/// it. Lines with text in them stay as they are.
fn with_powers_of_ten(text: &str) -> String {
    let number = |word: &str| match word.parse::<f64>() {
        Ok(value) if value != 0.0 && value.abs() < 1e-3 => format!("{value:e}"),
        _ => word.to_owned(),
    };
    let line = |line: &str| -> String {
        let words = line.split_inclusive([' ', ',', '[', ']', '\n']);
        words
            .map(|word| {
                let bare = word.trim_end_matches([' ', ',', '[', ']', '\n']);
                number(bare) + &word[bare.len()..]
            })
            .collect()
    };
    text.split_inclusive('\n')
        .map(|l| if l.contains('"') { l.to_owned() } else { line(l) })
        .collect()
}

/// Part of each of `u_rel` that all channels share: as stated, and all that they can
/// share where nobody says. Most receivers are calibrated in one field, and what is
/// wrong with it does not average out over the axes (JCGM 100, 5.2.5 and F.1.2.3).
pub fn shared_u_rel(stated: Option<f64>, u_rel: &[f64]) -> Option<f64> {
    stated.or_else(|| u_rel.iter().copied().reduce(f64::min))
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
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains("[2.1e-9, 2e-9, 2.2e-9]"), "{text}");
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
            ("step = 2", "step = 2\ndegrees_of_freedom = [3.0, 0.5, inf]", "1 or more"),
            ("method", "clock_degrees_of_freedom = nan\nmethod", "1 or more"),
            ("method", "axes_u = [[0, 0, 0], [0, 0, -0.1], [0, 0, 0]]\nmethod", "axes_u"),
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
