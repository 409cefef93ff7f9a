//! The surface on which the readings were taken: a plane through their places.

use nalgebra::{Matrix3, SymmetricEigen, Vector3};

use super::readings::PlacedReading;

/// A set of places narrower than this share of its length is a line: the plane
/// is then level across it.
const NARROW: f64 = 0.05;
/// Standard uncertainty of a fall that is not known, m/m: of training fields that are
/// no steeper than 30°, any fall up to that alike (common practice, no source).
const U_UNKNOWN_RISE: f64 = 0.333;

/// A plane z = height + slope_x · (x − x₀) + slope_y · (y − y₀), lengths in m.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    /// The middle of the readings.
    pub middle_m: [f64; 3],
    /// Rise along x and along y, m/m.
    pub rise: [f64; 2],
    /// RMS distance of the readings from the middle along the direction in which
    /// they spread most, the next, and the last.
    pub spread_m: [f64; 3],
    /// The first of these directions, of length 1.
    pub along: Vector3<f64>,
    /// RMS height of the readings over the plane.
    pub scatter_m: f64,
    /// Height of the highest reading over the plane.
    pub highest_m: f64,
    /// Whether the readings lie along a line, so that the fall across it is not
    /// known and is taken as none.
    pub across_unknown: bool,
    /// Covariance of the height in the middle and the two rises.
    covariance: Matrix3<f64>,
}

impl Surface {
    /// The plane through the places of `readings` by least squares of heights.
    pub fn through(readings: &[PlacedReading]) -> Self {
        let count = readings.len().max(1) as f64;
        let middle: Vector3<f64> =
            readings.iter().map(|r| Vector3::from(r.place_m)).sum::<Vector3<f64>>() / count;
        let offsets: Vec<_> = readings.iter().map(|r| Vector3::from(r.place_m) - middle).collect();
        let scatter: Matrix3<f64> =
            offsets.iter().map(|d| d * d.transpose()).sum::<Matrix3<f64>>() / count;
        let axes = SymmetricEigen::new(scatter);
        let along = axes.eigenvectors.column(axes.eigenvalues.imax()).into_owned();
        let mut spread_m: [f64; 3] = axes.eigenvalues.map(|v| v.max(0.0).sqrt()).into();
        spread_m.sort_by(|a, b| b.total_cmp(a));
        let (rise, inverse, across) = rises(&scatter);
        let off = |d: &Vector3<f64>| d.z - rise[0] * d.x - rise[1] * d.y;
        let scatter_m = (offsets.iter().map(|d| off(d).powi(2)).sum::<f64>() / count).sqrt();
        let highest_m = offsets.iter().map(off).fold(0.0, f64::max);
        let variance = scatter_m * scatter_m / (count - 3.0).max(1.0);
        let mut covariance = Matrix3::zeros();
        covariance[(0, 0)] = variance;
        for (i, j) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            covariance[(i + 1, j + 1)] = variance * inverse[i][j]
                + across.map_or(0.0, |axis| U_UNKNOWN_RISE.powi(2) * axis[i] * axis[j]);
        }
        let (middle_m, across_unknown) = (middle.into(), across.is_some());
        Self { middle_m, rise, spread_m, along, scatter_m, highest_m, across_unknown, covariance }
    }

    /// The same plane so much lower, measured straight down.
    pub fn lowered(mut self, by_m: f64) -> Self {
        self.middle_m[2] -= by_m;
        self
    }

    /// Height (m) of the surface at (x, y).
    pub fn height_m(&self, x_m: f64, y_m: f64) -> f64 {
        let [x0, y0, z0] = self.middle_m;
        z0 + self.rise[0] * (x_m - x0) + self.rise[1] * (y_m - y0)
    }

    /// Its standard uncertainty, from how the readings scatter about the plane and, off
    /// a single line of them, from a fall across it that nobody has measured.
    pub fn u_height_m(&self, x_m: f64, y_m: f64) -> f64 {
        let lever = Vector3::new(1.0, x_m - self.middle_m[0], y_m - self.middle_m[1]);
        lever.dot(&(self.covariance * lever)).max(0.0).sqrt()
    }

    /// Direction square to the surface, upward, of length 1.
    pub fn normal(&self) -> Vector3<f64> {
        Vector3::new(-self.rise[0], -self.rise[1], 1.0).normalize()
    }

    /// Steepness, degrees from level.
    pub fn slope_deg(&self) -> f64 {
        self.rise[0].hypot(self.rise[1]).atan().to_degrees()
    }

    /// The place on the surface at (x, y).
    pub fn place(&self, x_m: f64, y_m: f64) -> Vector3<f64> {
        Vector3::new(x_m, y_m, self.height_m(x_m, y_m))
    }

    /// The place on the surface that is nearest to `point`: where a probe square
    /// to the slope goes in.
    pub fn foot(&self, point: &Vector3<f64>) -> Vector3<f64> {
        let normal = self.normal();
        point + normal * (self.place(point.x, point.y) - point).dot(&normal)
    }
}

