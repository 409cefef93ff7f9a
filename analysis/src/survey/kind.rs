//! What a survey goes over.

use std::fmt::{Debug, Display};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::plan::PlanError;
use super::state::Refused;
use super::surveyed::NotTaken;
use crate::reading::Reading;
use crate::signal::Transmitter;

/// What a survey goes over: distance, angle, or the places of a grid. A value of
/// the kind is what such a survey is set up with besides its plan.
pub trait Kind: Clone + Debug + PartialEq + Serialize + DeserializeOwned {
    /// Where a reading is taken.
    type Point: Copy + Debug + Display + PartialEq + Serialize + DeserializeOwned;
    /// What is read there. Its uncertainty is independent from reading to reading;
    /// the calibration, shared by all, stands beside it in
    /// [`Taken`](super::Taken).
    type Reading: Copy + Debug + PartialEq + Serialize + DeserializeOwned;

    /// Whether a survey can be set up so.
    ///
    /// # Errors
    ///
    /// A number that it cannot be.
    fn check(&self) -> Result<(), Refused>;

    /// Whether there is such a point.
    ///
    /// # Errors
    ///
    /// A place that is none.
    fn check_point(point: &Self::Point) -> Result<(), PlanError>;

    /// What the unit that is heard at a point reads.
    ///
    /// # Errors
    ///
    /// A measurement that has no such reading.
    fn reading(&self, point: &Self::Point, heard: &Heard) -> Result<Self::Reading, NotTaken>;

    /// Whether a reading is one of that point, in numbers that can be.
    fn is_sound(reading: &Self::Reading, point: &Self::Point) -> bool;

    /// Magnitude of the field of a reading, A/m.
    fn field_a_per_m(reading: &Self::Reading) -> Reading;
}

/// The surveyed unit as it is heard at a point.
#[derive(Clone, Copy, Debug)]
pub struct Heard<'a> {
    /// The unit.
    pub transmitter: &'a Transmitter,
    /// Noise density along each of the receiver's axes, A/m/√Hz.
    pub noise_a_per_m_rthz: &'a [f64],
}

/// The field along three axes that are at right angles.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Components {
    /// RMS field along x, y, z, A/m; the sign of all three together is free.
    pub h_a_per_m: [f64; 3],
    /// Standard uncertainty of each, A/m.
    pub u_a_per_m: f64,
}

impl Heard<'_> {
    /// Magnitude over the axes, its u from pulse to pulse, A/m.
    ///
    /// # Errors
    ///
    /// Counts without calibration, or no number.
    pub fn field_a_per_m(&self) -> Result<Reading, NotTaken> {
        if self.transmitter.field_a_per_m.is_none() {
            return Err(NotTaken::NotCalibrated);
        }
        let field = self.transmitter.amplitude;
        if is_positive(field.value) && is_positive(field.u) {
            return Ok(field);
        }
        Err(NotTaken::NoField { field_a_per_m: field.value, u_a_per_m: field.u })
    }

    /// Components of the field; `None` with a receiver of one axis. Their u is
    /// that of the magnitude, or what the noise of the worst axis gives, whichever
    /// is larger: across the field nothing but noise shows.
    ///
    /// # Errors
    ///
    /// Counts without calibration, or no number.
    pub fn components(&self) -> Result<Option<Components>, NotTaken> {
        let field = self.field_a_per_m()?;
        let Some(&[x, y, z]) = self.transmitter.field_vector_a_per_m.as_deref() else {
            return Ok(None);
        };
        let keyed_s = self.transmitter.on_time_s.value * self.transmitter.pulses.found as f64;
        let worst = self.noise_a_per_m_rthz.iter().copied().fold(0.0, f64::max);
        // A carrier of known phase in noise of density n over T: u² = n² / 2T.
        let by_noise = if keyed_s > 0.0 { worst / (2.0 * keyed_s).sqrt() } else { 0.0 };
        Ok(Some(Components { h_a_per_m: [x, y, z], u_a_per_m: field.u.max(by_noise) }))
    }
}

/// Whether a number is over zero and finite.
pub(super) fn is_positive(value: f64) -> bool {
    value > 0.0 && value.is_finite()
}

/// A number of a setup that is 0 or more.
pub(super) fn check_zero_or_more(quantity: &'static str, value: f64) -> Result<(), Refused> {
    if value >= 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(Refused::Senseless { quantity, value })
}
