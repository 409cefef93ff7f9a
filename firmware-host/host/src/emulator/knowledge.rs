//! What a faultless calibration laboratory would know of an emulated receiver.

use coilrig_analysis::scenario::Scenario;

use crate::calibration::{Calibration, GainStep};

/// The calibration of the scenario's receiver: its true factors, its true clock
/// error, and the uncertainties that the scenario states. `date` is ISO 8601.
pub fn calibration(scenario: &Scenario, date: &str) -> Calibration {
    let receiver = &scenario.receiver;
    let axes = usize::from(receiver.axes);
    let mut calibration =
        Calibration::new(&receiver.serial, date, "known from the scenario of an emulated receiver");
    calibration.clock_offset_ppm = Some(receiver.clock_offset_ppm);
    calibration.clock_offset_u_ppm = Some(receiver.clock_offset_u_ppm);
    if axes == 3 {
        calibration.axes = receiver.axes_matrix();
    }
    calibration.gain_steps = (0u8..)
        .zip(&receiver.gain_steps_db)
        .map(|(step, _)| GainStep {
            step,
            field_per_count: receiver.true_field_per_count(step)[..axes].to_vec(),
            u_rel: vec![receiver.calibration_u_rel; axes],
            ..GainStep::default()
        })
        .collect();
    calibration
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_calibration_holds_the_hidden_factors_and_can_be_loaded() {
        let mut scenario = Scenario::default();
        scenario.receiver.axis_factors.0 = [1.1, 0.9, 1.0];
        scenario.receiver.clock_offset_ppm = 3.5;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("c.toml");
        calibration(&scenario, "2026-01-15").save(&path).unwrap();
        let loaded = Calibration::load(&path).unwrap();
        assert_eq!(loaded.receiver, scenario.receiver.serial);
        assert_eq!(loaded.clock_offset_ppm, Some(3.5));
        let step_1 = &loaded.gain_step(1).unwrap().field_per_count;
        assert!((step_1[0] / 1.1e-10 - 1.0).abs() < 1e-9, "{step_1:?}");
        assert_eq!(loaded.gain_steps.len(), 2);
    }
}
