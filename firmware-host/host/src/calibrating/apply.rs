//! A calibration file put on a capture.

use std::path::Path;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::calibration::age::concerns;
use crate::calibration::{Calibration, InUse};
use crate::capture::reader::Capture;
use crate::error::Result;

/// Let `calibration`, out of the file `file`, count for `capture` in place of what
/// its metadata state. Written back, the metadata hold it.
///
/// # Errors
///
/// It is of another receiver, or lacks the gain step or an axis.
pub fn apply(capture: &mut Capture, file: &Path, calibration: &Calibration) -> Result<()> {
    let used = in_use(capture);
    let scale = calibration.scale_for(file, &used)?;
    let name = capture.paths.meta.display();
    let unknown = match (&used.receiver, used.gain_step) {
        (None, None) => Some("receiver and gain step"),
        (None, Some(_)) => Some("receiver"),
        (Some(_), None) => Some("gain step"),
        (Some(_), Some(_)) => None,
    };
    if let Some(what) = unknown {
        capture.warnings.push(format!(
            "{name}: does not state its {what}: that {} is for it (receiver {}, gain step {}) is \
             taken on trust",
            file.display(),
            calibration.receiver,
            scale.step
        ));
    }
    calibration.put_into(scale, &mut capture.meta.global);
    capture.read_calibration()
}

/// What a person must know of the age of the calibration that a capture has, on
/// the day on which it was recorded.
pub fn age_concerns(capture: &Capture) -> Vec<String> {
    let Some(made) = &capture.meta.global.calibration else { return Vec::new() };
    let Some(day) = recorded_on(capture) else { return Vec::new() };
    let told = concerns(&made.date, made.expires.as_deref(), day);
    told.iter().map(ToString::to_string).collect()
}

/// The day on which a capture was begun, where this computer stands: the day that
/// calibrations are dated by.
fn recorded_on(capture: &Capture) -> Option<Date> {
    capture.started().map(|at| at.to_zoned_datetime(TimeZone::system()).date())
}

/// What a capture states of the receiver.
pub(super) fn in_use(capture: &Capture) -> InUse {
    InUse {
        receiver: capture.meta.global.receiver.clone(),
        gain_step: capture.meta.global.gain_step,
        channels: capture.format.axes,
    }
}
