//! Coordinates laid along the snow.
//!
//! A station's map is level, people walk on a slope, and layers of ground lie along
//! it. Laid coordinates are those of the map turned by the least turn that makes the
//! slope level: u and v along the surface, the third square to it, upward. Lengths
//! among them are true lengths, so that a path in u and v is as long as a person walks.

use nalgebra::{Matrix2, Rotation3, Vector2, Vector3};

use crate::station::{Bounds, Slope};

/// A place or a direction along the surface, m.
pub type Laid = [f64; 2];

/// The surface of the snow.
#[derive(Clone, Debug)]
pub struct Snow {
    slope: Slope,
    turn: Rotation3<f64>,
    /// From east and north on the map to u and v on the surface.
    from_map: Matrix2<f64>,
    to_map: Matrix2<f64>,
}

impl Snow {
    /// Snow that slopes so, by less than 90°.
    pub fn new(slope: Slope) -> Self {
        let rise = [slope.height_m(1.0, 0.0), slope.height_m(0.0, 1.0)];
        let normal = Vector3::new(-rise[0], -rise[1], 1.0);
        let turn = Rotation3::rotation_between(&normal, &Vector3::z()).unwrap_or_default();
        let column = |east: f64, north: f64| {
            (turn * Vector3::new(east, north, slope.height_m(east, north))).xy()
        };
        let from_map = Matrix2::from_columns(&[column(1.0, 0.0), column(0.0, 1.0)]);
        let to_map = from_map.try_inverse().unwrap_or_default();
        Self { slope, turn, from_map, to_map }
    }

    /// What lies `height_m` straight above a place of the map (below where negative).
    pub fn laid(&self, x_m: f64, y_m: f64, height_m: f64) -> [f64; 3] {
        let along = self.from_map * Vector2::new(x_m, y_m);
        let up = self.turn * Vector3::new(0.0, 0.0, height_m);
        // The turn alone is good to rounding; the height over the surface is exact.
        [along.x + up.x, along.y + up.y, self.square_m(height_m)]
    }

    /// The place of the map below what has `height_m` straight above it.
    pub fn on_map(&self, [u, v]: Laid, height_m: f64) -> [f64; 2] {
        let up = self.turn * Vector3::new(0.0, 0.0, height_m);
        (self.to_map * Vector2::new(u - up.x, v - up.y)).into()
    }

    /// Height square to the surface of what is so far above it straight up, m.
    pub fn square_m(&self, height_m: f64) -> f64 {
        self.slope.along_normal_m(height_m)
    }

    /// A direction of east, north and up in laid coordinates.
    pub fn turned(&self, direction: Vector3<f64>) -> Vector3<f64> {
        self.turn * direction
    }

    /// Unit vector down the slope; to its stated bearing where it is level.
    pub fn downhill(&self) -> Laid {
        let (sin, cos) = self.slope.bearing_deg.to_radians().sin_cos();
        (self.from_map * Vector2::new(sin, cos)).normalize().into()
    }

    /// Corners of a rectangle of the map on the surface, in turn round it.
    pub fn corners(&self, bounds: &Bounds, height_m: f64) -> [Laid; 4] {
        let ([west, east], [south, north]) = (bounds.x_m, bounds.y_m);
        [(west, south), (east, south), (east, north), (west, north)].map(|(x, y)| {
            let [u, v, _] = self.laid(x, y, height_m);
            [u, v]
        })
    }
}

/// Distance between two places along the surface, m.
pub fn distance_m(a: Laid, b: Laid) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn snow() -> Snow {
        Snow::new(Slope { angle_deg: 25.0, bearing_deg: 150.0 })
    }

    fn in_space(slope: Slope, x: f64, y: f64, height: f64) -> Vector3<f64> {
        Vector3::new(x, y, slope.height_m(x, y) + height)
    }

    /// A turn keeps all distances.
    #[test]
    fn laid_places_are_as_far_from_each_other_as_in_space() {
        let (snow, slope) = (snow(), Slope { angle_deg: 25.0, bearing_deg: 150.0 });
        let places = [(0.0, 0.0, 0.0), (30.0, 4.0, 1.0), (-3.0, 17.0, -1.6)];
        for a in places {
            for b in places {
                let apart = |p: [f64; 3], q: [f64; 3]| (Vector3::from(p) - Vector3::from(q)).norm();
                let laid = apart(snow.laid(a.0, a.1, a.2), snow.laid(b.0, b.1, b.2));
                let true_m =
                    (in_space(slope, a.0, a.1, a.2) - in_space(slope, b.0, b.1, b.2)).norm();
                assert!((laid - true_m).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn the_map_is_found_again() {
        let snow = snow();
        for (x, y, height) in [(12.0, -7.0, 1.0), (0.0, 3.0, -1.2), (5.0, 5.0, 0.0)] {
            let [u, v, n] = snow.laid(x, y, height);
            let back = snow.on_map([u, v], height);
            assert!((back[0] - x).abs() < 1e-12 && (back[1] - y).abs() < 1e-12);
            assert!((n - height * 25f64.to_radians().cos()).abs() < 1e-15);
        }
    }

    #[test]
    fn downhill_is_steepest_and_along_the_surface() {
        let down = snow().downhill();
        let [x, y] = snow().on_map(down, 0.0);
        // A metre along the slope falls by its sine.
        let height = Slope { angle_deg: 25.0, bearing_deg: 150.0 }.height_m(x, y);
        assert!((height + 25f64.to_radians().sin()).abs() < 1e-12);
        assert_eq!(Snow::new(Slope::default()).downhill(), [0.0, 1.0]);
    }
}
