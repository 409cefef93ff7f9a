//! The field over the whole of a station: how strong, and whose.

use serde::Serialize;

use super::field_over_snow::FieldOverSnow;
use super::radial::Radial;
use super::snow::distance_m;
use crate::station::Bounds;

/// Magnitudes over a grid of the map, at the height of the receiver.
///
/// Units send one after the other, so their fields do not add up: at each place the
/// strongest of them is what a receiver follows.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldMap {
    /// x of the columns, m.
    pub x_m: Vec<f64>,
    /// y of the rows, m.
    pub y_m: Vec<f64>,
    /// RMS field of each unit by row and column, A/m.
    pub of_units: Vec<Vec<Vec<f64>>>,
    /// Number of the strongest unit by row and column.
    pub strongest: Vec<Vec<usize>>,
    /// Its field, A/m.
    pub field_a_per_m: Vec<Vec<f64>>,
}

/// Shares of a field's area.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Shares {
    /// Where no unit is heard.
    pub silent: f64,
    /// Of each unit, in the order of the station.
    pub units: Vec<UnitShares>,
}

/// Shares of a field's area that belong to a unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct UnitShares {
    /// Where it is heard.
    pub heard: f64,
    /// Where it is heard and none is stronger.
    pub strongest: f64,
}

impl FieldMap {
    /// Over `bounds`, its longer side in `points` columns or rows (2 or more).
    pub fn of(field: &FieldOverSnow, bounds: &Bounds, points: usize) -> Self {
        let [wide, high] = bounds.sides_m();
        let step = wide.max(high) / (points.max(2) - 1) as f64;
        let along = |[from, to]: [f64; 2]| -> Vec<f64> {
            let count = ((to - from) / step).round().max(1.0) as usize;
            let at = |k: usize| from + (to - from) * k as f64 / count as f64;
            (0..=count).map(at).collect()
        };
        let (x_m, y_m) = (along(bounds.x_m), along(bounds.y_m));
        let corners = field.snow.corners(bounds, field.height_m);
        let of_unit = |unit: usize| -> Vec<Vec<f64>> {
            let far = corners.map(|corner| distance_m(field.above(unit), corner));
            let radial = Radial::of(field, unit, far.into_iter().fold(0.0, f64::max));
            let at = |x: f64, y: f64| radial.magnitude(field.over([x, y]));
            y_m.iter().map(|y| x_m.iter().map(|x| at(*x, *y)).collect()).collect()
        };
        let of_units: Vec<Vec<Vec<f64>>> = (0..field.units()).map(of_unit).collect();
        let (columns, lines, units) = (x_m.len(), y_m.len(), field.units());
        let at = |unit: usize, row: usize, column: usize| -> f64 { of_units[unit][row][column] };
        let winner = |row, column| {
            (0..units).max_by(|a, b| at(*a, row, column).total_cmp(&at(*b, row, column)))
        };
        let strongest: Vec<Vec<usize>> = (0..lines)
            .map(|row| (0..columns).map(|column| winner(row, column).unwrap_or(0)).collect())
            .collect();
        let field_a_per_m = (0..lines)
            .map(|row| (0..columns).map(|c| at(strongest[row][c], row, c)).collect())
            .collect();
        Self { x_m, y_m, of_units, strongest, field_a_per_m }
    }

    /// Shares of the area, with `threshold_a_per_m` as the field that is heard.
    pub fn shares(&self, threshold_a_per_m: f64) -> Shares {
        // A point on an edge stands for half the area of one inside.
        let weight = |k: usize, count: usize| if k == 0 || k + 1 == count { 0.5 } else { 1.0 };
        let (columns, lines) = (self.x_m.len(), self.y_m.len());
        let all = ((columns - 1) * (lines - 1)) as f64;
        let share = |counts: &dyn Fn(usize, usize) -> bool| -> f64 {
            let places = (0..lines).flat_map(|row| (0..columns).map(move |column| (row, column)));
            let inside = places.filter(|(row, column)| counts(*row, *column));
            inside.map(|(r, c)| weight(r, lines) * weight(c, columns)).sum::<f64>() / all
        };
        let heard = |field: f64| field >= threshold_a_per_m;
        let unit = |number: usize| UnitShares {
            heard: share(&|row, column| heard(self.of_units[number][row][column])),
            strongest: share(&|row, column| {
                self.strongest[row][column] == number && heard(self.field_a_per_m[row][column])
            }),
        };
        Shares {
            silent: share(&|row, column| !heard(self.field_a_per_m[row][column])),
            units: (0..self.of_units.len()).map(unit).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::field_over_snow::Space;
    use super::super::testing::{BOUNDS, station};
    use super::*;

    fn map(units: &[(f64, f64, f64, f64, f64)]) -> FieldMap {
        let station = station("", units);
        let field = FieldOverSnow::new(&station, Space::Free, 1.0, &BOUNDS).unwrap();
        FieldMap::of(&field, &BOUNDS, 61)
    }

    /// Two upright units alike: the line halfway between them parts the field.
    #[test]
    fn units_alike_part_the_field_halfway() {
        let map = map(&[(-10.0, 0.0, 1.0, 0.0, 90.0), (10.0, 0.0, 1.0, 0.0, 90.0)]);
        assert_eq!((map.x_m.len(), map.y_m.len()), (61, 41));
        for (row, y) in map.strongest.iter().zip(&map.y_m) {
            for (who, x) in row.iter().zip(&map.x_m).filter(|(_, x)| x.abs() > 0.5) {
                assert_eq!(*who, usize::from(*x > 0.0), "at {x}, {y}");
            }
        }
        let shares = map.shares(80e-9);
        assert!((shares.units[0].strongest - shares.units[1].strongest).abs() < 0.05);
        let sum: f64 = shares.units.iter().map(|u| u.strongest).sum();
        assert!((sum + shares.silent - 1.0).abs() < 1e-12);
        assert!(shares.units[0].heard > shares.units[0].strongest);
    }

    /// 1 µA/m at 10 m on the axis of an upright unit is 80 nA/m beside it at
    /// 10 m · (12.5/2)^(1/3) = 18.4 m, 18.3 m along the snow from 2 m above it.
    #[test]
    fn a_unit_is_heard_as_far_as_the_law_says() {
        let map = map(&[(0.0, 0.0, 1.0, 0.0, 90.0)]);
        let heard = map.shares(80e-9).units[0].heard;
        let radius = (heard * 60.0 * 40.0 / std::f64::consts::PI).sqrt();
        assert!((radius - 18.3).abs() < 0.2, "{radius}");
    }
}
