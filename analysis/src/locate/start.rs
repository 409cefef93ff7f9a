//! Where to begin: the whole ground below the readings, searched.
//!
//! Signs and headings are no hindrance once fields are multiplied by one another:
//! the products h_a h_b of a vector, hx² + hy² and hz² without heading, h² of a
//! magnitude are free of them and *linear* in the six products m_i m_j of the
//! moment's components. So at any one place the best products are a linear fit,
//! and their greatest eigenvector is the moment. Doing so at the places of a grid
//! leaves a misfit with few valleys; the deepest of them are where fits begin.
//! No guess is needed, none is asked for.
//!
//! Between the places of a coarse grid the field differs by tens of per cent, so
//! every reading counts here with at least a fifth of itself as uncertainty.
//!
//! Cost: some 2000 places, about 0.15 µs per place and number read; the field is
//! that of free space whatever the ground, which moves the near field little.

use nalgebra::{Matrix3, Matrix6, SymmetricEigen, Vector3, Vector6};
use num_complex::Complex64;

use super::observation::residuals;
use super::readings::{Measured, PlacedReading};
use super::surface::Surface;
use crate::field::medium::Medium;

/// Least share of a reading taken as its uncertainty in the search.
const COARSE: f64 = 0.2;
/// Places of the grid along each side.
const ACROSS: usize = 17;
/// Depths of the grid.
const DEEP: usize = 9;
/// The shallowest, m.
const SHALLOWEST_M: f64 = 0.15;
/// Valleys to begin fits in.
const VALLEYS: usize = 10;

/// A place and moment to begin with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Start {
    /// Place, m.
    pub position_m: Vector3<f64>,
    /// Moment, A·m².
    pub moment_a_m2: Vector3<f64>,
    /// How badly it fits.
    pub misfit: f64,
}

/// The places that the search looks at: `[depth][y][x]`, m.
pub struct Grid {
    places_m: Vec<Vector3<f64>>,
}

impl Grid {
    /// Below the readings and a third of their extent beyond, down to their extent.
    pub fn below(readings: &[PlacedReading], surface: &Surface) -> Self {
        let span = |axis: usize| {
            let along = || readings.iter().map(|r| r.place_m[axis]);
            (along().fold(f64::INFINITY, f64::min), along().fold(f64::NEG_INFINITY, f64::max))
        };
        let (x, y) = (span(0), span(1));
        let extent = (x.1 - x.0).max(y.1 - y.0).max(1.0);
        let beyond = extent / 3.0;
        let at = |(low, high): (f64, f64), i: usize| {
            low - beyond + (high - low + 2.0 * beyond) * i as f64 / (ACROSS - 1) as f64
        };
        let deepest = extent.max(3.0);
        let depth = |i: usize| {
            SHALLOWEST_M * (deepest / SHALLOWEST_M).powf(i as f64 / (DEEP - 1) as f64)
        };
        let columns = || (0..ACROSS).flat_map(|j| (0..ACROSS).map(move |i| (i, j)));
        let place = |(i, j): (usize, usize), depth_m: f64| {
            surface.place(at(x, i), at(y, j)) - surface.normal() * depth_m
        };
        let layers = (0..DEEP).map(depth);
        let places_m = layers.flat_map(|d| columns().map(move |c| (c, d)));
        Self { places_m: places_m.map(|(c, d)| place(c, d)).collect() }
    }

    /// The places.
    pub fn places_m(&self) -> &[Vector3<f64>] {
        &self.places_m
    }

    /// Whether no neighbour of place `index` has a lower value.
    fn is_valley(&self, values: &[f64], index: usize) -> bool {
        let at = [index % ACROSS, index / ACROSS % ACROSS, index / (ACROSS * ACROSS)];
        let near = |centre: usize, count: usize| {
            centre.saturating_sub(1)..=(centre + 1).min(count - 1)
        };
        let neighbours = near(at[2], DEEP).flat_map(|k| {
            near(at[1], ACROSS).flat_map(move |j| {
                near(at[0], ACROSS).map(move |i| (k * ACROSS + j) * ACROSS + i)
            })
        });
        neighbours.into_iter().all(|other| values[index] <= values[other])
    }
}

/// The most promising starts, the best first; none when no place of the grid
/// gives a moment.
pub fn starts(readings: &[PlacedReading], grid: &Grid, space: &dyn Medium) -> Vec<Start> {
    let coarse: Vec<_> = readings
        .iter()
        .map(|r| PlacedReading { u_a_per_m: r.u_a_per_m.max(COARSE * r.field.magnitude()), ..*r })
        .collect();
    let all: Vec<_> = grid.places_m.iter().map(|place| start_at(&coarse, *place, space)).collect();
    let misfits: Vec<f64> =
        all.iter().map(|s| s.as_ref().map_or(f64::INFINITY, |s| s.misfit)).collect();
    let valleys = all.iter().enumerate().filter(|(i, _)| grid.is_valley(&misfits, *i));
    let mut starts: Vec<Start> = valleys.filter_map(|(_, start)| *start).collect();
    starts.sort_by(|a, b| a.misfit.total_cmp(&b.misfit));
    starts.truncate(VALLEYS);
    starts
}

