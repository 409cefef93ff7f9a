//! The ellipsoid that points lie on, by linear least squares: a start without
//! a guess for the fit that knows the noise.
//!
//! Points c of a turned sphere meet cᵀ A c = 1 with A symmetric and positive
//! definite. That is linear in the six numbers of A, in the order
//! xx, yy, zz, xy, xz, yz. The algebraic distance that it makes small is not
//! the distance from the ellipsoid: noise of relative size ε moves the result
//! by some ε², which the refinement takes away again.

use nalgebra::{DMatrix, DVector, Matrix3, SymmetricEigen, Vector3};

/// Pairs of axes in the order of the six numbers.
pub(super) const PAIRS: [(usize, usize); 6] = [(0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)];

/// A of the ellipsoid cᵀ A c = 1 nearest to `points` in the algebraic sense;
/// `None` when no ellipsoid comes near them.
pub(super) fn through(points: &[Vector3<f64>]) -> Option<Matrix3<f64>> {
    let size = (points.iter().map(Vector3::norm_squared).sum::<f64>() / points.len() as f64).sqrt();
    let rows = DMatrix::from_fn(points.len(), 6, |k, n| products(&(points[k] / size))[n]);
    let ones = DVector::from_element(points.len(), 1.0);
    let a = rows.svd(true, true).solve(&ones, 1e-12).ok()?;
    let mut matrix = Matrix3::zeros();
    for (n, (i, j)) in PAIRS.into_iter().enumerate() {
        let value = if i == j { a[n] } else { a[n] / 2.0 };
        matrix[(i, j)] = value / (size * size);
        matrix[(j, i)] = matrix[(i, j)];
    }
    matrix.cholesky().map(|_| matrix)
}

/// What a set of directions says least about, and how little.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Weakest {
    /// Information on that combination of the six numbers, in units of what
    /// directions spread evenly over the sphere would give of the worst one.
    pub share: f64,
    /// The pair of axes with the largest part in it.
    pub pair: (usize, usize),
}

/// The combination of the six numbers that the directions of `points`
/// determine least. Directions in one plane, or on one cone, leave one open.
pub(super) fn weakest(points: &[Vector3<f64>]) -> Weakest {
    let mut information = DMatrix::<f64>::zeros(6, 6);
    for point in points {
        let row = DVector::from_row_slice(&weighted(&point.normalize()));
        information += &row * row.transpose() / points.len() as f64;
    }
    let eigen = SymmetricEigen::new(information);
    let least = eigen.eigenvalues.imin();
    let combination = eigen.eigenvectors.column(least);
    Weakest { share: eigen.eigenvalues[least] / EVEN, pair: PAIRS[combination.iamax()] }
}

/// ⟨(x² − y²)²⟩ / 2 over the sphere: the least eigenvalue of evenly spread
/// directions.
const EVEN: f64 = 2.0 / 15.0;

/// The products of a point's coordinates in the order of [`PAIRS`].
fn products(c: &Vector3<f64>) -> [f64; 6] {
    PAIRS.map(|(i, j)| c[i] * c[j])
}

/// The same, the mixed ones times √2, so that turning all points turns the six
/// numbers as a vector and leaves the eigenvalues as they are.
fn weighted(c: &Vector3<f64>) -> [f64; 6] {
    let factor = |(i, j)| if i == j { 1.0 } else { std::f64::consts::SQRT_2 };
    PAIRS.map(|(i, j)| factor((i, j)) * c[i] * c[j])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points spread over the sphere by the golden angle.
    fn sphere(count: usize) -> Vec<Vector3<f64>> {
        let point = |k: usize| {
            let z = 1.0 - (2 * k + 1) as f64 / count as f64;
            let turn = 2.399_963_229_728_653 * k as f64;
            let rho = (1.0 - z * z).sqrt();
            Vector3::new(rho * turn.cos(), rho * turn.sin(), z)
        };
        (0..count).map(point).collect()
    }

    #[test]
    fn points_without_noise_give_their_ellipsoid_back() {
        let m = Matrix3::new(900.0, 0.0, 0.0, 80.0, 1100.0, 0.0, -50.0, 40.0, 1000.0);
        let points: Vec<_> = sphere(9).iter().map(|h| m * h).collect();
        let a = through(&points).unwrap();
        let truth = (m * m.transpose()).try_inverse().unwrap();
        assert!((a - truth).amax() < 1e-9 * truth.amax(), "{a}");
    }

    #[test]
    fn evenly_spread_directions_have_a_share_of_one() {
        assert!((weakest(&sphere(500)).share - 1.0).abs() < 0.02);
    }

    #[test]
    fn a_plane_and_a_cone_leave_one_number_open() {
        let ring = |z: f64| -> Vec<Vector3<f64>> {
            (0..30).map(|k| Vector3::new((k as f64).cos(), (k as f64).sin(), z)).collect()
        };
        let plane = weakest(&ring(0.0));
        assert!(plane.share < 1e-9 && plane.pair.1 == 2, "{plane:?}");
        assert!(weakest(&ring(0.7)).share < 1e-9);
    }

    #[test]
    fn points_on_no_ellipsoid_are_told() {
        // A hyperboloid: x² + y² − z² = 1.
        let point = |k: usize| {
            let (z, turn) = (0.5 * k as f64 - 2.0, 1.7 * k as f64);
            let rho = (1.0 + z * z).sqrt();
            Vector3::new(rho * turn.cos(), rho * turn.sin(), z)
        };
        let points: Vec<_> = (0..12).map(point).collect();
        assert_eq!(through(&points), None);
    }
}
