//! What the results of a range fit are made of.

use super::fit::DipoleFit;
use super::reach::Reach;
use super::readings::{Alignment, FieldReading};
use crate::uncertainty::of_fit::{self, Scatter};
use crate::uncertainty::{Budget, Input, UncertaintyError};
use crate::units;

/// Name, SI unit and budget of moment, field at 10 m, offset and soil where they were
/// fitted, and each of `ranges`, by a fit to these `readings`. The sums are the
/// uncertainties that the fit states.
///
/// # Errors
///
/// Readings that hold no numbers.
pub fn budgets(
    fit: &DipoleFit,
    readings: &[FieldReading],
    ranges: &[Reach],
) -> Result<Vec<(String, &'static str, Budget)>, UncertaintyError> {
    let moment = fit.moment_a_m2.value;
    let at_10_m = fit.field_at(Alignment::Coaxial, 10.0).value;
    let on_10_m = fit.influence_on_field(Alignment::Coaxial, 10.0);
    let mut all = vec![
        ("moment".into(), "A·m²", of(fit, readings, moment, &fit.influence_on_moment(), moment)?),
        ("field at 10 m".into(), "A/m", of(fit, readings, at_10_m, &on_10_m, at_10_m)?),
    ];
    if let Some(offset) = fit.distance_offset_m {
        let on_offset = fit.influence_on_offset_m();
        let budget = with_calibration(fit, readings, offset.value, &on_offset, 1.0, 0.0)?;
        all.push(("distance offset".into(), "m", budget));
    }
    if let Some(log_soil) = fit.log_soil {
        let (ohm_m, on_soil) = (log_soil.value.exp(), fit.influence_on_log_soil());
        let budget = with_calibration(fit, readings, ohm_m, &on_soil, ohm_m, 0.0)?;
        all.push(("resistivity of the soil".into(), "Ω·m", budget));
    }
    for reach in ranges {
        let range_m = reach.range_m.value;
        let per_neper = range_m / fit.exponent(reach.alignment, range_m).abs();
        let on_field = fit.influence_on_field(reach.alignment, range_m);
        let threshold = units::field(reach.threshold_a_per_m.value);
        let name = format!("range at {threshold}, {}", reach.alignment);
        all.push((name, "m", of(fit, readings, range_m, &on_field, per_neper)?));
    }
    Ok(all)
}

/// Of a result that follows ln of the fields by `per_neper`, calibration included.
fn of(
    fit: &DipoleFit,
    readings: &[FieldReading],
    value: f64,
    influence: &[f64],
    per_neper: f64,
) -> Result<Budget, UncertaintyError> {
    with_calibration(fit, readings, value, influence, per_neper, per_neper)
}

fn with_calibration(
    fit: &DipoleFit,
    readings: &[FieldReading],
    value: f64,
    influence: &[f64],
    per_neper: f64,
    by_calibration: f64,
) -> Result<Budget, UncertaintyError> {
    let mut parts = Vec::with_capacity(readings.len());
    for ((row, reading), on) in (1..).zip(readings).zip(influence) {
        let distance = units::significant(reading.distance_m, 4);
        let name = format!("row {row}, {distance} m {}", reading.alignment);
        let u = reading.u_field_a_per_m;
        parts.push((Input::normal(name, "A/m", reading.field_a_per_m, u)?, on * per_neper / u));
    }
    let scatter =
        Scatter { excess: fit.excess_scatter, degrees_of_freedom: fit.degrees_of_freedom };
    let calibration = Input::normal("calibration, shared by all", "", 1.0, fit.u_common_rel)?;
    of_fit::budget(value, parts, scatter, [(calibration, by_calibration)])
}

#[cfg(test)]
mod tests {
    use super::super::fit::fit;
    use super::super::fit::tests::{HZ, readings};
    use super::super::{Fitted, OffsetChoice};
    use super::*;

    /// The sum is what the fit states, with and without offset, widened or not.
    #[test]
    fn the_parts_add_up_to_the_stated_uncertainty() {
        for (choice, understated) in [(OffsetChoice::No, 1.0), (OffsetChoice::Yes, 3.0)] {
            let mut set = readings(6.3e-3, 0.2, 0.05, 3);
            set.iter_mut().for_each(|r| r.u_field_a_per_m /= understated);
            let fit = fit(&set, choice, HZ).unwrap().with_common(0.04);
            let fitted = Fitted::of(&fit, &[80e-9]).unwrap();
            let budgets = budgets(&fit, &set, &fitted.ranges).unwrap();
            let mut stated = vec![fit.moment_a_m2, fit.field_at(Alignment::Coaxial, 10.0)];
            stated.extend(fit.distance_offset_m);
            stated.extend(fitted.ranges.iter().map(|r| r.range_m));
            assert_eq!(stated.len(), budgets.len());
            for (stated, (name, _, budget)) in stated.iter().zip(&budgets) {
                assert!((budget.u / stated.u - 1.0).abs() < 1e-9, "{name}: {budget:?} {stated:?}");
                let shares: f64 = budget.contributions.iter().map(|c| c.share).sum();
                assert!((shares - 1.0).abs() < 1e-9, "{name}");
                assert_eq!(budget.value, stated.value, "{name}");
            }
        }
    }

    /// Sensitivities against the fit made again with one reading changed.
    #[test]
    fn sensitivities_are_those_of_the_fit_made_again() {
        let set = readings(6.3e-3, 0.2, 0.03, 5);
        let moment = |set: &[FieldReading]| fit(set, OffsetChoice::Yes, HZ).unwrap().moment_a_m2;
        let here = fit(&set, OffsetChoice::Yes, HZ).unwrap();
        let budget = &budgets(&here, &set, &[]).unwrap()[0].2;
        for (row, part) in budget.contributions.iter().take(set.len()).enumerate() {
            let shifted = |steps: f64| {
                let mut other = set.clone();
                other[row].field_a_per_m += steps * 0.05 * part.u;
                moment(&other).value
            };
            let slope = (shifted(1.0) - shifted(-1.0)) / (0.1 * part.u);
            // The fit's own second derivatives, left out, are a residual in size: 3 %.
            let off = (slope - part.sensitivity).abs() * part.u / budget.u;
            assert!(off < 0.03, "row {}: {slope} {}", row + 1, part.sensitivity);
        }
    }
}
