//! How coupling departs from the law: harmonics of its square over the turn.
//!
//! By the law, (H/S)² = ½ cos 2θ + 2β cos θ + constant, θ counted from θ0. Whatever
//! else is there has a cause: a first harmonic across θ0 or a third one says that
//! the distance changes with the turn (what is turned does not turn about its own
//! middle), a fourth that something near by couples back.

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::law::LawFit;
use super::readings::AngleReading;
use crate::reading::Reading;

/// Harmonics that are looked at.
pub const ORDERS: usize = 4;

/// A harmonic of the square of coupling over a turn.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Harmonic {
    /// How often it comes in a turn.
    pub order: usize,
    /// Its amplitude over the greatest square of a turn.
    pub amplitude: Reading,
    /// What the fitted law has.
    pub by_law: f64,
}

impl Harmonic {
    /// Whether it is more than chance beside the law: three times its uncertainty.
    pub fn stands_out(&self) -> bool {
        (self.amplitude.value - self.by_law).abs() > 3.0 * self.amplitude.u
    }
}

/// The harmonics; none where the angles do not tell them apart.
pub fn harmonics(readings: &[AngleReading], fit: &LawFit) -> Vec<Harmonic> {
    let parameters = 1 + 2 * ORDERS;
    if readings.len() <= parameters {
        return Vec::new();
    }
    let theta = |r: &AngleReading| (r.angle_deg - fit.misalignment_deg.value).to_radians();
    let u_square = |i: usize| {
        let (h, u) = (readings[i].field_a_per_m, fit.u_readings_a_per_m[i]);
        (2.0 * h * u).hypot(std::f64::consts::SQRT_2 * u * u)
    };
    let design = DMatrix::from_fn(readings.len(), parameters, |i, j| {
        let angle = theta(&readings[i]) * j.div_ceil(2) as f64;
        let basis = if j % 2 == 0 && j > 0 { angle.sin() } else { angle.cos() };
        basis / u_square(i)
    });
    let squares =
        DVector::from_fn(readings.len(), |i, _| readings[i].field_a_per_m.powi(2) / u_square(i));
    let Some(normal) = (design.transpose() * &design).cholesky() else { return Vec::new() };
    let covariance = normal.inverse() * fit.excess_scatter;
    let found = normal.solve(&(design.transpose() * squares));
    let scale = fit.scale_a_per_m.value.powi(2);
    let peak = fit.peak_a_per_m().value.powi(2);
    (1..=ORDERS)
        .map(|order| {
            let (c, s) = (2 * order - 1, 2 * order);
            let amplitude = found[c].hypot(found[s]);
            let towards = DVector::from_vec(vec![found[c], found[s]]) / amplitude.max(1e-300);
            let block = covariance.view((c, c), (2, 2));
            let u = (block * &towards).dot(&towards).max(0.0).sqrt();
            let by_law = match order {
                1 => 2.0 * fit.leak.value.abs() * scale / peak,
                2 => 0.5 * scale / peak,
                _ => 0.0,
            };
            Harmonic { order, amplitude: Reading::new(amplitude / peak, u / peak), by_law }
        })
        .collect()
}
