//! The result of a measurement, in the shape of the JSON contract.

use serde::Serialize;

use super::steady::SteadyCarrier;
use crate::reading::Reading;

/// Everything found in one capture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Measurement {
    /// Length of the capture in true seconds, gaps included.
    pub duration_s: f64,
    /// Gaps met.
    pub gaps: usize,
    /// RMS noise density per axis, A/m per √Hz; absent without a calibration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise_a_per_m_rthz: Option<Vec<f64>>,
    /// RMS noise density per channel, counts per √Hz.
    #[serde(skip)]
    pub noise_counts_rthz: Vec<f64>,
    /// Transmitters, strongest first.
    pub transmitters: Vec<Transmitter>,
    /// Pulses that belong to none of them.
    #[serde(skip)]
    pub stray_pulses: usize,
    /// Carriers that were on for seconds on end and are no unit's.
    #[serde(skip)]
    pub steady_carriers: Vec<SteadyCarrier>,
}

/// Note on a transmitter whose single pulses noise hides; its stated uncertainties
/// are too small by up to 1.7 (`--test weak`).
pub const TOO_WEAK: &str = "too weak for single pulses: measured by all of them together";

/// One transmitter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Transmitter {
    /// T1, T2, … from the strongest on.
    pub label: String,
    /// Numbers of its pulse trains in [`super::Event::Assigned`]: more than one
    /// where its timing broke.
    #[serde(skip)]
    pub trains: Vec<usize>,
    /// Mean carrier over the capture, corrected for the receiver's clock.
    pub carrier_hz: Reading,
    /// Its mean rate of change.
    pub carrier_drift_hz_per_s: Reading,
    /// Mean carrier in the first 10 ms of a pulse minus the settled one, which is then
    /// what `carrier_hz` tells; absent where there is no chirp to be seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_on_chirp_hz: Option<Reading>,
    /// Mean time from one pulse to the next.
    pub period_s: Reading,
    /// Standard deviation of the single periods, noise deducted.
    pub period_jitter_s: f64,
    /// Mean time on, between the half-amplitude points.
    pub on_time_s: Reading,
    /// Mean time off.
    pub off_time_s: Reading,
    /// RMS field while on, magnitude over the axes; absent without a calibration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_a_per_m: Option<Reading>,
    /// The field vector up to its sign; absent without a calibration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_vector_a_per_m: Option<Vec<f64>>,
    /// Direction of the pulses' amplitude over the channels, in counts and not in
    /// field: a unit vector up to its sign; 0 for channels that are not there.
    #[serde(skip)]
    pub channel_direction: [f64; 3],
    /// Whether amplitude or direction changed from pulse to pulse.
    #[serde(skip)]
    pub moved: bool,
    /// Magnitude in A/m, or in counts without a calibration.
    #[serde(skip)]
    pub amplitude: Reading,
    /// Share of the calibration in the relative standard uncertainty of the
    /// field, the same for all captures under one calibration; 0 without one.
    /// The rest, that of `amplitude`, is new with every capture.
    #[serde(skip)]
    pub u_calibration_rel: f64,
    /// Carrier between the pulses over carrier on, amplitude ratio.
    pub residual_carrier_ratio: Reading,
    /// Pulse counts.
    pub pulses: PulseCount,
    /// Rising edge of the first pulse, true seconds from the start of the capture.
    pub first_pulse_s: f64,
    /// What a reader of the numbers must know.
    pub notes: Vec<String>,
}

/// How many pulses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct PulseCount {
    /// Due from the first to the last pulse, those in gaps not counted.
    pub expected: usize,
    /// Found of these.
    pub found: usize,
    /// Found while another transmitter's pulse was on.
    pub overlapped: usize,
}
