//! What a fit says, by whatever theory and with whichever readings.

use serde::Serialize;

use super::fit::DipoleFit;
use super::reach::{Reach, reach, reach_over_ground};
use super::readings::{Alignment, RangeError};
use super::theory::Theory;
use crate::reading::Reading;

/// Results of one fit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fitted {
    /// Moment of the transmitter, A·m².
    pub moment_a_m2: Reading,
    /// True less stated distance, m, when it was fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_offset_m: Option<Reading>,
    /// Resistivity of the soil, Ω·m, when it was fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub soil_resistivity_ohm_m: Option<Reading>,
    /// Range for every threshold and alignment that has one.
    pub ranges: Vec<Reach>,
    /// χ² of the fit.
    pub chi_squared: f64,
    /// Readings less fitted parameters.
    pub degrees_of_freedom: usize,
}

impl Fitted {
    /// With the ranges for thresholds in A/m.
    ///
    /// # Errors
    ///
    /// [`RangeError::Threshold`].
    pub fn of(fit: &DipoleFit, thresholds_a_per_m: &[f64]) -> Result<Self, RangeError> {
        let mut ranges = Vec::new();
        for threshold in thresholds_a_per_m {
            for alignment in Alignment::ALL {
                ranges.extend(match fit.theory {
                    Theory::FreeSpace { .. } => Some(reach(fit, alignment, *threshold)?),
                    Theory::OverGround(_) => reach_over_ground(fit, alignment, *threshold)?,
                });
            }
        }
        let resistivity = |log: Reading| Reading::new(log.value.exp(), log.value.exp() * log.u);
        Ok(Self {
            moment_a_m2: fit.moment_a_m2,
            distance_offset_m: fit.distance_offset_m,
            soil_resistivity_ohm_m: fit.log_soil.map(resistivity),
            ranges,
            chi_squared: fit.chi_squared,
            degrees_of_freedom: fit.degrees_of_freedom,
        })
    }
}
