//! What lies between a source and an observer.
//!
//! A fit wants the field of any moment at any place and must not care whether
//! there is ground about. The field is linear in the moment, so a medium says
//! all there is to say with one 3 × 3 matrix for a pair of places.

use nalgebra::Matrix3;
use num_complex::Complex64;

use super::dipole;

/// A space that carries the field of a magnetic dipole. z points up.
pub trait Medium: Send + Sync {
    /// The matrix G (1/m³, complex) with H = G·m: column j is the field (A/m,
    /// along x, y, z) at `point_m` of a moment of 1 A·m² along axis j at
    /// `source_m`. All entries are NaN where the two places are the same.
    fn coupling(&self, source_m: [f64; 3], point_m: [f64; 3]) -> Matrix3<Complex64>;
}

/// No ground: the dipole of [`dipole::field`] at a frequency (Hz).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FreeSpace {
    /// Frequency, Hz; 0 gives the static field.
    pub frequency_hz: f64,
}

impl Medium for FreeSpace {
    fn coupling(&self, source_m: [f64; 3], point_m: [f64; 3]) -> Matrix3<Complex64> {
        let offset_m = std::array::from_fn(|i| point_m[i] - source_m[i]);
        Matrix3::from_columns(
            &[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
                .map(|unit| dipole::field(unit, offset_m, self.frequency_hz).into()),
        )
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;

    #[test]
    fn coupling_times_moment_is_the_dipole_field() {
        let (source, point, m) = ([1.0, 2.0, -0.5], [4.0, -1.0, 0.7], [0.2, -0.4, 0.9]);
        let space = FreeSpace { frequency_hz: 457e3 };
        let h = space.coupling(source, point) * Vector3::from(m).map(Complex64::from);
        let direct = dipole::field(m, [3.0, -3.0, 1.2], 457e3);
        for i in 0..3 {
            assert!((h[i] - direct[i]).norm() < 1e-15);
        }
    }

    /// Source and receiver may change places: G is symmetric and even.
    #[test]
    fn reciprocity() {
        let space = FreeSpace { frequency_hz: 457e3 };
        let there = space.coupling([0.0; 3], [3.0, 1.0, 2.0]);
        let back = space.coupling([3.0, 1.0, 2.0], [0.0; 3]);
        assert!((there - back.transpose()).norm() < 1e-17);
    }
}
