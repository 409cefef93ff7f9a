//! A reading beside the fit to the readings before it.

use serde::Serialize;

use crate::range::analysis::DB_PER_NEPER;
use crate::range::{DipoleFit, FieldReading};
use crate::reading::Reading;

/// What the fit to the other readings expects at a reading's place, and how the
/// reading differs from it. What all readings share, as their calibration, is in
/// both and counts for nothing here.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// Field that the fit expects, A/m.
    pub expected_a_per_m: Reading,
    /// Reading over expected field, dB; u is that of both.
    pub difference_db: Reading,
    /// The difference in units of its standard uncertainty, by the measure of
    /// [`FieldReading::residual`].
    pub difference_u: f64,
}

impl Comparison {
    /// A difference beyond three times its uncertainty: once in 370 readings by
    /// chance.
    pub fn is_surprising(&self) -> bool {
        self.difference_u.abs() > 3.0
    }

    /// `reading` beside `fit`, which was made without it.
    pub fn of(reading: &FieldReading, fit: &DipoleFit) -> Self {
        let expected = fit.field_beside_readings(reading.alignment, reading.distance_m);
        let both =
            FieldReading { u_field_a_per_m: reading.u_field_a_per_m.hypot(expected.u), ..*reading };
        Self {
            expected_a_per_m: expected,
            difference_db: Reading::new(
                DB_PER_NEPER * (reading.field_a_per_m / expected.value).ln(),
                DB_PER_NEPER * reading.u_rel().hypot(expected.u_rel()),
            ),
            difference_u: both.residual(expected.value),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::fit::fit;
    use crate::range::{Alignment, OffsetChoice};

    fn reading(distance_m: f64, factor: f64) -> FieldReading {
        let field_a_per_m = factor * Alignment::Coaxial.field_a_per_m(5e-3, distance_m, 457e3);
        FieldReading {
            distance_m,
            field_a_per_m,
            u_field_a_per_m: 0.02 * field_a_per_m,
            alignment: Alignment::Coaxial,
        }
    }

    #[test]
    fn tells_the_difference_in_decibels_and_in_u() {
        let before = [2.0, 3.0, 5.0, 8.0].map(|d| reading(d, 1.0));
        let fit = fit(&before, OffsetChoice::No, 457e3).unwrap();
        let same = Comparison::of(&reading(12.0, 1.0), &fit);
        assert!(same.difference_u.abs() < 1e-6 && !same.is_surprising());
        // 2 % of its own and 2 %/√4 of the fit's: 2.236 %.
        let u_db = DB_PER_NEPER * 0.02 * 1.25_f64.sqrt();
        assert!((same.difference_db.u / u_db - 1.0).abs() < 1e-6);
        let twice = Comparison::of(&reading(12.0, 2.0), &fit);
        assert!((twice.difference_db.value - 6.0206).abs() < 1e-4);
        assert!(twice.is_surprising());
        // What all share is no reason to differ, nor to be let off.
        let shared = fit.with_common(0.5);
        assert_eq!(Comparison::of(&reading(12.0, 2.0), &shared), twice);
    }
}
