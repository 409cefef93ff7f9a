//! Rows that do not fit the others.

use super::fit::{Solution, fit};
use super::readings::PlacedReading;
use super::surface::Surface;
use crate::field::medium::Medium;

/// A row whose leaving out makes χ² so many times less is one to look at.
const TELLING: f64 = 3.0;

/// The row (counted from 1) without which the others agree far better, and χ²
/// without it.
pub fn outlier(
    readings: &[PlacedReading],
    surface: &Surface,
    space: &dyn Medium,
    best: &Solution,
) -> Option<(usize, f64)> {
    let without = |row: usize| {
        let mut others = readings.to_vec();
        others.remove(row);
        let chi_squared =
            fit(&others, surface, space, best.position_m, best.moment_a_m2)?.chi_squared;
        Some((row + 1, chi_squared))
    };
    let least = (0..readings.len()).filter_map(without).min_by(|a, b| a.1.total_cmp(&b.1));
    least.filter(|(_, chi_squared)| TELLING * chi_squared < best.chi_squared)
}
