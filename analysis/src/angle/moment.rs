//! The moment of a unit in its own case, from vectors over one turn of it.
//!
//! The unit turns about an axis n of its case, square to the line r from it to the
//! receiver. The part of its moment across n turns with the case, the part along n
//! stays: what three axes see is h(θ) = α + β cos θ + γ sin θ, an ellipse and a
//! constant. Near a dipole the field along r is twice, across it once and opposite
//! to the moment: so the ellipse's longer axis h₁ lies along r, the shorter h₂
//! across r and n with |h₁| = 2 |h₂|, and α = −g m_n n. Hence
//!
//! * the angle of h₁ is where the moment's part across n points along r;
//! * n = h₁ × (−h₂) / |h₁ h₂|, free of the sign that all vectors share;
//! * g m across n from |h₁| and |h₂|, g m_n = −α·n.
//!
//! That is the whole vector, but for its sign and one bit more: α turned round is
//! what a receiver turned by half a turn about n would see. So the receiver's x
//! axis has to point away from the unit, to the nearest right angle; else the held
//! attitude is free, as long as it stays. |h₁| = 2 |h₂| and the rest of α are not
//! used: they check the setting up (`departure_chi_squared`).
//!
//! What one turn does not say: with one axis, or with magnitudes alone, nothing of
//! the part along n but its square; and which of its two ends the moment points to.
//!
//! Signs from step to step are free. They are found together with the fit: from
//! pairs of readings that tell an ellipse, each other reading takes the sign that
//! lies nearer, until nothing changes; the best of all is taken.

use nalgebra::{DMatrix, DVector, SMatrix, SVector, Vector3};
use serde::Serialize;

use super::readings::AngleReading;
use crate::range::least_squares::Minimum;
use crate::reading::Reading;
use crate::survey::Components;

/// Readings that starts are made of, spread over the turn.
const STARTING: usize = 8;

/// What the near field leaves out as a share of g m: (kr)² up to 10 m.
const NEAR_FIELD: f64 = 0.01;

/// α, β, γ one after the other.
type Nine = SVector<f64, 9>;

/// The moment of a unit in its case: x is the mark that faces the receiver at 0°,
/// z the axis of turning, counter-clockwise seen from its tip. Its sign is free.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CaseMoment {
    /// Unit vector in the case.
    pub direction: [Reading; 3],
    /// Direction across the axis of turning, from the mark, −90 to 90 degrees.
    pub azimuth_deg: Reading,
    /// Out of the plane of turning, towards the axis of turning, degrees. Its sign
    /// holds if `line_of_sight` does.
    pub elevation_deg: Reading,
    /// From the unit to the receiver, in the receiver's axes: unit vector, x over 0.
    pub line_of_sight: [f64; 3],
    /// Correlation of azimuth and elevation.
    pub correlation: f64,
    /// Field that the unit makes beside itself there, A/m: g m. The calibration is
    /// not in its uncertainty.
    pub coplanar_a_per_m: Reading,
    /// χ² of the vectors, three for each angle.
    pub chi_squared: f64,
    /// Three for each angle less nine.
    pub degrees_of_freedom: usize,
    /// χ² of what should be nothing in a true setting up, three degrees of freedom:
    /// |h₁| − 2 |h₂|, and the constant field along r and across; what the near field
    /// leaves out is allowed for.
    pub departure_chi_squared: f64,
}

/// The moment that readings with components tell; `None` where they have none, or
/// do not tell it. `u_calibration_rel` is taken as that of each axis by itself:
/// one gain off against another turns the vectors.
pub fn case_moment(readings: &[AngleReading], u_calibration_rel: f64) -> Option<CaseMoment> {
    let vectors: Option<Vec<Vector>> = readings.iter().map(Vector::of).collect();
    let vectors = vectors?;
    let mut start: Option<(f64, Nine)> = None;
    for nine in starts(&vectors) {
        let settled = settle(&vectors, nine)?;
        if start.as_ref().is_none_or(|best| settled.0 < best.0) {
            start = Some(settled);
        }
    }
    let (_, nine) = start?;
    // The angle's uncertainty along the way that the vector turns, as fitted so far.
    let minimum = weighted(&vectors, &nine, true)?;
    let nine = Nine::from_column_slice(minimum.parameters.as_slice());
    let minimum = weighted(&vectors, &nine, true)?;
    moment_of(&minimum, u_calibration_rel)
}

struct Vector {
    h: Vector3<f64>,
    u: f64,
    angle: f64,
    u_angle: f64,
}

impl Vector {
    fn of(reading: &AngleReading) -> Option<Self> {
        let Components { h_a_per_m, u_a_per_m } = reading.components?;
        Some(Self {
            h: h_a_per_m.into(),
            u: u_a_per_m,
            angle: reading.angle_deg.to_radians(),
            u_angle: reading.u_angle_deg.to_radians(),
        })
    }

    /// What the field at this angle is of α, β, γ.
    fn basis(&self) -> [f64; 3] {
        [1.0, self.angle.cos(), self.angle.sin()]
    }

