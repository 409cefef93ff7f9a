//! What the results of a turn are made of.

use super::analysis::AngleAnalysis;
use crate::uncertainty::of_fit::{self, Scatter};
use crate::uncertainty::{Budget, Input, UncertaintyError};

/// Name, unit and budget of misalignment, greatest field and leakage. Each reading
/// comes twice, by its field and by its angle; the sums are the uncertainties that the
/// analysis states.
///
/// # Errors
///
/// Readings that hold no numbers.
pub fn budgets(
    analysis: &AngleAnalysis,
) -> Result<Vec<(&'static str, &'static str, Budget)>, UncertaintyError> {
    let fit = &analysis.fit;
    let misalignment = fit.influence_on_misalignment_deg();
    let (peak, leakage) = (fit.influence_on_peak_a_per_m(), fit.influence_on_leakage());
    let peak_a_per_m = analysis.peak_a_per_m.value;
    Ok(vec![
        ("misalignment", "°", of(analysis, analysis.misalignment_deg.value, &misalignment, 0.0)?),
        ("greatest field", "A/m", of(analysis, peak_a_per_m, &peak, peak_a_per_m)?),
        ("cross-axis leakage", "1", of(analysis, analysis.leakage_ratio.value, &leakage, 0.0)?),
    ])
}

fn of(
    analysis: &AngleAnalysis,
    value: f64,
    influence: &[f64],
    by_calibration: f64,
) -> Result<Budget, UncertaintyError> {
    let fit = &analysis.fit;
    let mut parts = Vec::with_capacity(2 * influence.len());
    for (i, on) in influence.iter().enumerate() {
        let (reading, u) = (&analysis.fitted[i], fit.u_readings_a_per_m[i]);
        let (row, angle) = (i + 1, reading.angle_deg);
        let of_field = reading.u_field_a_per_m;
        let field = format!("row {row}, field at {angle}°");
        parts.push((Input::normal(field, "A/m", reading.field_a_per_m, of_field)?, on / u));
        // What the angle adds to the field's own uncertainty, per degree.
        let by_angle = (u * u - of_field * of_field).max(0.0).sqrt();
        if reading.u_angle_deg > 0.0 {
            let input =
                Input::normal(format!("row {row}, angle"), "°", angle, reading.u_angle_deg)?;
            parts.push((input, on / u * by_angle / reading.u_angle_deg));
        }
    }
    let scatter =
        Scatter { excess: fit.excess_scatter, degrees_of_freedom: fit.degrees_of_freedom };
    let calibration =
        Input::normal("calibration, shared by all", "", 1.0, analysis.u_calibration_rel)?;
    of_fit::budget(value, parts, scatter, [(calibration, by_calibration)])
}

#[cfg(test)]
mod tests {
    use super::super::{AngleReading, Options, Turned, analyse};
    use super::*;

    #[test]
    fn the_parts_add_up_to_the_stated_uncertainty() {
        for (leak, turned) in [(0.03, Turned::Unit), (-0.05, Turned::Coil)] {
            let readings: Vec<_> = (0..24)
                .map(|i| {
                    let angle_deg = 15.0 * f64::from(i);
                    let along = (angle_deg - 7.0).to_radians().cos() + leak;
                    // Errors that repeat no law.
                    let error = 1.0 + 0.02 * f64::from((i * 7) % 5 - 2);
                    AngleReading {
                        angle_deg,
                        u_angle_deg: 1.0,
                        field_a_per_m: 1e-5 * along.abs() * error + 1e-8,
                        u_field_a_per_m: 1e-7,
                        components: None,
                    }
                })
                .collect();
            let options = Options { turned, u_calibration_rel: 0.04, ..Options::default() };
            let analysis = analyse(&readings, &options).unwrap();
            let stated = [analysis.misalignment_deg, analysis.peak_a_per_m, analysis.leakage_ratio];
            for (stated, (name, _, budget)) in stated.iter().zip(budgets(&analysis).unwrap()) {
                assert!(
                    (budget.u / stated.u - 1.0).abs() < 1e-6,
                    "{name}: {} {stated:?}",
                    budget.u
                );
            }
        }
    }
}
