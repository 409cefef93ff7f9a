//! Readings against the theory of layered ground.

use std::sync::Arc;

use serde::Serialize;

use super::analysis::{Options, residuals_db, without};
use super::fit::{DipoleFit, fit_theory};
use super::fitted::Fitted;
use super::outliers::{self, Outlier};
use super::over_ground::{Coplanar, Heights, OverGround, Soil};
use super::reach::{FARTHEST_OVER_GROUND_M, reach_over_ground};
use super::readings::{Alignment, FieldReading, RangeError};
use super::theory::Theory;
use crate::reading::Reading;

/// What readings say when the ground is counted in.
#[derive(Clone, Debug, Serialize)]
pub struct GroundAnalysis {
    /// Where unit and coil are.
    #[serde(flatten)]
    pub heights: Heights,
    /// How coplanar coils lie.
    pub coplanar: Coplanar,
    /// Resistivity of the soil as stated, Ω·m; absent for an insulator.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stated_soil_resistivity_ohm_m: Option<f64>,
    /// Moment, offset, soil, ranges.
    #[serde(flatten)]
    pub fitted: Fitted,
    /// Measured over fitted field of each reading in dB, in the order given.
    pub residuals_db: Vec<Reading>,
    /// Readings that do not belong with the others.
    pub outliers: Vec<Outlier>,
    /// The results without them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub without_outliers: Option<Fitted>,
    /// What a careful person would want to know about these results.
    pub notes: Vec<String>,
    /// The fit to all readings.
    #[serde(skip)]
    pub fit: DipoleFit,
    /// The fit to the readings that belong together, for drawing.
    #[serde(skip)]
    pub best_fit: DipoleFit,
}

/// Fit a dipole over `ground` to `readings`.
///
/// # Errors
///
/// What [`analyse`](super::analyse) refuses, and readings nearer than the coil is
/// over the unit.
pub fn analyse_over_ground(
    readings: &[FieldReading],
    options: &Options,
    ground: &Arc<OverGround>,
) -> Result<GroundAnalysis, RangeError> {
    let rise_m = ground.rise_m().abs();
    for (row, reading) in (1..).zip(readings) {
        if reading.distance_m < rise_m {
            let distance_m = reading.distance_m;
            return Err(RangeError::TooNear { row, distance_m, rise_m });
        }
    }
    let theory = Theory::OverGround(Arc::clone(ground));
    let of = |readings: &[FieldReading]| {
        fit_theory(readings, options.offset, &theory)
            .map(|fit| fit.with_common(options.u_calibration_rel))
    };
    let fit = of(readings)?;
    let outliers = outliers::find(readings, options.offset, &theory);
    let best_fit = of(&without(readings, &outliers))?;
    let thresholds = &options.thresholds_a_per_m;
    let without_outliers =
        (!outliers.is_empty()).then(|| Fitted::of(&best_fit, thresholds)).transpose()?;
    let resistivity = ground.stated_log_soil().exp();
    Ok(GroundAnalysis {
        heights: ground.heights(),
        coplanar: ground.coplanar(),
        stated_soil_resistivity_ohm_m: resistivity.is_finite().then_some(resistivity),
        fitted: Fitted::of(&fit, thresholds)?,
        residuals_db: residuals_db(readings, &fit),
        outliers,
        without_outliers,
        notes: notes(&fit, ground, thresholds),
        fit,
        best_fit,
    })
}

