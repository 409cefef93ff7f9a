//! Place and moment by least squares from a start.
//!
//! Six unknowns: place (m) and moment, the latter in units of the start's. The
//! field is linear in the moment, so those three columns of the Jacobian are
//! exact; the three of the place come from central differences of the coupling
//! over a thousandth of the distance, good to 1e-5. The unit lies below the plane
//! of the readings: beyond it there is no value, and steps there are refused.

use nalgebra::{DMatrix, DVector, Matrix3, Matrix6, Vector3};
use num_complex::Complex64;

use super::observation::{Residuals, gradient, residuals};
use super::readings::PlacedReading;
use super::surface::Surface;
use crate::field::medium::Medium;
use crate::range::least_squares::{Minimum, minimise_with};

/// Difference step over the distance to the reading.
const DIFFERENCE: f64 = 1e-3;
/// A step that lessens χ² by this share is none: 1e-4 of the uncertainty or so.
const WORTHLESS: f64 = 1e-10;
/// A unit cannot be nearer to the plane of the readings than this, m.
const NEAREST_M: f64 = 0.02;

/// A minimum of χ² over place and moment.
#[derive(Clone, Debug)]
pub struct Solution {
    /// Place, m.
    pub position_m: Vector3<f64>,
    /// Moment, A·m², of either sign.
    pub moment_a_m2: Vector3<f64>,
    /// Covariance of x, y, z (m) and of the moment's components (A·m²), if the
    /// stated uncertainties hold.
    pub covariance: Matrix6<f64>,
    /// χ².
    pub chi_squared: f64,
    /// Numbers read less the six unknowns.
    pub degrees_of_freedom: usize,
    /// max(1, χ²/ν), what the covariance is to be multiplied by.
    pub excess_scatter: f64,
}

impl Solution {
    /// The field (A/m, complex) that it has at a place in `medium`.
    pub fn field(&self, medium: &dyn Medium, place_m: [f64; 3]) -> Vector3<Complex64> {
        let coupling = medium.coupling(self.position_m.into(), place_m);
        coupling * self.moment_a_m2.map(Complex64::from)
    }

    /// Residuals of each of `readings`.
    pub fn residuals(&self, readings: &[PlacedReading], medium: &dyn Medium) -> Vec<Residuals> {
        readings.iter().map(|r| residuals(r, &self.field(medium, r.place_m))).collect()
    }

    /// Covariance once widened for readings that scatter more than they say.
    pub fn widened(&self) -> Matrix6<f64> {
        self.covariance * self.excess_scatter
    }

    /// Squared distance of another solution in units of this one's widened
    /// uncertainty, the other's sign chosen to be nearer.
    pub fn distance_squared(&self, other: &Self) -> f64 {
        let Some(information) = self.widened().try_inverse() else { return f64::INFINITY };
        let off = |sign: f64| {
            let (dp, dm) =
                (other.position_m - self.position_m, other.moment_a_m2 * sign - self.moment_a_m2);
            let d = nalgebra::Vector6::new(dp.x, dp.y, dp.z, dm.x, dm.y, dm.z);
            d.dot(&(information * d))
        };
        off(1.0).min(off(-1.0))
    }
}

/// Fit from a start; `None` where no minimum is found.
pub fn fit(
    readings: &[PlacedReading],
    surface: &Surface,
    medium: &dyn Medium,
    position_m: Vector3<f64>,
    moment_a_m2: Vector3<f64>,
) -> Option<Solution> {
    let problem = Problem { readings, surface, medium, scale_a_m2: moment_a_m2.norm() };
    let m = moment_a_m2 / problem.scale_a_m2;
    let start = [position_m.x, position_m.y, position_m.z, m.x, m.y, m.z];
    let minimum =
        minimise_with(&start, |p| problem.residuals(p), |p| problem.jacobian(p), WORTHLESS)?;
    Some(problem.solution(&minimum))
}

struct Problem<'a> {
    readings: &'a [PlacedReading],
    surface: &'a Surface,
    medium: &'a dyn Medium,
    scale_a_m2: f64,
}

impl Problem<'_> {
    fn unpacked(&self, p: &DVector<f64>) -> (Vector3<f64>, Vector3<Complex64>) {
        let moment = Vector3::new(p[3], p[4], p[5]) * self.scale_a_m2;
        (Vector3::new(p[0], p[1], p[2]), moment.map(Complex64::from))
    }

    fn count(&self) -> usize {
        self.readings.iter().map(|r| r.field.numbers()).sum()
    }

    fn is_buried(&self, position_m: &Vector3<f64>) -> bool {
        let over = position_m.z - self.surface.height_m(position_m.x, position_m.y);
        over < self.surface.highest_m - NEAREST_M
    }

    fn residuals(&self, p: &DVector<f64>) -> DVector<f64> {
        let (position_m, moment) = self.unpacked(p);
        if !self.is_buried(&position_m) {
            return DVector::from_element(self.count(), f64::NAN);
        }
        let mut all = Vec::with_capacity(self.count());
        for reading in self.readings {
            let h = self.medium.coupling(position_m.into(), reading.place_m) * moment;
            all.extend_from_slice(residuals(reading, &h).values());
        }
        DVector::from_vec(all)
    }

    fn jacobian(&self, p: &DVector<f64>) -> DMatrix<f64> {
        let (position_m, moment) = self.unpacked(p);
        let mut jacobian = DMatrix::zeros(self.count(), 6);
        let mut first = 0;
        for reading in self.readings {
            let (by_place, coupling) = field_gradient(self.medium, position_m, reading, &moment);
            let gradient = gradient(reading, &(coupling * moment));
            let by_moment = coupling * Complex64::from(self.scale_a_m2);
            let (by_place, by_moment) = (gradient * by_place, gradient * by_moment);
            for k in 0..reading.field.numbers() {
                for j in 0..3 {
                    jacobian[(first + k, j)] = by_place[(k, j)].re;
                    jacobian[(first + k, 3 + j)] = by_moment[(k, j)].re;
                }
            }
            first += reading.field.numbers();
        }
        jacobian
    }

    fn solution(&self, minimum: &Minimum) -> Solution {
        let (position_m, moment) = self.unpacked(&minimum.parameters);
        let unit = |i: usize| if i < 3 { 1.0 } else { self.scale_a_m2 };
        Solution {
            position_m,
            moment_a_m2: moment.map(|c| c.re),
            covariance: Matrix6::from_fn(|i, j| minimum.covariance[(i, j)] * unit(i) * unit(j)),
            chi_squared: minimum.chi_squared,
            degrees_of_freedom: minimum.degrees_of_freedom(),
            excess_scatter: minimum.excess_scatter(),
        }
    }
}