    fn expected(&self, nine: &Nine) -> Vector3<f64> {
        let [one, cos, sin] = self.basis();
        part(nine, 0) * one + part(nine, 1) * cos + part(nine, 2) * sin
    }

    /// 1 or −1, whichever lies nearer.
    fn sign(&self, nine: &Nine) -> f64 {
        if self.expected(nine).dot(&self.h) < 0.0 { -1.0 } else { 1.0 }
    }

    /// Root of the inverse covariance: along the way the vector turns, the angle's
    /// uncertainty counts as well.
    fn whitening(&self, nine: &Nine, with_angle: bool) -> SMatrix<f64, 3, 3> {
        let plain = SMatrix::<f64, 3, 3>::identity() / self.u;
        let way = part(nine, 2) * self.angle.cos() - part(nine, 1) * self.angle.sin();
        let turning = way.norm() * self.u_angle;
        if !with_angle || turning == 0.0 {
            return plain;
        }
        let along = way.normalize();
        plain + along * along.transpose() * (1.0 / self.u.hypot(turning) - 1.0 / self.u)
    }
}

fn part(nine: &Nine, which: usize) -> Vector3<f64> {
    nine.fixed_rows::<3>(3 * which).into_owned()
}

/// α = 0 with β and γ from each pair of readings that are not in one line with the
/// axis, of either sign; and all signs the same.
fn starts(vectors: &[Vector]) -> Vec<Nine> {
    let mut starts = Vec::new();
    let every = vectors.len().div_ceil(STARTING).max(1);
    let some: Vec<&Vector> = vectors.iter().step_by(every).collect();
    let nine = |beta: Vector3<f64>, gamma: Vector3<f64>| {
        Nine::from_iterator(Vector3::zeros().iter().chain(&beta).chain(&gamma).copied())
    };
    for (i, a) in some.iter().enumerate() {
        for b in &some[i + 1..] {
            let across = (b.angle - a.angle).sin();
            if across.abs() < 0.5 {
                continue;
            }
            for sign in [1.0, -1.0] {
                let (ha, hb) = (a.h, b.h * sign);
                let beta = (ha * b.angle.sin() - hb * a.angle.sin()) / across;
                let gamma = (hb * a.angle.cos() - ha * b.angle.cos()) / across;
                starts.push(nine(beta, gamma));
            }
        }
    }
    let mut constant = Nine::zeros();
    if let Some(first) = vectors.first() {
        constant.fixed_rows_mut::<3>(0).copy_from(&first.h);
    }
    starts.push(constant);
    starts
}

/// Signs and fit in turn until the signs stay; χ² and the fit.
fn settle(vectors: &[Vector], mut nine: Nine) -> Option<(f64, Nine)> {
    let mut signs: Vec<f64> = Vec::new();
    for _ in 0..20 {
        let now: Vec<f64> = vectors.iter().map(|v| v.sign(&nine)).collect();
        let same = now == signs;
        signs = now;
        let minimum = weighted(vectors, &nine, false)?;
        nine = Nine::from_column_slice(minimum.parameters.as_slice());
        if same {
            return Some((minimum.chi_squared, nine));
        }
    }
    Some((f64::INFINITY, nine))
}

/// α, β, γ by linear least squares, signs and weights those of `nine`.
fn weighted(vectors: &[Vector], nine: &Nine, with_angle: bool) -> Option<Minimum> {
    let mut normal = SMatrix::<f64, 9, 9>::zeros();
    let mut right = Nine::zeros();
    let mut rows = Vec::new();
    for v in vectors {
        let whitening = v.whitening(nine, with_angle);
        let basis = v.basis();
        let design = SMatrix::<f64, 3, 9>::from_fn(|i, j| whitening[(i, j % 3)] * basis[j / 3]);
        let seen = whitening * v.h * v.sign(nine);
        normal += design.transpose() * design;
        right += design.transpose() * seen;
        rows.push((design, seen));
    }
    let normal = normal.cholesky()?;
    let parameters = normal.solve(&right);
    let residuals: Vec<f64> = rows
        .iter()
        .flat_map(|(design, seen)| (seen - design * parameters).iter().copied().collect::<Vec<_>>())
        .collect();
    let residuals = DVector::from_vec(residuals);
    let jacobian = DMatrix::from_fn(residuals.len(), 9, |i, j| -rows[i / 3].0[(i % 3, j)]);
    Some(Minimum {
        parameters: DVector::from_column_slice(parameters.as_slice()),
        covariance: DMatrix::from_column_slice(9, 9, normal.inverse().as_slice()),
        chi_squared: residuals.norm_squared(),
        residuals,
        jacobian,
    })
}

/// Angle of h₁ (rad), h₁ and h₂.
fn ellipse(nine: &Nine) -> (f64, Vector3<f64>, Vector3<f64>) {
    let (beta, gamma) = (part(nine, 1), part(nine, 2));
    let peak = (2.0 * beta.dot(&gamma)).atan2(beta.norm_squared() - gamma.norm_squared()) / 2.0;
    let h1 = beta * peak.cos() + gamma * peak.sin();
    (peak, h1, gamma * peak.cos() - beta * peak.sin())
}

