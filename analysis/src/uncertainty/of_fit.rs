//! What the readings of a fit make of its results.
//!
//! In a weighted least-squares fit a result follows each reading by the sensitivity
//! that the normal equations give it (JCGM 100, H.3, for any number of parameters),
//! so that the squares of the readings' parts add up to the variance of the fit.

use super::budget::Budget;
use super::error::UncertaintyError;
use super::input::Input;
use super::inputs::Inputs;
use super::propagate::with_sensitivities;

/// An input and ∂result/∂input.
pub type Part = (Input, f64);

/// The readings of a fit, as stated, and how they scatter about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// What all variances of readings are widened by: max(1, χ²/ν).
    pub excess: f64,
    /// ν, readings less parameters.
    pub degrees_of_freedom: usize,
}

/// The budget of a result of a fit: each reading, widened by the scatter about the
/// fit, and what came in beside them.
///
/// Readings that had to be widened have the uncertainty that their scatter shows:
/// type A, of one estimate with ν degrees of freedom.
///
/// # Errors
///
/// Numbers that are none: [`UncertaintyError`].
pub fn budget(
    value: f64,
    readings: impl IntoIterator<Item = Part>,
    scatter: Scatter,
    beside: impl IntoIterator<Item = Part>,
) -> Result<Budget, UncertaintyError> {
    let (mut inputs, mut sensitivities) = (Inputs::new(), Vec::new());
    let mut first = None;
    for (reading, sensitivity) in readings {
        let place = inputs.add(widened(reading, scatter)?);
        inputs.of_one_estimate(*first.get_or_insert(place), place);
        sensitivities.push(sensitivity);
    }
    for (input, sensitivity) in beside {
        inputs.add(input);
        sensitivities.push(sensitivity);
    }
    with_sensitivities(&inputs, value, &sensitivities)
}

fn widened(reading: Input, scatter: Scatter) -> Result<Input, UncertaintyError> {
    if scatter.excess <= 1.0 {
        return Ok(reading);
    }
    let u = reading.u * scatter.excess.sqrt();
    let freedom = scatter.degrees_of_freedom as f64;
    Input::observed(
        reading.name,
        reading.unit,
        crate::reading::Reading::new(reading.value, u),
        freedom,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::Evaluation;

    fn mean_of(excess: f64) -> Budget {
        let reading = |i: usize| (Input::normal(format!("row {i}"), "V", 1.0, 0.2).unwrap(), 0.25);
        let shared = (Input::normal("calibration", "", 1.0, 0.05).unwrap(), 1.0);
        let scatter = Scatter { excess, degrees_of_freedom: 3 };
        budget(1.0, (1..=4).map(reading), scatter, [shared]).unwrap()
    }

    #[test]
    fn readings_that_keep_what_they_say_are_not_doubted() {
        let budget = mean_of(1.0);
        assert!((budget.u - 0.1f64.hypot(0.05)).abs() < 1e-12);
        assert_eq!(budget.degrees_of_freedom, f64::INFINITY);
        assert_eq!(budget.contributions[0].evaluation, Evaluation::B);
    }

    /// Four readings of one scatter have its three degrees of freedom, not twelve.
    #[test]
    fn readings_widened_by_one_scatter_count_as_one() {
        let budget = mean_of(4.0);
        assert!((budget.u - 0.2f64.hypot(0.05)).abs() < 1e-12);
        let share = 0.04 / (0.04 + 0.0025);
        assert!((budget.degrees_of_freedom - 3.0 / (share * share)).abs() < 1e-9);
        assert_eq!(budget.contributions[0].evaluation, Evaluation::A);
        assert_eq!(budget.contributions[4].evaluation, Evaluation::B);
    }
}
