//! The measurements that a calibration rests on, each with who, when and the raw
//! readings. They are only ever added; the newest of a kind counts.

use coilrig_analysis::calibration::rotation::Rotation;
use coilrig_analysis::calibration::source::Arrangement;
use coilrig_analysis::uncertainty::{Budget, Evaluation};
use serde::{Deserialize, Serialize};

/// Who measured, when and in what cold.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Made {
    /// Day, ISO 8601.
    pub date: String,
    /// Last day on which it counts, ISO 8601.
    pub expires: String,
    /// Who.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Temperature of the receiver.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
}

/// What one capture gave.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawReading {
    /// The capture.
    pub capture: String,
    /// Amplitude on each channel in counts, the sign of all free.
    pub counts: Vec<f64>,
    /// Standard uncertainty of each.
    pub u_counts: Vec<f64>,
    /// Carrier by the receiver's own clock.
    pub seen_hz: f64,
    /// Its standard uncertainty.
    pub u_seen_hz: f64,
    /// Energy over noise density.
    pub energy_db: f64,
}

/// One line of a budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BudgetLine {
    /// What contributes.
    pub name: String,
    /// A from scatter, B by any other means.
    #[serde(rename = "type")]
    pub evaluation: String,
    /// Its value, in `unit`.
    pub value: f64,
    /// Its standard uncertainty, in `unit`.
    pub u: f64,
    /// Unit of both, empty for a pure number.
    pub unit: String,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Its contribution to the result, in the result's unit.
    pub u_contribution: f64,
    /// Its share in the variance of the result.
    pub share: f64,
}

impl BudgetLine {
    /// All lines of a budget.
    pub fn all(budget: &Budget) -> Vec<Self> {
        let line = |c: &coilrig_analysis::uncertainty::Contribution| Self {
            name: c.name.clone(),
            evaluation: if c.evaluation == Evaluation::A { "A".into() } else { "B".into() },
            value: c.value,
            u: c.u,
            unit: c.unit.into(),
            degrees_of_freedom: c.degrees_of_freedom,
            u_contribution: c.u_contribution,
            share: c.share,
        };
        budget.contributions.iter().map(line).collect()
    }
}

/// One axis in the field of a loop or a pair.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReferenceRecord {
    /// Which standard.
    pub kind: Arrangement,
    /// `x`, `y` or `z`.
    pub axis: String,
    /// Gain step.
    pub gain_step: u8,
    /// Result, A/m RMS per count.
    pub field_per_count: f64,
    /// Relative standard uncertainty.
    pub u_rel: f64,
    /// Degrees of freedom of it.
    pub degrees_of_freedom: f64,
    /// Part of `u_rel` that each coil calibrated in this source has.
    pub u_source_rel: f64,
    /// Field at the coil, A/m RMS.
    pub field_a_per_m: f64,
    /// Turns.
    pub turns: f64,
    /// Radius.
    pub radius_m: f64,
    /// Its standard uncertainty.
    pub u_radius_m: f64,
    /// RMS current.
    pub current_a: f64,
    /// Its standard uncertainty.
    pub u_current_a: f64,
    /// Distance of the loops of a pair; 0 for a loop.
    pub spacing_m: f64,
    /// Its standard uncertainty.
    pub u_spacing_m: f64,
    /// Along the axis, from the centre.
    pub distance_m: f64,
    /// Its standard uncertainty.
    pub u_distance_m: f64,
    /// From the axis.
    pub offset_m: f64,
    /// Its standard uncertainty.
    pub u_offset_m: f64,
    /// Standard uncertainty of the angle in each of two directions.
    pub u_angle_deg: f64,
    /// Largest extent of the receiver's coil.
    pub coil_size_m: f64,
    /// Who and when.
    pub made: Made,
    /// One a repeat.
    pub reading: Vec<RawReading>,
    /// Where the uncertainty comes from, in A/m per count.
    pub budget: Vec<BudgetLine>,
}

impl ReferenceRecord {
    /// Whether both were made in the same source.
    pub fn has_source_of(&self, other: &Self) -> bool {
        let source = |r: &Self| (r.kind, r.turns, r.radius_m, r.current_a, r.u_current_a);
        source(self) == source(other)
    }
}

/// The coils against each other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RotationRecord {
    /// Gain step.
    pub gain_step: u8,
    /// Who and when.
    pub made: Made,
    /// Result.
    pub result: Rotation,
    /// One a turn.
    pub reading: Vec<RawReading>,
}

/// The clock against a known carrier.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockRecord {
    /// Result, positive when the clock runs fast.
    pub offset_ppm: f64,
    /// Its standard uncertainty.
    pub u_offset_ppm: f64,
    /// Degrees of freedom of it.
    pub degrees_of_freedom: f64,
    /// Frequency of the carrier.
    pub known_hz: f64,
    /// Its standard uncertainty.
    pub u_known_hz: f64,
    /// Who and when.
    pub made: Made,
    /// One a capture.
    pub reading: Vec<RawReading>,
    /// Where the uncertainty comes from, in ppm.
    pub budget: Vec<BudgetLine>,
}

/// The noise with nothing on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoiseRecord {
    /// Gain step.
    pub gain_step: u8,
    /// Density of each channel, counts per √Hz.
    pub counts_rthz: Vec<f64>,
    /// Relative standard uncertainty of each.
    pub u_rel: Vec<f64>,
    /// Degrees of freedom of each.
    pub degrees_of_freedom: Vec<f64>,
    /// Time listened to.
    pub heard_s: f64,
    /// Who and when.
    pub made: Made,
    /// The captures.
    pub capture: Vec<String>,
}

/// Values that stood in the file before anything was measured by this program.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stated {
    /// Day.
    pub date: String,
    /// How it was done.
    pub method: String,
    /// Last day on which it counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires: Option<String>,
    /// Clock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_offset_ppm: Option<f64>,
    /// Its standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_offset_u_ppm: Option<f64>,
    /// The axes matrix.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axes: Option<[[f64; 3]; 3]>,
    /// Scales.
    #[serde(default, rename = "gain_step")]
    pub gain_steps: Vec<super::GainStep>,
}
