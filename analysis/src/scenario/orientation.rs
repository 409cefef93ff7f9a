//! How the receiver is held.

use nalgebra::{Matrix3, Rotation3, Vector3};
use num_complex::Complex64;
use serde::Deserialize;

use super::ScenarioError;

/// How the coils lie in station coordinates.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(untagged, expecting = "three unit vectors, or { yaw_deg, pitch_deg, roll_deg }")]
pub enum Orientation {
    /// The directions of the x, y and z coil, one a row: a rotation matrix.
    Axes([[f64; 3]; 3]),
    /// Turned from rest.
    Angles(Angles),
}

/// A turn from rest, where the coils lie along the station's axes: first by
/// roll about x, then by pitch about y, then by yaw about z, each about the
/// station's axis and counter-clockwise seen from its tip.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Angles {
    /// About z, degrees.
    pub yaw_deg: f64,
    /// About y, degrees.
    pub pitch_deg: f64,
    /// About x, degrees.
    pub roll_deg: f64,
}

impl Default for Orientation {
    fn default() -> Self {
        Self::Angles(Angles::default())
    }
}

impl Orientation {
    pub(super) fn validate(&self) -> Result<(), ScenarioError> {
        let m = self.rows();
        // A departure of 1e-3 is three digits typed; larger ones are mistakes.
        let rotates =
            (m * m.transpose() - Matrix3::identity()).amax() < 1e-3 && m.determinant() > 0.0;
        if rotates {
            return Ok(());
        }
        Err(ScenarioError::new(
            "orientation",
            "is no rotation",
            "give the x, y and z coil's directions as rows: unit vectors, at right angles to \
             each other, right-handed; or finite yaw_deg, pitch_deg, roll_deg",
        ))
    }

    /// A vector in station coordinates as the coils see it.
    pub fn coil_components(&self, station: [Complex64; 3]) -> [Complex64; 3] {
        let rows = self.rows();
        std::array::from_fn(|axis| (0..3).map(|i| station[i] * rows[(axis, i)]).sum())
    }

    fn rows(&self) -> Matrix3<f64> {
        match *self {
            Self::Axes(rows) => Matrix3::from_fn(|axis, i| rows[axis][i]),
            Self::Angles(Angles { yaw_deg, pitch_deg, roll_deg }) => {
                let about =
                    |axis, degrees: f64| Rotation3::from_axis_angle(&axis, degrees.to_radians());
                let turned = about(Vector3::z_axis(), yaw_deg)
                    * about(Vector3::y_axis(), pitch_deg)
                    * about(Vector3::x_axis(), roll_deg);
                turned.matrix().transpose()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(orientation: Orientation, station: [f64; 3]) -> [f64; 3] {
        orientation.coil_components(station.map(Complex64::from)).map(|c| c.re)
    }

    fn close(a: [f64; 3], b: [f64; 3]) -> bool {
        a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12)
    }

    #[test]
    fn a_receiver_turned_left_sees_north_on_x() {
        let left = Orientation::Angles(Angles { yaw_deg: 90.0, pitch_deg: 0.0, roll_deg: 0.0 });
        assert!(close(seen(left, [0.0, 1.0, 0.0]), [1.0, 0.0, 0.0]));
        assert!(close(seen(left, [1.0, 0.0, 0.0]), [0.0, -1.0, 0.0]));
        assert!(close(seen(left, [0.0, 0.0, 1.0]), [0.0, 0.0, 1.0]));
    }

    #[test]
    fn angles_and_axes_say_the_same() {
        let tipped = Orientation::Angles(Angles { yaw_deg: 0.0, pitch_deg: 90.0, roll_deg: 0.0 });
        // Pitched by 90° about y, the x coil points down and the z coil along x.
        let axes = Orientation::Axes([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]);
        axes.validate().unwrap();
        assert!(close(seen(tipped, [0.3, 0.5, -0.7]), seen(axes, [0.3, 0.5, -0.7])));
    }

    #[test]
    fn turning_keeps_the_magnitude() {
        let h = [0.3, -0.4, 1.2];
        let turned = seen(
            Orientation::Angles(Angles { yaw_deg: 20.0, pitch_deg: -35.0, roll_deg: 130.0 }),
            h,
        );
        assert!((turned.map(|x| x * x).iter().sum::<f64>().sqrt() - 1.3).abs() < 1e-12);
    }

    #[test]
    fn a_mirror_is_no_orientation() {
        let mirror = Orientation::Axes([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0]]);
        assert!(mirror.validate().is_err());
        let nan = Orientation::Angles(Angles { yaw_deg: f64::NAN, pitch_deg: 0.0, roll_deg: 0.0 });
        assert!(nan.validate().is_err());
    }
}
