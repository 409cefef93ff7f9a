//! How far turns lie off an ellipsoid, in units of their noise.

use nalgebra::{Matrix3, Vector3};

use super::{NoRotation, Turn};

/// Noise over counts that no receiver is without: keeps weights finite.
const LEAST_NOISE: f64 = 1e-6;

/// How far a turn lies off the unit sphere once `whiten` has turned the
/// ellipsoid into it.
pub(super) struct Distance {
    /// Magnitude less one, what noise adds to it on average taken off.
    off: f64,
    /// Standard deviation that noise gives it.
    noise: f64,
}

impl Distance {
    pub(super) fn of(whiten: &Matrix3<f64>, turn: &Turn) -> Self {
        let field = whiten * Vector3::from(turn.counts);
        let magnitude = field.norm();
        let along = field / magnitude;
        let counts = Vector3::from(turn.counts).norm();
        let variance = turn.u_counts.map(|u| u.max(LEAST_NOISE * counts).powi(2));
        let noise = whiten * Matrix3::from_diagonal(&Vector3::from(variance)) * whiten.transpose();
        let radial = along.dot(&(noise * along));
        let across = noise.trace() - radial;
        Self { off: magnitude - 1.0 - across / (2.0 * magnitude), noise: radial.sqrt() }
    }

    pub(super) fn residual(&self) -> f64 {
        self.off / self.noise
    }
}

/// The distances of all turns together.
pub(super) struct Spread {
    off: Vec<f64>,
    /// Standard deviation of the field, turns weighted by their noise.
    pub(super) scatter: f64,
    /// What the noise makes of it.
    pub(super) noise: f64,
}

impl Spread {
    pub(super) fn of(distances: impl Iterator<Item = Distance>) -> Self {
        let distances: Vec<Distance> = distances.collect();
        let count = distances.len() as f64;
        let weights = distances.iter().map(|d| d.noise.powi(-2)).sum::<f64>();
        let noise = (count / weights).sqrt();
        // Six numbers were fitted.
        let reduced = distances.iter().map(|d| d.residual().powi(2)).sum::<f64>() / (count - 6.0);
        let off = distances.iter().map(|d| d.off).collect();
        Self { off, scatter: noise * reduced.sqrt(), noise }
    }

    /// Standard deviation of the field that noise does not explain. Three
    /// standard deviations of its own are allowed to the noise.
    pub(super) fn change(&self) -> f64 {
        let unsure = 3.0 * (2.0 / (self.off.len() as f64 - 6.0)).sqrt();
        (self.scatter.powi(2) - self.noise.powi(2) * (1.0 + unsure)).max(0.0).sqrt()
    }

    pub(super) fn not_steady(&self) -> NoRotation {
        let size = |k: &usize| self.off[*k].abs();
        let worst = (0..self.off.len()).max_by(|a, b| size(a).total_cmp(&size(b))).unwrap_or(0);
        NoRotation::NotSteady {
            percent: 100.0 * self.change(),
            turn: worst + 1,
            turn_percent: 100.0 * self.off[worst],
        }
    }
}
