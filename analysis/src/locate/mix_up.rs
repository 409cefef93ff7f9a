//! Rows in another unit than the rest, a factor of 1000 apart.
//!
//! On a circle of circumference ln 1000 the logarithm of a field is the same in
//! nA/m, µA/m and A/m. So the whole ground is searched once more, with rows
//! compared on that circle: a dipole that fits there tells which rows are off, and
//! by which power of 1000, however many they are.

use nalgebra::Vector3;
use num_complex::Complex64;

use super::readings::PlacedReading;
use super::start::{DIRECTIONS, Grid, couplings};

/// Circumference of the circle: ln 1000.
const TURN: f64 = 3.0 * std::f64::consts::LN_10;
/// Relative uncertainty given to rows whose unit is changed: that in the table may
/// be in either unit.
const U_REL: f64 = 0.05;

/// Rows that agree with the rest once multiplied by a power of 1000.
#[derive(Clone, Debug, PartialEq)]
pub struct MixUp {
    /// The readings with the power taken out.
    pub mended: Vec<PlacedReading>,
    /// The rows, counted from 1, that are too large, and those too small.
    pub large: Vec<usize>,
    /// Rows that are too small.
    pub small: Vec<usize>,
}

/// The rows in another unit than most, by the dipole on the grid that fits best on
/// the circle; `None` when all are in one unit.
pub fn mix_up(readings: &[PlacedReading], grid: &Grid) -> Option<MixUp> {
    let logs: Vec<f64> = readings.iter().map(|r| r.field.magnitude().ln()).collect();
    let mut best: (f64, Vec<f64>) = (f64::INFINITY, Vec::new());
    for place in grid.places_m() {
        let couplings = couplings(readings, *place);
        for direction in DIRECTIONS.map(|d| Vector3::from(d.map(f64::from))) {
            let ratios: Vec<f64> = logs
                .iter()
                .zip(&couplings)
                .map(|(log, g)| log - (g * direction).norm().ln())
                .collect();
            let misfit = on_the_circle(&ratios);
            if misfit < best.0 {
                best = (misfit, ratios);
            }
        }
    }
    from_ratios(readings, &best.1)
}

/// The middle of angles on the circle.
fn middle(ratios: &[f64]) -> f64 {
    let sum: Complex64 =
        ratios.iter().map(|r| Complex64::cis(r * std::f64::consts::TAU / TURN)).sum();
    sum.arg() * TURN / std::f64::consts::TAU
}

/// How far values are from their middle on the circle, together.
fn on_the_circle(ratios: &[f64]) -> f64 {
    let middle = middle(ratios);
    ratios.iter().map(|r| r - middle).map(|d| (d - TURN * (d / TURN).round()).abs()).sum()
}

fn from_ratios(readings: &[PlacedReading], ratios: &[f64]) -> Option<MixUp> {
    let middle = middle(ratios);
    let turns: Vec<i32> = ratios.iter().map(|r| ((r - middle) / TURN).round() as i32).collect();
    let mut sorted = turns.clone();
    sorted.sort_unstable();
    let usual = *sorted.get(sorted.len() / 2)?;
    let rows = |which: fn(i32) -> bool| -> Vec<usize> {
        (1..).zip(&turns).filter(|(_, t)| which(**t - usual)).map(|(row, _)| row).collect()
    };
    let (large, small) = (rows(|t| t > 0), rows(|t| t < 0));
    if large.is_empty() && small.is_empty() {
        return None;
    }
    let mended = readings.iter().zip(&turns).map(|(reading, turn)| {
        if *turn == usual {
            return *reading;
        }
        let field = reading.field.scaled(1000f64.powi(usual - turn));
        PlacedReading { field, u_a_per_m: U_REL * field.magnitude(), ..*reading }
    });
    Some(MixUp { mended: mended.collect(), large, small })
}

#[cfg(test)]
mod tests {
    use super::super::surface::Surface;
    use super::super::testing::Invented;
    use super::*;

    #[test]
    fn rows_in_another_unit_are_found_whatever_their_number() {
        for readings in Invented::default().kinds() {
            let grid = Grid::below(&readings, &Surface::through(&readings));
            for wrong in [vec![7], vec![1, 2, 3, 4, 20, 21, 22, 30], (3..15).collect()] {
                let mut mixed = readings.clone();
                for row in &wrong {
                    mixed[row - 1].field = mixed[row - 1].field.scaled(1000.0);
                }
                let found = mix_up(&mixed, &grid).unwrap();
                assert_eq!((found.large, found.small), (wrong, vec![]));
            }
            let mut mixed = readings.clone();
            mixed[9].field = mixed[9].field.scaled(1e-3);
            assert_eq!(mix_up(&mixed, &grid).unwrap().small, [10]);
            assert_eq!(mix_up(&readings, &grid), None);
        }
    }
}
