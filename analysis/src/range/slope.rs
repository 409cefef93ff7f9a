//! The power law that readings follow, whatever theory says.
//!
//! ln H = c + s · ln d, one exponent s for all readings and an intercept c for
//! each alignment. A dipole near by gives −3; reflections, a wrong distance or
//! a saturated receiver show as another value.

use nalgebra::{DMatrix, DVector};

use super::readings::{Alignment, FieldReading, RangeError};
use crate::reading::Reading;

/// The exponent of `readings` over their stated distances, by weighted linear
/// least squares. Its variance is multiplied by max(1, χ²/ν).
///
/// # Errors
///
/// What [`check`](super::readings::check) finds.
pub fn slope(readings: &[FieldReading]) -> Result<Reading, RangeError> {
    super::readings::check(readings)?;
    let present: Vec<_> = Alignment::ALL
        .into_iter()
        .filter(|alignment| readings.iter().any(|r| r.alignment == *alignment))
        .collect();
    let weight = |row: usize| 1.0 / readings[row].u_rel();
    let design = DMatrix::from_fn(readings.len(), 1 + present.len(), |row, column| {
        let term = match column {
            0 => readings[row].distance_m.ln(),
            _ if readings[row].alignment == present[column - 1] => 1.0,
            _ => 0.0,
        };
        weight(row) * term
    });
    let logs =
        DVector::from_fn(readings.len(), |row, _| weight(row) * readings[row].field_a_per_m.ln());
    let normal = design.tr_mul(&design).cholesky().ok_or(RangeError::OneDistance)?;
    let parameters = normal.solve(&design.tr_mul(&logs));
    let chi_squared = (logs - &design * &parameters).norm_squared();
    let spare = readings.len() - parameters.len();
    let excess = if spare == 0 { 1.0 } else { (chi_squared / spare as f64).max(1.0) };
    Ok(Reading::new(parameters[0], (normal.inverse()[(0, 0)] * excess).sqrt()))
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