/// How the field at a reading follows the source's place (column per axis), and
/// the coupling itself.
fn field_gradient(
    medium: &dyn Medium,
    position_m: Vector3<f64>,
    reading: &PlacedReading,
    moment: &Vector3<Complex64>,
) -> (Matrix3<Complex64>, Matrix3<Complex64>) {
    let step_m = DIFFERENCE * (Vector3::from(reading.place_m) - position_m).norm();
    let columns = [0, 1, 2].map(|axis| {
        let moved = |by_m: f64| {
            let mut at = position_m;
            at[axis] += by_m;
            medium.coupling(at.into(), reading.place_m) * moment
        };
        (moved(step_m) - moved(-step_m)) / Complex64::from(2.0 * step_m)
    });
    (Matrix3::from_columns(&columns), medium.coupling(position_m.into(), reading.place_m))
}

/// What one more reading would add to the information (inverse covariance) on
/// place and moment.
pub fn information(
    solution: &Solution,
    medium: &dyn Medium,
    reading: &PlacedReading,
) -> Matrix6<f64> {
    let moment = solution.moment_a_m2.map(Complex64::from);
    let (by_place, coupling) = field_gradient(medium, solution.position_m, reading, &moment);
    let gradient = gradient(reading, &(coupling * moment));
    let (by_place, by_moment) = (gradient * by_place, gradient * coupling);
    let mut information = Matrix6::zeros();
    for k in 0..reading.field.numbers() {
        let row = nalgebra::Vector6::from_fn(|j, _| {
            if j < 3 { by_place[(k, j)].re } else { by_moment[(k, j - 3)].re }
        });
        information += row * row.transpose();
    }
    information
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Invented, readings};
    use super::*;
    use crate::field::medium::FreeSpace;

    const SPACE: FreeSpace = FreeSpace { frequency_hz: 457e3 };

    fn found(unit: &Invented, readings: &[PlacedReading]) -> Solution {
        let surface = Surface::through(readings);
        let near = Vector3::from(unit.position_m) + Vector3::new(0.2, -0.1, 0.15);
        fit(readings, &surface, &SPACE, near, Vector3::from(unit.moment_a_m2) * -0.8).unwrap()
    }

    #[test]
    fn readings_without_error_give_back_what_made_them() {
        let unit = Invented { error: 0.0, ..Invented::default() };
        for readings in unit.kinds() {
            let solution = found(&unit, &readings);
            let off = (solution.position_m - Vector3::from(unit.position_m)).norm();
            assert!(off < 1e-8, "{off} m");
            let ratio = solution.moment_a_m2.norm() / Vector3::from(unit.moment_a_m2).norm();
            assert!((ratio - 1.0).abs() < 1e-8, "{ratio}");
        }
    }

    /// The columns put together by hand against differences of the residuals.
    #[test]
    fn the_jacobian_is_that_of_differences() {
        for readings in Invented::default().kinds() {
            let surface = Surface::through(&readings);
            let problem = Problem {
                readings: &readings,
                surface: &surface,
                medium: &SPACE,
                scale_a_m2: 5e-3,
            };
            let at = DVector::from_vec(vec![0.5, -0.3, -1.1, 0.9, 0.3, 0.5]);
            let jacobian = problem.jacobian(&at);
            for j in 0..6 {
                let (mut up, mut down) = (at.clone(), at.clone());
                up[j] += 1e-6;
                down[j] -= 1e-6;
                let slope = (problem.residuals(&up) - problem.residuals(&down)) / 2e-6;
                let off = (&slope - jacobian.column(j)).norm() / slope.norm();
                assert!(off < 2e-5, "column {j}: {off}");
            }
        }
    }

    /// A reading added to those of a fit adds its information to the fit's.
    #[test]
    fn information_adds_up() {
        let unit = Invented::default();
        let readings = readings(&unit);
        let solution = found(&unit, &readings);
        let sum: Matrix6<f64> = readings.iter().map(|r| information(&solution, &SPACE, r)).sum();
        let product = sum * solution.covariance;
        assert!((product - Matrix6::identity()).norm() < 1e-6, "{product}");
    }
}
