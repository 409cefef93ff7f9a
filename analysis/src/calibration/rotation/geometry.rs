//! What an ellipsoid says of the coils.

use nalgebra::{Matrix3, SMatrix, SymmetricEigen};

/// Numbers of [`Geometry`].
pub(super) const NUMBERS: usize = 18;

/// What an ellipsoid says of the coils: nine elements of the axes matrix, three
/// gains, three ratios of them, three angles in degrees.
pub(super) struct Geometry(pub(super) SMatrix<f64, NUMBERS, 1>);

impl Geometry {
    /// `whiten` turns the ellipsoid into the unit sphere.
    pub(super) fn of(whiten: &Matrix3<f64>) -> Self {
        let a = whiten.transpose() * whiten;
        // Positive definite, as `whiten` has a positive diagonal.
        let gram = a.try_inverse().unwrap_or_else(|| Matrix3::from_element(f64::NAN));
        let gains: [f64; 3] = std::array::from_fn(|i| gram[(i, i)].sqrt());
        let mean = gains.iter().product::<f64>().cbrt();
        let cosines = Matrix3::from_fn(|i, j| gram[(i, j)] / (gains[i] * gains[j]));
        let eigen = SymmetricEigen::new(cosines);
        let root = eigen.eigenvalues.map(|v| 1.0 / v.sqrt());
        let axes =
            eigen.eigenvectors * Matrix3::from_diagonal(&root) * eigen.eigenvectors.transpose();
        let angle = |i: usize, j: usize| cosines[(i, j)].acos().to_degrees();
        let rest = [gains[0] / mean, gains[1] / mean, gains[2] / mean];
        let angles = [angle(0, 1), angle(0, 2), angle(1, 2)];
        let ratios = [gains[0] / gains[1], gains[0] / gains[2], gains[1] / gains[2]];
        Self(SMatrix::from_fn(|n, _| match n {
            0..9 => axes[(n / 3, n % 3)],
            9..12 => rest[n - 9],
            12..15 => ratios[n - 12],
            _ => angles[n - 15],
        }))
    }
}
