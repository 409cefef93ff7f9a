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
//! Where products are poorly determined, as those of magnitudes off the true place,
//! the eigenvector is only a beginning: some steps of Gauss and Newton over the
//! moment alone follow.
//!
//! Between the places of a coarse grid the field differs by tens of per cent, so
//! every reading counts here with at least a fifth of itself as uncertainty, and
//! the static field will do, whatever the ground.
//!
//! Cost: some 2600 places, about 0.1 µs per place and number read.

use nalgebra::{Matrix3, Matrix6, RowVector3, SymmetricEigen, Vector3, Vector6};

use super::readings::{Measured, PlacedReading};
use super::surface::Surface;
use crate::field::dipole::static_coupling;

/// Least share of a reading taken as its uncertainty in the search.
const COARSE: f64 = 0.2;
/// Places of the grid along each side.
const ACROSS: usize = 17;
/// Depths of the grid.
const DEEP: usize = 9;
/// The shallowest, m.
const SHALLOWEST_M: f64 = 0.15;
/// Valleys to begin fits in, at most.
const VALLEYS: usize = 8;
/// A valley so many times less deep than the deepest is none.
const SHALLOW: f64 = 100.0;
/// A moment is another one when it differs by this share.
const OTHER_MOMENT: f64 = 0.2;
/// Steps of Gauss and Newton over the moment.
const STEPS: usize = 3;

/// Directions that differ by no more than some 40°, either end of each.
pub const DIRECTIONS: [[i8; 3]; 13] = [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
    [1, 1, 1],
    [1, 1, -1],
    [1, -1, 1],
    [-1, 1, 1],
    [1, 1, 0],
    [1, -1, 0],
    [1, 0, 1],
    [1, 0, -1],
    [0, 1, 1],
    [0, 1, -1],
];

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

impl Start {
    /// Place and moment.
    pub fn pair(&self) -> (Vector3<f64>, Vector3<f64>) {
        (self.position_m, self.moment_a_m2)
    }
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
        let depth =
            |i: usize| SHALLOWEST_M * (deepest / SHALLOWEST_M).powf(i as f64 / (DEEP - 1) as f64);
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
        let near =
            |centre: usize, count: usize| centre.saturating_sub(1)..=(centre + 1).min(count - 1);
        let neighbours = near(at[2], DEEP).flat_map(|k| {
            near(at[1], ACROSS)
                .flat_map(move |j| near(at[0], ACROSS).map(move |i| (k * ACROSS + j) * ACROSS + i))
        });
        neighbours.into_iter().all(|other| values[index] <= values[other])
    }
}

/// The most promising starts, the best first; none when no place of the grid
/// gives a moment.
pub fn starts(readings: &[PlacedReading], grid: &Grid) -> Vec<Start> {
    let coarse = coarse(readings);
    let at = |place: &Vector3<f64>| {
        let couplings = couplings(&coarse, *place);
        let (misfit, moment_a_m2) = settle(&coarse, &couplings, by_products(&coarse, &couplings)?);
        Some(Start { position_m: *place, moment_a_m2, misfit }).filter(|s| s.misfit.is_finite())
    };
    let all: Vec<Option<Start>> = grid.places_m.iter().map(at).collect();
    let misfits: Vec<f64> =
        all.iter().map(|start| start.map_or(f64::INFINITY, |s| s.misfit)).collect();
    let deepest = misfits.iter().copied().fold(f64::INFINITY, f64::min);
    let mut valleys: Vec<usize> = (0..all.len())
        .filter(|i| misfits[*i] <= SHALLOW * deepest && grid.is_valley(&misfits, *i))
        .collect();
    valleys.sort_by(|a, b| misfits[*a].total_cmp(&misfits[*b]));
    valleys.truncate(VALLEYS);
    valleys.into_iter().filter_map(|i| all[i]).collect()
}

/// The different moments that a place allows, the best first: of readings without
/// signs some that differ much can fit almost alike.
pub fn moments_at(readings: &[PlacedReading], position_m: Vector3<f64>) -> Vec<Start> {
    let coarse = coarse(readings);
    let couplings = couplings(&coarse, position_m);
    let along = DIRECTIONS.map(|d| Vector3::from(d.map(f64::from)));
    let settled = along.map(|d| settle(&coarse, &couplings, scaled(&coarse, &couplings, d)));
    let mut starts: Vec<Start> =
        settled.map(|(misfit, moment_a_m2)| Start { position_m, moment_a_m2, misfit }).into();
    starts.retain(|s| s.misfit.is_finite());
    starts.sort_by(|a, b| a.misfit.total_cmp(&b.misfit));
    let mut different: Vec<Start> = Vec::new();
    for start in starts {
        if different.iter().all(|other| differ(&other.moment_a_m2, &start.moment_a_m2)) {
            different.push(start);
        }
    }
    different
}

fn differ(one: &Vector3<f64>, other: &Vector3<f64>) -> bool {
    (one - other).norm().min((one + other).norm()) > OTHER_MOMENT * one.norm()
}

/// A moment along `direction` as strong as the readings have it on the whole.
fn scaled(
    readings: &[PlacedReading],
    couplings: &[Matrix3<f64>],
    direction: Vector3<f64>,
) -> Vector3<f64> {
    let log = |(r, g): (&PlacedReading, &Matrix3<f64>)| {
        (r.field.magnitude() / (g * direction).norm()).ln()
    };
    let sum: f64 = readings.iter().zip(couplings).map(log).sum();
    direction * (sum / readings.len() as f64).exp()
}