fn start_at(
    readings: &[PlacedReading],
    position_m: Vector3<f64>,
    space: &dyn Medium,
) -> Option<Start> {
    let couplings: Vec<_> =
        readings.iter().map(|r| space.coupling(position_m.into(), r.place_m)).collect();
    let moment_a_m2 = moment(readings, &couplings)?;
    let m = moment_a_m2.map(Complex64::from);
    let misfit =
        readings.iter().zip(&couplings).map(|(r, g)| residuals(r, &(g * m)).chi_squared()).sum();
    Some(Start { position_m, moment_a_m2, misfit }).filter(|s| s.misfit.is_finite())
}

/// The moment by the linear fit of its products, `None` if they are not
/// determined or not those of a moment.
fn moment(readings: &[PlacedReading], couplings: &[Matrix3<Complex64>]) -> Option<Vector3<f64>> {
    let (mut normal, mut right) = (Matrix6::zeros(), Vector6::zeros());
    for (reading, coupling) in readings.iter().zip(couplings) {
        // u of a product h_a h_b is about |h| u.
        let weight = 1.0 / (reading.field.magnitude() * reading.u_a_per_m);
        each_product(reading.field, coupling, |row, product| {
            let row = row * weight;
            normal.syger(1.0, &row, &row, 1.0);
            right += row * (product * weight);
        });
    }
    normal.fill_upper_triangle_with_lower_triangle();
    let scale = normal.diagonal().map(f64::sqrt);
    let scaled = normal.component_div(&(scale * scale.transpose()));
    // A trace of damping: at some places not all products are determined.
    let damped = scaled + Matrix6::identity() * 1e-9;
    let p = damped.cholesky()?.solve(&right.component_div(&scale)).component_div(&scale);
    let products = Matrix3::new(p[0], p[3], p[4], p[3], p[1], p[5], p[4], p[5], p[2]);
    let eigen = SymmetricEigen::new(products);
    let greatest = eigen.eigenvalues.imax();
    let square = eigen.eigenvalues[greatest];
    (square > 0.0).then(|| eigen.eigenvectors.column(greatest) * square.sqrt())
}

/// Each measured product and its row of coefficients over the products xx, yy,
/// zz, xy, xz, yz of the moment.
fn each_product(
    field: Measured,
    coupling: &Matrix3<Complex64>,
    mut take: impl FnMut(Vector6<f64>, f64),
) {
    let row = |a: usize, b: usize| {
        let of = |i: usize, j: usize| (coupling[(a, i)] * coupling[(b, j)].conj()).re;
        let mixed = |i: usize, j: usize| of(i, j) + of(j, i);
        Vector6::new(of(0, 0), of(1, 1), of(2, 2), mixed(0, 1), mixed(0, 2), mixed(1, 2))
    };
    match field {
        Measured::Vector(h) => {
            for a in 0..3 {
                take(row(a, a), h[a] * h[a]);
                for b in 0..a {
                    // It stands for h_b h_a as well.
                    let twice = std::f64::consts::SQRT_2;
                    take(row(a, b) * twice, h[a] * h[b] * twice);
                }
            }
        }
        Measured::NoHeading { horizontal, vertical } => {
            take(row(0, 0) + row(1, 1), horizontal * horizontal);
            take(row(2, 2), vertical * vertical);
        }
        Measured::Magnitude(h) => take(row(0, 0) + row(1, 1) + row(2, 2), h * h),
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Invented, readings};
    use super::*;
    use crate::field::medium::FreeSpace;

    /// At the true place the products give the true moment, for every kind.
    #[test]
    fn products_give_the_moment_back() {
        let space = FreeSpace { frequency_hz: 0.0 };
        let unit = Invented { error: 0.0, ..Invented::default() };
        for readings in unit.kinds() {
            let place = unit.position_m.into();
            let start = start_at(&readings, place, &space).unwrap();
            let off = (start.moment_a_m2 - Vector3::from(unit.moment_a_m2)).norm();
            let other = (start.moment_a_m2 + Vector3::from(unit.moment_a_m2)).norm();
            // Readings hold the induction terms, a few 1e-3 at 7 m; the search does not.
            assert!(off.min(other) < 5e-3 * start.moment_a_m2.norm(), "{start:?}");
        }
    }

    #[test]
    fn the_best_start_is_near_the_unit() {
        let unit = Invented::default();
        let readings = readings(&unit);
        let grid = Grid::below(&readings, &Surface::through(&readings));
        let starts = starts(&readings, &grid, &FreeSpace { frequency_hz: 457e3 });
        let off = (starts[0].position_m - Vector3::from(unit.position_m)).norm();
        assert!(off < 0.6, "{off} m");
        assert!(starts.windows(2).all(|pair| pair[0].misfit <= pair[1].misfit));
    }
}
