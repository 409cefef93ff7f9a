//! Why readings do not fit: faults that betray themselves.
//!
//! Asked only when χ² is far too large, since each question is a whole search of
//! its own. Nothing is mended in silence: what fits far better is named.

use super::candidates::candidates;
use super::fit::Solution;
use super::mix_up::mix_up;
use super::outlier::outlier;
use super::plan_axes::WRONG_WAYS;
use super::readings::{LocateError, Measured, PlacedReading};
use super::start::Grid;
use super::surface::Surface;
use crate::field::medium::Medium;

/// χ² per degree of freedom from which on questions are asked.
const FAR_TOO_LARGE: f64 = 4.0;
/// By what factor χ² must fall for another way of reading the table to be named.
const FAR_BETTER: f64 = 5.0;

/// χ² of a single reading from which on they are asked as well: among many good
/// ones a bad one does not show in the whole.
const OF_ONE_READING: f64 = 64.0;

/// Whether a fit is so bad that [`explain`] should be asked.
pub fn is_bad(readings: &[PlacedReading], medium: &dyn Medium, best: &Solution) -> bool {
    let of_one =
        best.residuals(readings, medium).iter().map(|r| r.chi_squared()).fold(0.0, f64::max);
    best.chi_squared > FAR_TOO_LARGE * best.degrees_of_freedom.max(1) as f64
        || of_one > OF_ONE_READING
}

/// What may explain a bad fit: notes on single rows and on the heading.
///
/// # Errors
///
/// Rows in another unit, or axes that do not match the plan: then no place found
/// from the table as it stands is worth anything.
pub fn explain(
    readings: &[PlacedReading],
    surface: &Surface,
    space: &dyn Medium,
    chi_squared: f64,
) -> Result<(), LocateError> {
    let least = |readings: &[PlacedReading]| {
        candidates(readings, surface, space, None)
            .first()
            .map_or(f64::INFINITY, |best| best.chi_squared)
    };
    if let Some(found) = mix_up(readings, &Grid::below(readings, surface)) {
        let chi_squared_otherwise = least(&found.mended);
        if FAR_BETTER * chi_squared_otherwise < chi_squared {
            let large = !found.large.is_empty();
            let rows = if large { found.large } else { found.small };
            return Err(LocateError::UnitMixUp { rows, large, chi_squared, chi_squared_otherwise });
        }
    }
    let ways = WRONG_WAYS.iter().filter_map(|way| Some((way.how, least(&way.of(readings)?))));
    if let Some((how, chi_squared_otherwise)) = ways.min_by(|a, b| a.1.total_cmp(&b.1))
        && FAR_BETTER * chi_squared_otherwise < chi_squared
    {
        return Err(LocateError::Axes { how: how.into(), chi_squared, chi_squared_otherwise });
    }
    Ok(())
}

/// Notes on a bad fit that is still the best there is.
pub fn remarks(
    readings: &[PlacedReading],
    surface: &Surface,
    space: &dyn Medium,
    best: &Solution,
) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some((row, chi_squared)) = outlier(readings, surface, space, best) {
        notes.push(format!(
            "row {row} does not fit the others: without it chi squared falls from {} to {}; \
             check its place and field",
            crate::units::significant(best.chi_squared, 3),
            crate::units::significant(chi_squared, 3)
        ));
    } else if readings.iter().all(|r| matches!(r.field, Measured::Vector(_))) {
        let blind: Vec<_> = readings
            .iter()
            .map(|r| PlacedReading { field: r.field.without_heading(), ..*r })
            .collect();
        let found = candidates(&blind, surface, space, None);
        let good = found.first().is_some_and(|b| FAR_BETTER * b.chi_squared < best.chi_squared);
        if good {
            notes.push(
                "the horizontal directions do not match one another while the horizontal and \
                 vertical parts do: if the receiver's heading was not kept, say --heading unknown"
                    .into(),
            );
        }
    }
    notes
}
