//! What the pieces of a carrier have in common, whichever phase each has.

use nalgebra::{Matrix3, SymmetricEigen, Vector3};
use num_complex::Complex64;

use super::pieces::{Piece, Pieces};

/// What the pieces have in common.
pub(super) struct Shape {
    /// Amplitude in units of a piece's noise, signs relative to each other.
    pub(super) vector: [f64; 3],
    /// Amplitude and phase of a piece are its projection on this.
    direction: Vector3<f64>,
    /// Standard deviation of the amplitude, relative, noise aside.
    pub(super) change: f64,
    /// Share of the power that is not along `direction` in one phase.
    pub(super) aside: f64,
    pieces: f64,
}

impl Shape {
    pub(super) fn of(pieces: &Pieces, axes: usize) -> Self {
        let count = pieces.list.len() as f64;
        let mut sum = Matrix3::zeros();
        for piece in &pieces.list {
            let z = &piece.vector;
            sum += Matrix3::from_fn(|i, j| (z[i] * z[j].conj()).re) / count;
        }
        for axis in 0..axes {
            sum[(axis, axis)] -= 1.0;
        }
        let eigen = SymmetricEigen::new(sum);
        let strongest = eigen.eigenvalues.imax();
        let power = eigen.eigenvalues[strongest].max(0.0);
        let direction: Vector3<f64> = eigen.eigenvectors.column(strongest).into_owned();
        let amplitude = power.sqrt();
        let squares = |p: &Piece| (project(p, &direction).norm() - amplitude).powi(2);
        let scatter = pieces.list.iter().map(squares).sum::<f64>() / (count - 1.0);
        // Chance alone scatters the powers by a few standard deviations.
        let unsure = 3.0 * (2.0 / count).sqrt();
        let change = (scatter - 0.5 * (1.0 + unsure)).max(0.0).sqrt() / amplitude;
        let others = sum.trace() - eigen.eigenvalues[strongest] - axes as f64 * unsure;
        Self {
            vector: std::array::from_fn(|i| direction[i] * amplitude),
            direction,
            change,
            aside: others.max(0.0) / power,
            pieces: count,
        }
    }

    pub(super) fn energy_db(&self) -> f64 {
        let amplitude2: f64 = self.vector.iter().map(|a| a * a).sum();
        10.0 * (amplitude2 * self.pieces).log10()
    }

    /// Phase of a piece.
    pub(super) fn phase_of(&self, piece: &Piece) -> Complex64 {
        let along = project(piece, &self.direction);
        along / along.norm()
    }
}

fn project(piece: &Piece, direction: &Vector3<f64>) -> Complex64 {
    piece.vector.iter().zip(direction).map(|(z, d)| z * d).sum()
}
