//! A calibration as it stands in its file, checked while it is read.

use serde::Deserialize;

use super::records::{ClockRecord, NoiseRecord, ReferenceRecord, RotationRecord, Stated};
use super::{Calibration, FORMAT, GainStep};

/// [`Calibration`] as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Unchecked {
    #[serde(deserialize_with = "known_format")]
    format: String,
    receiver: String,
    date: String,
    expires: Option<String>,
    by: Option<String>,
    temperature_c: Option<f64>,
    method: String,
    clock_offset_ppm: Option<f64>,
    #[serde(default, deserialize_with = "not_negative")]
    clock_offset_u_ppm: Option<f64>,
    clock_degrees_of_freedom: Option<f64>,
    axes: Option<[[f64; 3]; 3]>,
    axes_u: Option<[[f64; 3]; 3]>,
    channels: Option<usize>,
    #[serde(default)]
    gain_step: Vec<GainStep>,
    #[serde(default)]
    reference: Vec<ReferenceRecord>,
    #[serde(default)]
    rotation: Vec<RotationRecord>,
    #[serde(default)]
    clock: Vec<ClockRecord>,
    #[serde(default)]
    noise: Vec<NoiseRecord>,
    stated: Option<Stated>,
}

impl TryFrom<Unchecked> for Calibration {
    type Error = String;

    fn try_from(file: Unchecked) -> std::result::Result<Self, String> {
        let calibration = Self {
            format: file.format,
            receiver: file.receiver,
            date: file.date,
            expires: file.expires,
            by: file.by,
            temperature_c: file.temperature_c,
            method: file.method,
            clock_offset_ppm: file.clock_offset_ppm,
            clock_offset_u_ppm: file.clock_offset_u_ppm,
            clock_degrees_of_freedom: file.clock_degrees_of_freedom,
            axes: file.axes,
            axes_u: file.axes_u,
            channels: file.channels,
            gain_steps: file.gain_step,
            references: file.reference,
            rotations: file.rotation,
            clocks: file.clock,
            noises: file.noise,
            stated: file.stated,
        };
        calibration.hangs_together()?;
        Ok(calibration)
    }
}

impl Calibration {
    fn hangs_together(&self) -> std::result::Result<(), String> {
        if self.gain_steps.is_empty() && !self.has_records() {
            return Err("holds no [[gain_step]]".into());
        }
        if self.clock_offset_ppm.is_some() != self.clock_offset_u_ppm.is_some() {
            return Err(
                "clock_offset_ppm and clock_offset_u_ppm go together: one is missing".into()
            );
        }
        if self.clock_degrees_of_freedom.is_some_and(|freedom| freedom.is_nan() || freedom < 1.0) {
            return Err("clock_degrees_of_freedom must be 1 or more".into());
        }
        if self.axes_u.iter().flatten().flatten().any(|u| !is_uncertainty(*u)) {
            return Err("axes_u: an uncertainty must not be negative".into());
        }
        let Some(first) = self.gain_steps.first() else { return Ok(()) };
        let channels = first.field_per_count.len();
        if self.channels.is_some_and(|stated| stated != channels) {
            return Err(format!(
                "channels is {}, but field_per_count has {channels}",
                self.channels.unwrap_or(0)
            ));
        }
        for (place, entry) in self.gain_steps.iter().enumerate() {
            if entry.field_per_count.len() != channels {
                return Err(format!(
                    "gain step {} has another number of channels than step {}",
                    entry.step, first.step
                ));
            }
            if self.gain_steps[..place].iter().any(|earlier| earlier.step == entry.step) {
                return Err(format!("gain step {} stands there twice", entry.step));
            }
        }
        if self.axes.is_some() && channels != 3 {
            return Err("axes are for a receiver of three channels".into());
        }
        // What is written into a capture must be what can be measured with.
        for step in &self.gain_steps {
            self.for_analysis(step)
                .check(channels)
                .map_err(|e| format!("gain step {} {e}", step.step))?;
        }
        Ok(())
    }
}

/// [`GainStep`] as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct UncheckedStep {
    step: u8,
    #[serde(deserialize_with = "scales")]
    field_per_count: Vec<f64>,
    #[serde(deserialize_with = "relative_uncertainties")]
    u_rel: Vec<f64>,
    u_common_rel: Option<f64>,
    degrees_of_freedom: Option<Vec<f64>>,
    noise_a_per_m_rthz: Option<Vec<f64>>,
    smallest_field_a_per_m: Option<f64>,
}

impl TryFrom<UncheckedStep> for GainStep {
    type Error = String;

    fn try_from(entry: UncheckedStep) -> std::result::Result<Self, String> {
        let UncheckedStep {
            step,
            field_per_count,
            u_rel,
            u_common_rel,
            degrees_of_freedom,
            noise_a_per_m_rthz,
            smallest_field_a_per_m,
        } = entry;
        let lists = [
            ("u_rel", Some(&u_rel)),
            ("degrees_of_freedom", degrees_of_freedom.as_ref()),
            ("noise_a_per_m_rthz", noise_a_per_m_rthz.as_ref()),
        ];
        for (name, list) in lists {
            if list.is_some_and(|list| list.len() != field_per_count.len()) {
                return Err(format!("gain step {step}: {name} is not as long as field_per_count"));
            }
        }
        if degrees_of_freedom.iter().flatten().any(|freedom| freedom.is_nan() || *freedom < 1.0) {
            return Err(format!("gain step {step}: degrees_of_freedom must be 1 or more"));
        }
        Ok(Self {
            step,
            field_per_count,
            u_rel,
            u_common_rel,
            degrees_of_freedom,
            noise_a_per_m_rthz,
            smallest_field_a_per_m,
        })
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
) -> std::result::Result<Option<f64>, D::Error> {
    let value = f64::deserialize(deserializer)?;
    if is_uncertainty(value) {
        Ok(Some(value))
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
