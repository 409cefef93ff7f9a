//! What is told of the link.

use serde::Serialize;

use crate::recording::{self, Notice};

/// What is told of the link.
#[derive(Clone, Debug, Default, Serialize)]
pub(super) struct LinkTold {
    /// Whether samples come.
    pub is_up: bool,
    /// The last thing that happened.
    pub said: String,
    /// Whether anything clipped in the last second.
    pub overload: bool,
    /// Samples per axis missing so far.
    pub samples_lost: u64,
    /// Temperature of the receiver, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f32>,
    /// What is being recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recording: Option<RecordingTold>,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct RecordingTold {
    pub name: String,
    pub elapsed_s: f64,
    /// How long it is to last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of_s: Option<f64>,
}

impl LinkTold {
    /// What a recording says of the link that it uses; `lost_before` were missing when it
    /// began.
    pub(super) fn take(&mut self, notice: Notice, lost_before: u64) {
        match notice {
            Notice::Progress(progress) => {
                self.samples_lost = lost_before + progress.samples_lost;
                self.overload = progress.overload;
            }
            Notice::Gap(gap) => self.said = format!("{} samples are missing", gap.missing),
            Notice::Stalled => {
                self.said = "the receiver sends nothing; told it to start again".into()
            }
            Notice::Lost(why) => {
                self.is_up = false;
                self.said = format!("{why}; the recording waits for the receiver");
            }
            Notice::Back => {
                self.is_up = true;
                self.said = "the receiver is back, the recording goes on".into();
            }
            Notice::OtherTemperature { now_c, calibrated_c } => {
                self.temperature_c = Some(now_c as f32);
                self.said = recording::other_temperature(now_c, calibrated_c);
            }
        }
    }
}

/// A temperature, where there is a thermometer.
pub(super) fn finite(value: f32) -> Option<f32> {
    value.is_finite().then_some(value)
}
