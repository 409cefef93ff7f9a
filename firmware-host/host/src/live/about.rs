//! What does not change while the page is open.

use coilrig_analysis::limits::LimitSet;
use coilrig_analysis::live::Band;
use serde::Serialize;

/// The about message.
#[derive(Clone, Debug, Serialize)]
pub struct About {
    /// Where the samples come from, in words.
    pub source: String,
    /// Coils of the receiver.
    pub axes: usize,
    /// What spectra and pulses are in: A/m, or counts without a calibration.
    pub unit: &'static str,
    /// What the lines of spectra stand for.
    pub band: Band,
    /// What the calibration is, or that there is none.
    pub calibration: String,
    /// What is doubtful about it.
    pub concerns: Vec<String>,
    /// What units are held against.
    pub limits: Limits,
    /// Whether recordings can be made.
    pub can_record: bool,
    /// This program.
    pub version: &'static str,
}

/// The limits in words.
#[derive(Clone, Debug, Serialize)]
pub struct Limits {
    name: String,
    title: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
    from_memory: bool,
    in_part: bool,
}

impl From<&LimitSet> for Limits {
    fn from(set: &LimitSet) -> Self {
        Self {
            name: set.name.clone(),
            title: set.title.clone(),
            note: set.note.clone(),
            from_memory: set.bounds.iter().any(|b| b.from_memory),
            in_part: set.in_part,
        }
    }
}
