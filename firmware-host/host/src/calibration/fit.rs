//! Whether a calibration is for the receiver and gain step in use.

use std::path::Path;

use super::{Calibration, GainStep};
use crate::error::{Error, Result};

/// The receiver in use, as far as it is known.
#[derive(Clone, Debug, Default)]
pub struct InUse {
    /// Serial number.
    pub receiver: Option<String>,
    /// Gain step.
    pub gain_step: Option<u8>,
    /// Channels.
    pub channels: usize,
}

impl Calibration {
    /// The scale for what is in use, out of the file at `path`. What is not known
    /// is not checked, except that the gain step must be clear.
    ///
    /// # Errors
    ///
    /// It is of another receiver, or lacks the gain step or an axis.
    pub fn scale_for(&self, path: &Path, used: &InUse) -> Result<&GainStep> {
        let refuse = |what: String, remedy: &str| Err(Error::file(path.display(), what, remedy));
        if let Some(serial) = used.receiver.as_ref().filter(|serial| **serial != self.receiver) {
            return refuse(
                format!("is of receiver {}, this is {serial}", self.receiver),
                "give the calibration of this receiver, or record without one",
            );
        }
        let step = match (used.gain_step, self.gain_steps.as_slice()) {
            (Some(step), _) => step,
            (None, [only]) => only.step,
            (None, _) => {
                return refuse(
                    "holds several gain steps, and nothing says which was in use".into(),
                    "record with this version of coilrig, which notes the gain step",
                );
            }
        };
        let Some(scale) = self.gain_step(step) else {
            return refuse(self.lacks(step), "calibrate this gain step, or use one that was");
        };
        if scale.field_per_count.len() != used.channels {
            return refuse(
                format!(
                    "is for {} channels, the receiver has {}",
                    scale.field_per_count.len(),
                    used.channels
                ),
                "calibrate the receiver anew",
            );
        }
        Ok(scale)
    }

    /// What the file lacks of a gain step.
    fn lacks(&self, step: u8) -> String {
        let measured = self.measured_axes(step);
        if measured.is_empty() {
            return format!("does not hold gain step {step}");
        }
        format!(
            "does not hold all axes of gain step {step}: only {} was calibrated; measure the \
             others, or turn the receiver (coilrig calibrate rotation)",
            measured.join(" and ")
        )
    }
}