/// What α, β, γ say: azimuth, elevation (rad), g m; then what should be nothing.
fn geometry(nine: &Nine) -> [f64; 6] {
    let alpha = part(nine, 0);
    let (peak, h1, h2) = ellipse(nine);
    let (along, across) = (h1.normalize(), -h2.normalize());
    let axis = along.cross(&across);
    // |h₁| and |h₂| are as uncertain as each other.
    let turned = (2.0 * h1.norm() + h2.norm()) / 5.0;
    // With x away from the unit, h₁ along r belongs to a moment towards the receiver.
    let still = -alpha.dot(&axis) * along.x.signum();
    [
        -peak,
        still.atan2(turned),
        turned.hypot(still),
        h1.norm() - 2.0 * h2.norm(),
        alpha.dot(&along),
        alpha.dot(&across),
    ]
}

/// How [`geometry`] changes with steps away from α, β, γ, over the steps.
fn sensitivity<const N: usize>(
    nine: &Nine,
    steps: [f64; N],
    away: impl Fn(usize, f64) -> Nine,
) -> SMatrix<f64, 6, N> {
    let mut jacobian = SMatrix::<f64, 6, N>::zeros();
    for (j, step) in steps.into_iter().enumerate() {
        let (up, down) = (geometry(&(nine + away(j, step))), geometry(&(nine - away(j, step))));
        for i in 0..6 {
            let mut rise = up[i] - down[i];
            if i == 0 {
                // Half a turn of the longer axis is no change.
                rise -= (rise / std::f64::consts::PI).round() * std::f64::consts::PI;
            }
            jacobian[(i, j)] = rise / (2.0 * step);
        }
    }
    jacobian
}

/// Azimuth over −90 to 90 degrees, the elevation to it: the sign is free.
fn moment_of(minimum: &Minimum, u_calibration_rel: f64) -> Option<CaseMoment> {
    let nine = Nine::from_column_slice(minimum.parameters.as_slice());
    let excess = minimum.excess_scatter();
    let covariance =
        SMatrix::<f64, 9, 9>::from_column_slice(minimum.covariance.as_slice()) * excess;
    let found = geometry(&nine);
    let (_, h1, _) = ellipse(&nine);
    let line_of_sight = h1.normalize() * h1.x.signum();
    if found.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let steps: [f64; 9] = std::array::from_fn(|j| 1e-4 * covariance[(j, j)].sqrt());
    let by_fit =
        sensitivity(&nine, steps, |j, step| Nine::from_fn(|i, _| if i == j { step } else { 0.0 }));
    // The gain of one of the receiver's axes scales that component of all three.
    let by_gain = sensitivity(&nine, [1e-5; 3], |axis, step| {
        Nine::from_fn(|i, _| if i % 3 == axis { step * nine[i] } else { 0.0 })
    });
    let readings = by_fit * covariance * by_fit.transpose();
    let all = readings + by_gain * by_gain.transpose() * u_calibration_rel.powi(2);
    let u = |i: usize| all[(i, i)].sqrt();
    let near_field = (NEAR_FIELD * found[2]).powi(2);
    let nothing = all.fixed_view::<3, 3>(3, 3) + SMatrix::<f64, 3, 3>::identity() * near_field;
    let left = Vector3::new(found[3], found[4], found[5]);
    let departure_chi_squared = nothing.cholesky()?.solve(&left).dot(&left);
    let [azimuth, elevation, ..] = found;
    let covariance = all.fixed_view::<2, 2>(0, 0).into_owned();
    let along = |gradient: [f64; 2]| {
        let gradient = SVector::<f64, 2>::from(gradient);
        (covariance * gradient).dot(&gradient).max(0.0).sqrt()
    };
    let ((sin_a, cos_a), (sin_e, cos_e)) = (azimuth.sin_cos(), elevation.sin_cos());
    Some(CaseMoment {
        direction: [
            Reading::new(cos_a * cos_e, along([-sin_a * cos_e, -cos_a * sin_e])),
            Reading::new(sin_a * cos_e, along([cos_a * cos_e, -sin_a * sin_e])),
            Reading::new(sin_e, along([0.0, cos_e])),
        ],
        azimuth_deg: Reading::new(azimuth, u(0)).scaled(180.0 / std::f64::consts::PI),
        elevation_deg: Reading::new(elevation, u(1)).scaled(180.0 / std::f64::consts::PI),
        line_of_sight: line_of_sight.into(),
        correlation: all[(0, 1)] / (u(0) * u(1)),
        coplanar_a_per_m: Reading::new(found[2], readings[(2, 2)].sqrt()),
        chi_squared: minimum.chi_squared,
        degrees_of_freedom: minimum.degrees_of_freedom(),
        departure_chi_squared,
    })
}
