//! How far a transmitter is heard.

use serde::Serialize;

use super::fit::DipoleFit;
use super::readings::{Alignment, RangeError};
use crate::reading::Reading;

/// Distance at which the field falls to a threshold.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Reach {
    /// RMS field that the receiver needs, A/m; taken as exact.
    pub threshold_a_per_m: Reading,
    /// How the coils stand.
    pub alignment: Alignment,
    /// True distance at which the field is that, m.
    pub range_m: Reading,
}

/// The range of the fitted dipole at `threshold_a_per_m` (A/m).
///
/// All three terms count: beyond the near zone the field falls more slowly than
/// 1/r³. The field falls strictly with distance in both alignments, so there is
/// one such distance. u follows from that of the moment through the local
/// exponent n: u(r)/r = u(m)/m / |n|.
///
/// Accuracy: 1e-13 of the distance.
///
/// # Errors
///
/// [`RangeError::Threshold`] for a threshold not over zero and finite.
pub fn reach(
    fit: &DipoleFit,
    alignment: Alignment,
    threshold_a_per_m: f64,
) -> Result<Reach, RangeError> {
    check_threshold(threshold_a_per_m)?;
    let excess = excess(fit, alignment, threshold_a_per_m);
    // The static term alone gives a first guess; the exponent lies between −1
    // and −3.2, so stepping by what is missing brackets the answer.
    let guess = (fit.moment_a_m2.value / threshold_a_per_m).cbrt().ln();
    let (mut inside, mut outside) = (guess, guess);
    while excess(inside) < 0.0 {
        inside += 0.5 * excess(inside) - 0.1;
    }
    while excess(outside) > 0.0 {
        outside += excess(outside) + 0.1;
    }
    Ok(between(fit, alignment, threshold_a_per_m, (inside, outside)))
}

/// How far ranges over ground are looked for, m.
pub const FARTHEST_OVER_GROUND_M: f64 = 300.0;

/// The range of a dipole fitted over ground, where the field need not fall at every
/// step: the nearest distance at which it falls to the threshold. `None` where it
/// does not within [`FARTHEST_OVER_GROUND_M`], or is below it from the start.
///
/// # Errors
///
/// [`RangeError::Threshold`] for a threshold not over zero and finite.
pub fn reach_over_ground(
    fit: &DipoleFit,
    alignment: Alignment,
    threshold_a_per_m: f64,
) -> Result<Option<Reach>, RangeError> {
    check_threshold(threshold_a_per_m)?;
    let excess = excess(fit, alignment, threshold_a_per_m);
    let (mut inside, mut outside) = (f64::NAN, 0.05_f64.ln());
    while outside < FARTHEST_OVER_GROUND_M.ln() {
        let over = excess(outside);
        if over > 0.0 {
            inside = outside;
        } else if over <= 0.0 {
            // Nearer than the coil is over the unit there is no field at all.
            let found = !inside.is_nan();
            return Ok(found.then(|| between(fit, alignment, threshold_a_per_m, (inside, outside))));
        }
        outside += 0.02;
    }
    Ok(None)
}

fn check_threshold(threshold_a_per_m: f64) -> Result<(), RangeError> {
    match threshold_a_per_m > 0.0 && threshold_a_per_m.is_finite() {
        true => Ok(()),
        false => Err(RangeError::Threshold(threshold_a_per_m)),
    }
}

/// ln of field over threshold, by ln of distance.
fn excess(
    fit: &DipoleFit,
    alignment: Alignment,
    threshold_a_per_m: f64,
) -> impl Fn(f64) -> f64 + '_ {
    let log_threshold = (threshold_a_per_m / fit.moment_a_m2.value).ln();
    let log_soil = fit.log_soil();
    move |log_r| fit.theory.field_a_per_m(alignment, log_r.exp(), log_soil).ln() - log_threshold
}

/// The crossing between two logarithms of distance, by bisection.
fn between(
    fit: &DipoleFit,
    alignment: Alignment,
    threshold_a_per_m: f64,
    (mut inside, mut outside): (f64, f64),
) -> Reach {
    let excess = excess(fit, alignment, threshold_a_per_m);
    while outside - inside > 1e-14 * (1.0 + inside.abs()) {
        let middle = 0.5 * (inside + outside);
        if middle <= inside || middle >= outside {
            break;
        }
        if excess(middle) > 0.0 { inside = middle } else { outside = middle }
    }
    let range_m = (0.5 * (inside + outside)).exp();
    let u_rel = fit.field_at(alignment, range_m).u_rel() / fit.exponent(alignment, range_m).abs();
    Reach {
        threshold_a_per_m: Reading::new(threshold_a_per_m, 0.0),
        alignment,
        range_m: Reading::new(range_m, range_m * u_rel),
    }
}

#[cfg(test)]
mod tests {
    use super::super::fit::tests::{HZ, readings, root_mean_square};
    use super::super::fit::{OffsetChoice, fit};
    use super::*;

    fn clean(moment_a_m2: f64) -> DipoleFit {
        let mut set = readings(moment_a_m2, 0.0, 1e-12, 0);
        set.iter_mut().for_each(|r| r.u_field_a_per_m = 0.03 * r.field_a_per_m);
        fit(&set, OffsetChoice::No, HZ).unwrap()
    }

    #[test]
    fn field_at_the_range_is_the_threshold() {
        let fit = clean(6.3e-3);
        for alignment in Alignment::ALL {
            for threshold in [1e-3, 8e-8, 1e-10, 1e-13] {
                let reach = reach(&fit, alignment, threshold).unwrap();
                let field = fit.field_at(alignment, reach.range_m.value).value;
                assert!((field / threshold - 1.0).abs() < 1e-11, "{alignment} {threshold}");
            }
        }
    }

    /// Design value: with random orientation the range lies between the
    /// coplanar one and 2^(1/3) of it, the coaxial.
    #[test]
    fn near_by_coaxial_reaches_cube_root_of_two_farther() {
        let fit = clean(1e-6);
        let [on_axis, beside] = Alignment::ALL.map(|a| reach(&fit, a, 8e-8).unwrap().range_m.value);
        assert!((on_axis / beside / 2f64.cbrt() - 1.0).abs() < 1e-3);
    }

    #[test]
    fn near_by_u_is_a_third_of_that_of_the_moment() {
        let fit = clean(1e-6);
        let reach = reach(&fit, Alignment::Coaxial, 8e-8).unwrap();
        assert!((reach.range_m.u_rel() / fit.moment_a_m2.u_rel() * 3.0 - 1.0).abs() < 1e-3);
    }

    #[test]
    fn stated_u_of_the_range_is_its_scatter() {
        let truth = Alignment::ALL.map(|a| reach(&clean(6.3e-3), a, 80e-9).unwrap().range_m.value);
        for (alignment, truth) in Alignment::ALL.into_iter().zip(truth) {
            let errors = (0..400).map(|seed| {
                let fit = fit(&readings(6.3e-3, 0.0, 0.05, seed), OffsetChoice::No, HZ).unwrap();
                let range_m = reach(&fit, alignment, 80e-9).unwrap().range_m;
                (range_m.value - truth) / range_m.u
            });
            let rms = root_mean_square(errors);
            assert!((0.8..1.25).contains(&rms), "{rms} {alignment}");
        }
    }

    #[test]
    fn senseless_thresholds_are_refused() {
        for threshold in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(reach(&clean(1.0), Alignment::Coaxial, threshold).is_err());
        }
    }
}
