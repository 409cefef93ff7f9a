//! What place and strength of a located unit are made of.

use nalgebra::{Matrix6, RowVector6, Vector3, Vector6};

use super::analysis::{Options, as_taken, with_medium};
use super::fit::information;
use super::location::Location;
use super::readings::PlacedReading;
use crate::field::dipole;
use crate::uncertainty::of_fit::{self, Part, Scatter};
use crate::uncertainty::{Budget, Input, UncertaintyError};

/// Name, SI unit and budget of x, y, z, depth, moment and field at 10 m, for a
/// location found from these `readings` by these `options`. The sums are the
/// uncertainties that the location states.
///
/// A vector counts as one contribution; its value is its magnitude, its sensitivity
/// the length of the gradient over its components.
///
/// # Errors
///
/// Readings that hold no numbers.
pub fn budgets(
    location: &Location,
    readings: &[PlacedReading],
    options: &Options<'_>,
) -> Result<Vec<(&'static str, &'static str, Budget)>, UncertaintyError> {
    let readings = as_taken(readings, options);
    let solution = &location.solution;
    let information: Vec<Matrix6<f64>> = with_medium(&location.coil_plane, options, |_, medium| {
        readings.iter().map(|reading| information(solution, medium, reading)).collect()
    });
    let fit = Fit { location, readings: &readings, information: &information };
    let axis = |i: usize| Vector6::from_fn(|j, _| if i == j { 1.0 } else { 0.0 });
    let [x, y, z] = location.position_m.map(|reading| reading.value);
    let surface = location.coil_plane.clone().lowered(options.coil_height_m);
    let cos = surface.normal().z;
    let down = Vector6::new(surface.rise[0] * cos, surface.rise[1] * cos, -cos, 0.0, 0.0, 0.0);
    let u_surface_m = surface.u_height_m(x, y);
    let height = Input::normal("height of the snow", "m", surface.height_m(x, y), u_surface_m)?;
    let along: Vector3<f64> = solution.moment_a_m2.normalize();
    let along = Vector6::new(0.0, 0.0, 0.0, along.x, along.y, along.z);
    let calibration =
        || Input::normal("calibration, shared by all", "", 1.0, options.u_calibration_rel);
    let moment = location.moment_magnitude_a_m2.value;
    let at_10_m = dipole::coaxial(1.0, 10.0, options.frequency_hz);
    Ok(vec![
        ("x", "m", fit.budget(x, axis(0), None)?),
        ("y", "m", fit.budget(y, axis(1), None)?),
        ("z", "m", fit.budget(z, axis(2), None)?),
        (
            "depth square to the snow",
            "m",
            fit.budget(location.depth_normal_m.value, down, Some((height, cos)))?,
        ),
        ("moment", "A·m²", fit.budget(moment, along, Some((calibration()?, moment)))?),
        (
            "field at 10 m",
            "A/m",
            fit.budget(
                moment * at_10_m,
                along * at_10_m,
                Some((calibration()?, moment * at_10_m)),
            )?,
        ),
    ])
}

struct Fit<'a> {
    location: &'a Location,
    readings: &'a [PlacedReading],
    information: &'a [Matrix6<f64>],
}

impl Fit<'_> {
    /// Of a result with this gradient over place and moment, and of what came in beside
    /// the readings.
    fn budget(
        &self,
        value: f64,
        gradient: Vector6<f64>,
        beside: Option<Part>,
    ) -> Result<Budget, UncertaintyError> {
        let solution = &self.location.solution;
        let on: RowVector6<f64> = gradient.transpose() * solution.covariance;
        let mut parts = Vec::with_capacity(self.readings.len());
        for ((row, reading), information) in (1..).zip(self.readings).zip(self.information) {
            let [x, y, _] = reading.place_m;
            let measured = reading.field.to_vec();
            let magnitude = measured.iter().map(|h| h * h).sum::<f64>().sqrt();
            let name = format!("row {row}, x {x:.2} m, y {y:.2} m").replace('-', "−");
            let input = Input::normal(name, "A/m", magnitude, reading.u_a_per_m)?;
            // Part of this reading in the variance: gᵀ C Jᵀ J C g.
            let variance = (on * information * on.transpose()).x.max(0.0);
            parts.push((input, variance.sqrt() / reading.u_a_per_m));
        }
        let scatter = Scatter {
            excess: solution.excess_scatter,
            degrees_of_freedom: solution.degrees_of_freedom,
        };
        of_fit::budget(value, parts, scatter, beside)
    }
}

#[cfg(test)]
mod tests {
    use super::super::analyse;
    use super::super::testing::Invented;
    use super::*;

    #[test]
    fn the_parts_add_up_to_the_stated_uncertainty() {
        let unit = Invented { rise: 0.5, ..Invented::default() };
        for readings in unit.kinds() {
            let options =
                Options { u_calibration_rel: 0.05, coil_height_m: 0.2, ..Options::default() };
            let found = analyse(&readings, &options).unwrap();
            let stated = [
                found.position_m[0],
                found.position_m[1],
                found.position_m[2],
                found.depth_normal_m,
                found.moment_magnitude_a_m2,
                found.field_at_10_m_a_per_m,
            ];
            let budgets = budgets(&found, &readings, &options).unwrap();
            assert_eq!(budgets.len(), stated.len());
            for (stated, (name, _, budget)) in stated.iter().zip(&budgets) {
                assert!(
                    (budget.u / stated.u - 1.0).abs() < 1e-4,
                    "{name}: {} {stated:?}",
                    budget.u
                );
                assert!((budget.value / stated.value - 1.0).abs() < 1e-9, "{name}");
            }
            let calibration = budgets[4].2.contributions.last().unwrap();
            assert!(
                (calibration.u_contribution / found.moment_magnitude_a_m2.value - 0.05).abs()
                    < 1e-9
            );
        }
    }
}