/// Rise along x and y, the inverse of the horizontal scatter behind it, and the
/// direction along which the rise is not known.
fn rises(scatter: &Matrix3<f64>) -> ([f64; 2], [[f64; 2]; 2], Option<[f64; 2]>) {
    let flat = SymmetricEigen::new(scatter.fixed_view::<2, 2>(0, 0).into_owned());
    let longest = flat.eigenvalues.max();
    let (mut rise, mut inverse, mut unknown) = ([0.0; 2], [[0.0; 2]; 2], None);
    for (value, axis) in flat.eigenvalues.iter().zip(flat.eigenvectors.column_iter()) {
        if *value <= NARROW * NARROW * longest || *value <= 0.0 {
            unknown = Some([axis[0], axis[1]]);
            continue;
        }
        let along = (scatter[(2, 0)] * axis[0] + scatter[(2, 1)] * axis[1]) / value;
        for i in 0..2 {
            rise[i] += along * axis[i];
            for j in 0..2 {
                inverse[i][j] += axis[i] * axis[j] / value;
            }
        }
    }
    (rise, inverse, unknown)
}

#[cfg(test)]
mod tests {
    use super::super::readings::Measured;
    use super::*;

    fn at(place_m: [f64; 3]) -> PlacedReading {
        PlacedReading { place_m, field: Measured::Magnitude(1.0), u_a_per_m: 0.1 }
    }

    #[test]
    fn a_slope_is_found_with_its_normal() {
        let rise = 30f64.to_radians().tan();
        let readings: Vec<_> = (0..25)
            .map(|i| (f64::from(i % 5), f64::from(i / 5)))
            .map(|(x, y)| at([x, y, 2.0 + rise * y]))
            .collect();
        let surface = Surface::through(&readings).lowered(0.5);
        assert!((surface.slope_deg() - 30.0).abs() < 1e-9 && surface.scatter_m < 1e-12);
        assert!((surface.height_m(10.0, 1.0) - 1.5 - rise).abs() < 1e-12);
        let normal = surface.normal();
        assert!((normal - Vector3::new(0.0, -0.5, 0.75f64.sqrt())).norm() < 1e-12);
        // One metre below along the normal: the foot is where it started.
        let foot = surface.place(2.0, 2.0);
        assert!((surface.foot(&(foot - normal)) - foot).norm() < 1e-12);
    }

    #[test]
    fn a_line_tells_its_own_fall_only() {
        let line: Vec<_> = (0..8).map(|i| at([f64::from(i), 1.0, 0.2 * f64::from(i)])).collect();
        let surface = Surface::through(&line);
        assert!(surface.across_unknown && surface.spread_m[1] < 1e-6);
        assert!((surface.rise[0] - 0.2).abs() < 1e-12 && surface.rise[1].abs() < 1e-12);
        assert!(surface.u_height_m(3.0, 1.0) < 1e-12);
        assert!((surface.u_height_m(3.0, 3.0) / 2.0 - 0.333).abs() < 1e-9);
    }

    /// Heights scattered by 5 cm: 1/√25 of it in the middle, more at the edge.
    #[test]
    fn rough_ground_makes_the_height_uncertain() {
        let readings: Vec<_> = (0..25)
            .map(|i| {
                at([f64::from(i % 5), f64::from(i / 5), if i % 2 == 0 { 0.05 } else { -0.05 }])
            })
            .collect();
        let surface = Surface::through(&readings);
        let (middle, corner) = (surface.u_height_m(2.0, 2.0), surface.u_height_m(0.0, 0.0));
        assert!((0.010..0.012).contains(&middle) && corner > 1.5 * middle, "{middle} {corner}");
        assert!((surface.scatter_m - 0.05).abs() < 1e-3);
    }
}
