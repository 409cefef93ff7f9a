//! What a receiver laid on the snow reads just above each unit.

use super::field_over_snow::{FieldOverSnow, Space};
use super::maxima::{Maxima, maxima};
use crate::field::layered::GroundError;
use crate::station::{Bounds, Station};

/// Height of the coils of a receiver that lies on the snow, m (common practice, no
/// source).
pub const ON_THE_SNOW_M: f64 = 0.1;
/// Half the side of the square shown, in depths.
const REACH: f64 = 1.6;
/// Points along a side.
const POINTS: usize = 121;

/// The field of one unit above itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Above {
    /// Place of the map square above the unit, m.
    pub middle_m: [f64; 2],
    /// x of the columns, m.
    pub x_m: Vec<f64>,
    /// y of the rows, m.
    pub y_m: Vec<f64>,
    /// Magnitude by row and column, A/m.
    pub field_a_per_m: Vec<Vec<f64>>,
    /// The maxima for each reception.
    pub maxima: [Maxima; 3],
}

/// The field over a receiver on the snow, in free space: so near a unit what the ground
/// adds is below a hundredth.
///
/// # Errors
///
/// None that a station read from a file gives rise to.
pub fn on_the_snow(station: &Station, bounds: &Bounds) -> Result<FieldOverSnow, GroundError> {
    FieldOverSnow::new(station, Space::Free, ON_THE_SNOW_M, bounds)
}

/// The same just above `unit`.
pub fn above(field: &FieldOverSnow, unit: usize) -> Above {
    let middle_m = field.on_map(field.above(unit));
    let reach_m = REACH * field.depth_m(unit);
    let along = |middle: f64| -> Vec<f64> {
        let step = 2.0 * reach_m / (POINTS - 1) as f64;
        (0..POINTS).map(|k| middle - reach_m + step * k as f64).collect()
    };
    let (x_m, y_m) = (along(middle_m[0]), along(middle_m[1]));
    let row = |y: &f64| x_m.iter().map(|x| field.magnitude(unit, field.over([*x, *y]))).collect();
    let field_a_per_m = y_m.iter().map(row).collect();
    Above { middle_m, field_a_per_m, maxima: maxima(field, unit), x_m, y_m }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{BOUNDS, station};
    use super::*;

    /// The greatest value of the grid lies beside the greatest maximum.
    #[test]
    fn grid_and_maxima_agree() {
        let slope = "slope = { angle_deg = 20, bearing_deg = 200 }";
        let station = station(slope, &[(3.0, 2.0, 1.4, 80.0, 25.0)]);
        let field = on_the_snow(&station, &BOUNDS).unwrap();
        let above = above(&field, 0);
        let rows = above.field_a_per_m.iter().enumerate();
        let cells = rows.flat_map(|(j, row)| row.iter().enumerate().map(move |(i, h)| (*h, i, j)));
        let (h, i, j) = cells.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
        let best = above.maxima[0].all[0];
        let [x, y] = field.on_map(best.at);
        assert!((above.x_m[i] - x).hypot(above.y_m[j] - y) < 0.06);
        assert!((h / best.field_a_per_m - 1.0).abs() < 0.01);
        // Square to the slope, uphill of the unit as seen from above.
        assert!(above.middle_m[1] < 2.0 && above.middle_m[0] < 3.0, "{:?}", above.middle_m);
    }
}
