//! Mean frequency of a carrier: the slope of its pieces' phases.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::pieces::Pieces;
use super::shape::Shape;
use crate::reading::Reading;
use crate::signal::CARRIER_HZ;

/// Parts of the capture whose frequencies are held against each other.
const PARTS: usize = 8;

/// Mean frequency over the longest stretch without a gap, and the degrees of
/// freedom of its uncertainty.
pub(super) fn frequency(pieces: &Pieces, shape: &Shape) -> (Reading, f64) {
    let stretches = pieces.list.chunk_by(|_, next| next.follows);
    let longest = stretches.max_by_key(|s| s.len()).unwrap_or(&[]);
    let mut phases: Vec<f64> = longest.iter().map(|p| shape.phase_of(p).arg()).collect();
    for i in 1..phases.len() {
        phases[i] -= ((phases[i] - phases[i - 1]) / TAU).round() * TAU;
    }
    let middle_s = longest.iter().map(|p| p.time_s).sum::<f64>() / longest.len() as f64;
    let times: Vec<f64> = longest.iter().map(|p| p.time_s - middle_s).collect();
    let (slope, u_slope) = slope_of(&times, &phases);
    // A carrier that wanders scatters its parts more than noise does.
    let part = (times.len() / PARTS).max(3);
    let slopes: Vec<(f64, f64)> = times
        .chunks_exact(part)
        .zip(phases.chunks_exact(part))
        .map(|(t, p)| {
            let mean = t.iter().sum::<f64>() / t.len() as f64;
            let moved: Vec<f64> = t.iter().map(|t| t - mean).collect();
            let products: f64 = moved.iter().zip(p).map(|(t, p)| t * p).sum();
            (mean, products / moved.iter().map(|t| t * t).sum::<f64>())
        })
        .collect();
    let by_parts = parts_scatter(&slopes);
    let noise_alone = times.len() as f64 - 3.0;
    let (u, freedom) = match by_parts {
        Some(u) if u > u_slope => (u, slopes.len() as f64 - 2.0),
        _ => (u_slope, noise_alone.max(1.0)),
    };
    let seen_hz = CARRIER_HZ + pieces.course.offset_at(middle_s) + slope / TAU;
    (Reading::new(seen_hz, u / TAU), freedom)
}

/// Standard uncertainty of the mean of the parts' slopes, a straight line through
/// them taken off; `None` for too few parts.
fn parts_scatter(slopes: &[(f64, f64)]) -> Option<f64> {
    let count = slopes.len() as f64;
    if count < 4.0 {
        return None;
    }
    let mean = |f: fn(&(f64, f64)) -> f64| slopes.iter().map(f).sum::<f64>() / count;
    let (t0, s0) = (mean(|p| p.0), mean(|p| p.1));
    let squares: f64 = slopes.iter().map(|p| (p.0 - t0).powi(2)).sum();
    let bend = slopes.iter().map(|p| (p.0 - t0) * (p.1 - s0)).sum::<f64>() / squares;
    let left: f64 = slopes.iter().map(|p| (p.1 - s0 - bend * (p.0 - t0)).powi(2)).sum();
    Some((left / (count - 2.0) / count).sqrt())
}

/// Slope of a parabola at the middle of its times, and its standard uncertainty
/// from the scatter about it.
fn slope_of(times: &[f64], phases: &[f64]) -> (f64, f64) {
    let rows = DMatrix::from_fn(times.len(), 3, |i, n| times[i].powi(n as i32));
    let normal = rows.tr_mul(&rows);
    let values = DVector::from_column_slice(phases);
    let Some(inverse) = normal.try_inverse() else { return (f64::NAN, f64::NAN) };
    let fit = &inverse * rows.tr_mul(&values);
    let left = (&values - &rows * &fit).norm_squared() / (times.len() as f64 - 3.0).max(1.0);
    (fit[1], (left * inverse[(1, 1)]).sqrt())
}
