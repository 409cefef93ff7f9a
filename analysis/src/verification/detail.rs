//! What a calibration says of itself beyond values and standard uncertainties.

/// Standard uncertainty of the angle between two coils of a receiver that was never
/// turned to measure it, rad: 1° (common practice, no source).
const U_ANGLE_RAD: f64 = 1.0 * std::f64::consts::PI / 180.0;

/// How well the uncertainties of a calibration are known, and how well the angles
/// between the coils are. All may be unknown.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CalibrationDetail {
    /// Degrees of freedom of each `field_per_count_u_rel`; not doubted when absent.
    pub field_degrees_of_freedom: Option<Vec<f64>>,
    /// Degrees of freedom of `clock_offset_u_ppm`; not doubted when absent.
    pub clock_degrees_of_freedom: Option<f64>,
    /// Standard uncertainty of each element of `axes`.
    pub axes_u: Option<[[f64; 3]; 3]>,
}

impl CalibrationDetail {
    /// Degrees of freedom of the scale of an axis, infinite where not doubted.
    pub(super) fn field_degrees_of_freedom(&self, axis: usize) -> f64 {
        let stated = self.field_degrees_of_freedom.as_ref();
        stated.and_then(|all| all.get(axis)).copied().unwrap_or(f64::INFINITY)
    }

    /// Standard uncertainty of the angle between two coils, rad. An element of `axes`
    /// beside the diagonal has half of it.
    pub(super) fn u_angle_rad(&self, first: usize, second: usize) -> f64 {
        let stated = self.axes_u.map(|u| u[first][second] + u[second][first]);
        stated.unwrap_or(U_ANGLE_RAD)
    }
}