fn notes(fit: &DipoleFit, ground: &OverGround, thresholds_a_per_m: &[f64]) -> Vec<String> {
    let mut notes = Vec::new();
    for threshold in thresholds_a_per_m {
        let none = |way: &Alignment| matches!(reach_over_ground(fit, *way, *threshold), Ok(None));
        if Alignment::ALL.iter().any(none) {
            notes.push(format!(
                "over ground, {} is met at no distance up to {FARTHEST_OVER_GROUND_M} m in one \
                 alignment or both",
                crate::units::field(*threshold)
            ));
        }
    }
    if ground.soil() == Soil::Open && fit.log_soil.is_none() {
        notes.push(
            "the readings do not bound the resistivity of the soil; the stated one is used: \
             readings farther out would tell"
                .into(),
        );
    }
    if fit.excess_scatter > 2.0 {
        notes.push(format!(
            "readings scatter {:.1} times their stated uncertainty about the theory with ground",
            fit.excess_scatter.sqrt()
        ));
    }
    notes
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::super::over_ground::tests::snow_over_soil;
    use super::super::{OffsetChoice, analyse};
    use super::*;

    fn options() -> Options {
        Options { offset: OffsetChoice::No, ..Options::default() }
    }

    /// Readings of 3 % of 6.3 mA·m² over soil of 100 Ω·m, 3 m to 40 m.
    fn survey(ground: &OverGround, seed: u64) -> Vec<FieldReading> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut set = Vec::new();
        for distance_m in [3.0, 4.0, 6.0, 9.0, 14.0, 20.0, 28.0, 40.0] {
            for alignment in Alignment::ALL {
                let unit = ground.field_a_per_m(alignment, distance_m, 100.0_f64.ln());
                let error: f64 = StandardNormal.sample(&mut rng);
                let field_a_per_m = 6.3e-3 * unit * (0.03 * error).exp();
                let u_field_a_per_m = 0.03 * field_a_per_m;
                set.push(FieldReading { distance_m, field_a_per_m, u_field_a_per_m, alignment });
            }
        }
        set
    }

    /// Range at 80 nA/m within 2 % with readings of 3 %, u that of the scatter, over
    /// random surveys on known ground; a fit of free space misses by more.
    #[test]
    fn range_over_ground_is_right_and_its_u_too() {
        let ground = Arc::new(snow_over_soil(100.0, Soil::Known));
        let truth = {
            let theory = |r| 6.3e-3 * ground.field_a_per_m(Alignment::Coplanar, r, 0.0);
            let (mut near, mut far) = (5.0, 100.0);
            for _ in 0..60 {
                let middle = 0.5 * (near + far);
                if theory(middle) > 80e-9 { near = middle } else { far = middle }
            }
            near
        };
        let (mut ratios, mut moments, mut free_worst) = (Vec::new(), Vec::new(), 0.0_f64);
        for seed in 0..80 {
            let set = survey(&ground, seed);
            let with = analyse_over_ground(&set, &options(), &ground).unwrap();
            let range_m = with.fitted.ranges[1].range_m;
            assert!((range_m.value / truth - 1.0).abs() < 0.02, "{range_m:?} {truth}");
            ratios.push((range_m.value - truth) / range_m.u);
            moments.push((with.fitted.moment_a_m2.value - 6.3e-3) / with.fitted.moment_a_m2.u);
            let free = analyse(&set, &options()).unwrap();
            free_worst = free_worst.max((free.ranges[1].range_m.value / truth - 1.0).abs());
        }
        for ratios in [ratios, moments] {
            let rms = (ratios.iter().map(|r| r * r).sum::<f64>() / ratios.len() as f64).sqrt();
            assert!((0.8..1.25).contains(&rms), "{rms}");
        }
        assert!(free_worst > 0.05, "{free_worst}");
    }

    #[test]
    fn outliers_are_named_by_the_ground_and_both_results_given() {
        let ground = Arc::new(snow_over_soil(100.0, Soil::Known));
        let mut set = survey(&ground, 5);
        set[6].field_a_per_m *= 1.5;
        let analysis = analyse_over_ground(&set, &options(), &ground).unwrap();
        assert_eq!(analysis.outliers.iter().map(|o| o.row).collect::<Vec<_>>(), [7]);
        let without = analysis.without_outliers.unwrap();
        assert!(without.chi_squared < analysis.fitted.chi_squared);
        assert_eq!(analysis.residuals_db.len(), set.len());
    }

    /// A reading straight above the unit, where an offset has nowhere to go.
    #[test]
    fn outliers_are_found_straight_above_the_unit_too() {
        let ground = Arc::new(snow_over_soil(100.0, Soil::Known));
        let mut set = survey(&ground, 3);
        let field_a_per_m = 6.3e-3 * ground.field_a_per_m(Alignment::Coaxial, 2.0, 0.0);
        set.push(FieldReading { distance_m: 2.0, field_a_per_m, ..set[0] });
        set.last_mut().unwrap().u_field_a_per_m = 0.03 * field_a_per_m;
        set[9].field_a_per_m *= 1.6;
        let thresholds_a_per_m = vec![80e-9, 1e-12];
        let analysis = analyse_over_ground(
            &set,
            &Options { thresholds_a_per_m, ..Options::default() },
            &ground,
        );
        let analysis = analysis.unwrap();
        assert_eq!(analysis.outliers.iter().map(|o| o.row).collect::<Vec<_>>(), [10]);
        assert!(analysis.notes[0].contains("at no distance up to 300 m"), "{:?}", analysis.notes);
    }

    #[test]
    fn readings_that_cannot_be_there_are_refused() {
        let ground = Arc::new(snow_over_soil(100.0, Soil::Known));
        let mut set = survey(&ground, 1);
        set[3].distance_m = 1.5;
        let error = analyse_over_ground(&set, &options(), &ground).unwrap_err();
        assert_eq!(error.row(), Some(4));
        assert!(error.to_string().contains("less than the 2 m"), "{error}");
    }
}
