//! The power law that readings follow, whatever theory says.
//!
//! ln H = c + s · ln d, one exponent s for all readings and an intercept c for
//! each alignment. A dipole near by gives −3; reflections, a wrong distance or
//! a saturated receiver show as another value.

use nalgebra::DVector;

use super::least_squares::minimise;
use super::readings::{Alignment, FieldReading, RangeError};
use crate::reading::Reading;

/// The exponent of `readings` over their stated distances, by least squares of
/// [`FieldReading::residual`]. Its variance is multiplied by max(1, χ²/ν).
///
/// # Errors
///
/// What [`check`](super::readings::check) finds, and [`RangeError::NoFit`].
pub fn slope(readings: &[FieldReading]) -> Result<Reading, RangeError> {
    super::readings::check(readings)?;
    let present: Vec<_> = Alignment::ALL
        .into_iter()
        .filter(|alignment| readings.iter().any(|r| r.alignment == *alignment))
        .collect();
    // The strength of each alignment is taken at its mean distance, where it is
    // independent of the exponent.
    let centres: Vec<_> = present.iter().map(|a| Centre::of(readings, *a)).collect();
    let mut start = vec![-3.0];
    start.extend(centres.iter().map(|centre| centre.log_field));
    let minimum = minimise(&start, |p| {
        DVector::from_iterator(
            readings.len(),
            readings.iter().map(|r| {
                let i = present.iter().position(|a| *a == r.alignment).unwrap_or_default();
                let log_ratio = r.distance_m.ln() - centres[i].log_distance;
                r.residual((p[1 + i] + p[0] * log_ratio).exp())
            }),
        )
    })
    .ok_or(RangeError::NoFit)?;
    let variance = minimum.covariance[(0, 0)] * minimum.excess_scatter();
    Ok(Reading::new(minimum.parameters[0], variance.sqrt()))
}

/// Means of the logarithms of the readings of one alignment.
struct Centre {
    log_distance: f64,
    log_field: f64,
}

impl Centre {
    fn of(readings: &[FieldReading], alignment: Alignment) -> Self {
        let of = readings.iter().filter(|r| r.alignment == alignment);
        let count = of.clone().count() as f64;
        Self {
            log_distance: of.clone().map(|r| r.distance_m.ln()).sum::<f64>() / count,
            log_field: of.map(|r| r.field_a_per_m.ln()).sum::<f64>() / count,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fit::tests::{readings, root_mean_square};
    use super::*;

    #[test]
    fn near_readings_of_a_dipole_fall_by_the_cube() {
        let set = readings(1e-3, 0.0, 1e-9, 0);
        let slope = slope(&set).unwrap();
        // The induction term already bends 20 m by (kr)² ≈ 4 %.
        assert!((slope.value + 3.0).abs() < 0.01, "{slope:?}");
    }

    #[test]
    fn any_power_law_is_found() {
        let mut set = readings(1e-3, 0.0, 1e-9, 0);
        for r in &mut set {
            let strength = if r.alignment == Alignment::Coaxial { 3.0 } else { 0.7 };
            r.field_a_per_m = strength * r.distance_m.powf(-2.2);
            r.u_field_a_per_m = 0.02 * r.field_a_per_m;
        }
        let slope = slope(&set).unwrap();
        assert!((slope.value + 2.2).abs() < 1e-10);
        // By hand: u = 0.02 / √Σ(ln d − mean)², both alignments alike.
        let logs = super::super::fit::tests::DISTANCES_M.map(f64::ln);
        let mean = logs.iter().sum::<f64>() / 7.0;
        let spread = 2.0 * logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>();
        assert!((slope.u / (0.02 / spread.sqrt()) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn stated_u_is_the_scatter() {
        let truth = slope(&readings(6.3e-3, 0.0, 1e-12, 0)).unwrap().value;
        let errors = (0..400).map(|seed| {
            let slope = slope(&readings(6.3e-3, 0.0, 0.05, seed)).unwrap();
            (slope.value - truth) / slope.u
        });
        let rms = root_mean_square(errors);
        assert!((0.8..1.25).contains(&rms), "{rms}");
    }
}
