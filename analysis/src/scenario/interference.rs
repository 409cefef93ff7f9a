//! What else the coils pick up.

use serde::Deserialize;

use super::ScenarioError;
use super::error::{in_range, vector_within};

/// A disturber.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Interference {
    /// A steady carrier.
    Carrier(CarrierInterference),
    /// Impulses at random times.
    Impulse(ImpulseInterference),
}

/// A steady carrier, as of a switching supply or a broadcast station.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CarrierInterference {
    /// From 457 kHz.
    pub frequency_offset_hz: f64,
    /// RMS field at the receiver, along x, y, z; the same everywhere.
    pub field_a_per_m: [f64; 3],
}

/// Impulses at random times (a Poisson process), from random directions, that
/// set the tuned coils ringing at 457 kHz, as of an engine's ignition.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ImpulseInterference {
    /// Mean number in a second.
    pub rate_per_s: f64,
    /// Peak (not RMS) of the field that each rings up.
    pub peak_field_a_per_m: f64,
    /// Time constant with which the ringing dies.
    #[serde(default = "default_ringing_s")]
    pub ringing_s: f64,
}

fn default_ringing_s() -> f64 {
    2e-4
}

impl Interference {
    pub(super) fn validate(&self) -> Result<(), ScenarioError> {
        match self {
            Self::Carrier(carrier) => {
                in_range("frequency_offset_hz", carrier.frequency_offset_hz, -2e4..=2e4)?;
                vector_within("field_a_per_m", carrier.field_a_per_m, 1.0)
            }
            Self::Impulse(impulse) => {
                in_range("rate_per_s", impulse.rate_per_s, 0.0..=1000.0)?;
                in_range("peak_field_a_per_m", impulse.peak_field_a_per_m, 0.0..=1.0)?;
                in_range("ringing_s", impulse.ringing_s, 1e-5..=0.1)
            }
        }
    }
}
