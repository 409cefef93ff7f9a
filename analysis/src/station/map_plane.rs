//! The plane of a station's map about a place on earth.

/// Equatorial radius, m, and flattening of the WGS84 ellipsoid (NIMA TR8350.2, from
/// memory).
const EQUATORIAL_RADIUS_M: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257_223_563;

/// A place on earth by WGS84, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Geographic {
    /// North of the equator, −90 to 90.
    pub latitude_deg: f64,
    /// East of Greenwich, −180 to 180.
    pub longitude_deg: f64,
}

/// The plane whose zero point lies at a place on earth, x east and y north.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MapPlane {
    /// Its zero point.
    pub origin: Geographic,
}

impl MapPlane {
    /// Metres east and north of the origin, by the radii of curvature at the latitude
    /// halfway between (Gauss's mid-latitude formulas, first order, from memory).
    ///
    /// Accuracy: within 1 mm of the azimuthal equidistant projection at 1 km and below
    /// 70° of latitude (`tests/outside/pyproj_places.py`).
    pub fn metres(&self, place: Geographic) -> [f64; 2] {
        let north = (place.latitude_deg - self.origin.latitude_deg).to_radians();
        let turn = (place.longitude_deg - self.origin.longitude_deg + 540.0).rem_euclid(360.0);
        let east = (turn - 180.0).to_radians();
        let middle = 0.5 * (place.latitude_deg + self.origin.latitude_deg).to_radians();
        let (meridian_m, across_m) = radii_m(middle);
        // The chord of the parallel turns by this against north halfway along it.
        let (x, y) = (across_m * middle.cos() * east, meridian_m * north);
        let turn = 0.5 * east * middle.sin();
        [x * turn.cos() - y * turn.sin(), y * turn.cos() + x * turn.sin()]
    }

    /// The place so many metres east and north of the origin: the inverse of
    /// [`Self::metres`], to a nanometre.
    pub fn place(&self, [x_m, y_m]: [f64; 2]) -> Geographic {
        let (meridian_m, across_m) = radii_m(self.origin.latitude_deg.to_radians());
        let parallel_m = across_m * self.origin.latitude_deg.to_radians().cos();
        let mut place = self.origin;
        for _ in 0..8 {
            let [x, y] = self.metres(place);
            place.latitude_deg += ((y_m - y) / meridian_m).to_degrees();
            place.longitude_deg += ((x_m - x) / parallel_m).to_degrees();
        }
        place.longitude_deg = (place.longitude_deg + 540.0).rem_euclid(360.0) - 180.0;
        place
    }
}

/// Radii of curvature along the meridian and across it, m.
fn radii_m(latitude: f64) -> (f64, f64) {
    let eccentricity_squared = FLATTENING * (2.0 - FLATTENING);
    let w = 1.0 - eccentricity_squared * latitude.sin().powi(2);
    let across = EQUATORIAL_RADIUS_M / w.sqrt();
    (across * (1.0 - eccentricity_squared) / w, across)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back() {
        for (latitude_deg, longitude_deg) in [(46.57, 9.83), (-44.6, 168.9), (69.6, 179.9999)] {
            let plane = MapPlane { origin: Geographic { latitude_deg, longitude_deg } };
            for at in [[0.0, 0.0], [37.0, -12.5], [-800.0, 600.0]] {
                let back = plane.metres(plane.place(at));
                assert!((0..2).all(|i| (back[i] - at[i]).abs() < 1e-6), "{at:?} {back:?}");
            }
        }
    }
}