fn coarse(readings: &[PlacedReading]) -> Vec<PlacedReading> {
    let coarse = |r: &PlacedReading| r.u_a_per_m.max(COARSE * r.field.magnitude());
    readings.iter().map(|r| PlacedReading { u_a_per_m: coarse(r), ..*r }).collect()
}

/// Static coupling of a place to each reading.
pub fn couplings(readings: &[PlacedReading], position_m: Vector3<f64>) -> Vec<Matrix3<f64>> {
    let offset = |r: &PlacedReading| (Vector3::from(r.place_m) - position_m).into();
    readings.iter().map(|r| static_coupling(offset(r))).collect()
}

/// Some steps over the moment alone.
fn settle(
    readings: &[PlacedReading],
    couplings: &[Matrix3<f64>],
    mut moment: Vector3<f64>,
) -> (f64, Vector3<f64>) {
    let (mut least, mut step) = misfit(readings, couplings, &moment);
    for _ in 0..STEPS {
        let Some(further) = step else { break };
        let next = moment + further;
        let (next_misfit, next_step) = misfit(readings, couplings, &next);
        if next_misfit >= least {
            break;
        }
        (moment, least, step) = (next, next_misfit, next_step);
    }
    (least, moment)
}

/// χ² of a moment in the static field, and the step of Gauss and Newton from it.
fn misfit(
    readings: &[PlacedReading],
    couplings: &[Matrix3<f64>],
    moment: &Vector3<f64>,
) -> (f64, Option<Vector3<f64>>) {
    let (mut normal, mut right, mut chi_squared) = (Matrix3::zeros(), Vector3::zeros(), 0.0);
    for (reading, coupling) in readings.iter().zip(couplings) {
        let h = coupling * moment;
        let mut take = |row: RowVector3<f64>, off: f64| {
            let (row, off) = (row.transpose() / reading.u_a_per_m, off / reading.u_a_per_m);
            normal += row * row.transpose();
            right += row * off;
            chi_squared += off * off;
        };
        match reading.field {
            Measured::Vector(measured) => {
                let measured = Vector3::from(measured);
                let sign = if measured.dot(&h) < 0.0 { -1.0 } else { 1.0 };
                (0..3).for_each(|k| take(coupling.row(k).into(), sign * measured[k] - h[k]));
            }
            Measured::NoHeading { horizontal, vertical } => {
                let flat = h.xy().norm();
                let along = (coupling.row(0) * h.x + coupling.row(1) * h.y) / flat;
                take(along, horizontal - flat);
                take(coupling.row(2) * h.z.signum(), vertical - h.z.abs());
            }
            Measured::Magnitude(measured) => {
                let magnitude = h.norm();
                take(h.transpose() * coupling / magnitude, measured - magnitude);
            }
        }
    }
    (chi_squared, normal.cholesky().map(|c| c.solve(&right)))
}

/// The moment by the linear fit of its products, `None` if they are not
/// determined or not those of a moment.
fn by_products(readings: &[PlacedReading], couplings: &[Matrix3<f64>]) -> Option<Vector3<f64>> {
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
fn each_product(field: Measured, coupling: &Matrix3<f64>, mut take: impl FnMut(Vector6<f64>, f64)) {
    let row = |a: usize, b: usize| {
        let of = |i: usize, j: usize| coupling[(a, i)] * coupling[(b, j)];
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

    /// At the true place the products give the true moment, for every kind.
    #[test]
    fn products_give_the_moment_back() {
        let unit = Invented { error: 0.0, ..Invented::default() };
        let moment = Vector3::from(unit.moment_a_m2);
        for readings in unit.kinds() {
            let couplings = couplings(&readings, unit.position_m.into());
            let found = by_products(&readings, &couplings).unwrap();
            let off = (found - moment).norm().min((found + moment).norm());
            // Readings hold the induction terms, a few 1e-3 at 7 m; the search does not.
            assert!(off < 5e-3 * moment.norm(), "{found}");
        }
    }

    #[test]
    fn the_best_start_is_near_the_unit() {
        let unit = Invented::default();
        for readings in unit.kinds() {
            let grid = Grid::below(&readings, &Surface::through(&readings));
            let starts = starts(&readings, &grid);
            let off = (starts[0].position_m - Vector3::from(unit.position_m)).norm();
            // A cell of the grid is 0.8 m wide.
            assert!(off < 0.9, "{off} m");
            assert!(starts.iter().all(|s| s.misfit >= starts[0].misfit));
        }
    }

    /// The ground below a grid is searched beyond the grid, and none of it above.
    #[test]
    fn all_places_are_below_the_surface() {
        let readings = readings(&Invented { rise: 0.7, ..Invented::default() });
        let surface = Surface::through(&readings);
        let grid = Grid::below(&readings, &surface);
        assert!(grid.places_m().iter().all(|p| p.z < surface.height_m(p.x, p.y)));
        let farthest = grid.places_m().iter().map(|p| p.x).fold(0.0, f64::max);
        assert!(farthest > 6.0, "{farthest}");
    }
}
