//! The receiver of a scenario.

use nalgebra::Matrix3;
use serde::Deserialize;

use super::error::{in_range, vector_within};
use super::{Orientation, PerAxis, ScenarioError};

/// A receiver: its place, its coils, its clock, and what its maker knows of it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ReceiverModel {
    /// Serial number.
    pub serial: String,
    /// Where the coils are.
    pub position_m: [f64; 3],
    /// How they lie.
    pub orientation: Orientation,
    /// 1 (the x coil alone) or 3.
    pub axes: u8,
    /// Noise density of each axis, referred to the field.
    pub noise_a_per_m_rthz: PerAxis,
    /// Error of the clock, positive when it runs fast: it then takes more
    /// samples in a true second, and carriers appear lower.
    pub clock_offset_ppm: f64,
    /// Standard uncertainty that the calibration states for the clock.
    pub clock_offset_u_ppm: f64,
    /// RMS field for one count of complex magnitude at 0 dB gain, by design.
    pub field_per_count: f64,
    /// What each axis' field per count really is, relative to the design: what
    /// a calibration is there to find.
    pub axis_factors: PerAxis,
    /// Directions of the x, y and z coil in the receiver, one a row: unit vectors,
    /// which need not be at right angles. Along its axes when absent.
    pub coil_directions: Option<[[f64; 3]; 3]>,
    /// Relative standard uncertainty that the calibration states for each axis.
    pub calibration_u_rel: f64,
    /// Gain of each step, dB.
    pub gain_steps_db: Vec<f32>,
    /// Step in force at first.
    pub gain_step: u8,
    /// Temperature of the receiver.
    pub temperature_c: f32,
    /// Supply voltage.
    pub supply_v: f32,
}

impl Default for ReceiverModel {
    fn default() -> Self {
        Self {
            serial: "EMU-0001".into(),
            position_m: [0.0, 0.0, 1.0],
            orientation: Orientation::default(),
            axes: 3,
            noise_a_per_m_rthz: PerAxis::all(1.5e-9),
            clock_offset_ppm: 0.0,
            clock_offset_u_ppm: 0.2,
            field_per_count: 1e-9,
            axis_factors: PerAxis::all(1.0),
            coil_directions: None,
            calibration_u_rel: 0.02,
            gain_steps_db: vec![0.0, 20.0],
            gain_step: 0,
            temperature_c: -5.0,
            supply_v: 3.7,
        }
    }
}

impl ReceiverModel {
    /// RMS field for one count of complex magnitude on each axis, as it really
    /// is at gain step `step`; a step beyond the last counts as the last.
    pub fn true_field_per_count(&self, step: u8) -> [f64; 3] {
        let last = self.gain_steps_db.len().saturating_sub(1);
        let gain_db = self.gain_steps_db.get(usize::from(step).min(last)).copied().unwrap_or(0.0);
        let at_step = self.field_per_count / 10f64.powf(f64::from(gain_db) / 20.0);
        self.axis_factors.0.map(|factor| factor * at_step)
    }

    /// Row-major matrix that makes components along the receiver's axes of what
    /// its coils see; `None` where they lie along them.
    pub fn axes_matrix(&self) -> Option<[[f64; 3]; 3]> {
        let rows = self.coil_directions?;
        let inverse = Matrix3::from_fn(|i, j| rows[i][j]).try_inverse()?;
        Some(std::array::from_fn(|i| std::array::from_fn(|j| inverse[(i, j)])))
    }

    pub(super) fn validate(&self) -> Result<(), ScenarioError> {
        if self.serial.is_empty() || self.serial.len() > 32 {
            return Err(ScenarioError::new("serial", "is empty or long", "give 1 to 32 bytes"));
        }
        vector_within("position_m", self.position_m, 1e4)?;
        self.orientation.validate()?;
        if self.axes != 1 && self.axes != 3 {
            return Err(ScenarioError::new(
                "axes",
                format!("is {}", self.axes),
                "give 1 (the x coil alone) or 3",
            ));
        }
        for noise in self.noise_a_per_m_rthz.0 {
            in_range("noise_a_per_m_rthz", noise, 0.0..=1e-3)?;
        }
        in_range("clock_offset_ppm", self.clock_offset_ppm, -1000.0..=1000.0)?;
        in_range("clock_offset_u_ppm", self.clock_offset_u_ppm, 0.0..=1000.0)?;
        in_range("field_per_count", self.field_per_count, 1e-15..=1.0)?;
        for factor in self.axis_factors.0 {
            in_range("axis_factors", factor, 0.1..=10.0)?;
        }
        self.coil_directions.as_ref().map_or(Ok(()), check_directions)?;
        in_range("calibration_u_rel", self.calibration_u_rel, 0.0..=1.0)?;
        if self.gain_steps_db.is_empty() || self.gain_steps_db.len() > 16 {
            return Err(ScenarioError::new(
                "gain_steps_db",
                format!("has {} steps", self.gain_steps_db.len()),
                "give 1 to 16 steps in dB, as [0, 20]",
            ));
        }
        for &step in &self.gain_steps_db {
            in_range("gain_steps_db", f64::from(step), -120.0..=120.0)?;
        }
        if usize::from(self.gain_step) >= self.gain_steps_db.len() {
            return Err(ScenarioError::new(
                "gain_step",
                format!("is {} of {} steps", self.gain_step, self.gain_steps_db.len()),
                "count from 0: the first step is 0",
            ));
        }
        in_range("temperature_c", f64::from(self.temperature_c), -80.0..=100.0)?;
        in_range("supply_v", f64::from(self.supply_v), 0.0..=60.0)
    }
}

/// Three unit vectors that point in three directions.
fn check_directions(rows: &[[f64; 3]; 3]) -> Result<(), ScenarioError> {
    let directions = Matrix3::from_fn(|i, j| rows[i][j]);
    // A departure of 1e-3 is three digits typed; larger ones are mistakes.
    let of_length_one = directions.row_iter().all(|row| (row.norm() - 1.0).abs() < 1e-3);
    if of_length_one && directions.determinant() > 0.2 {
        return Ok(());
    }
    Err(ScenarioError::new(
        "coil_directions",
        "are not three unit vectors that point apart",
        "give the x, y and z coil's directions as rows of length 1, right-handed",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gain_of_20_db_makes_a_count_stand_for_a_tenth_of_the_field() {
        let receiver =
            ReceiverModel { axis_factors: PerAxis([1.0, 1.1, 0.9]), ..Default::default() };
        for (step_0, step_1) in
            receiver.true_field_per_count(0).iter().zip(receiver.true_field_per_count(1))
        {
            assert!((step_0 / step_1 - 10.0).abs() < 1e-9);
        }
        assert!((receiver.true_field_per_count(0)[1] - 1.1e-9).abs() < 1e-20);
    }
}
