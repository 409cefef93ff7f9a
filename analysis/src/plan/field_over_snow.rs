//! The field of a station's units where people carry a receiver.

use nalgebra::{Matrix3, Vector3};
use num_complex::Complex64;
use serde::Serialize;

use super::snow::{Laid, Snow, distance_m};
use crate::field::constants::NOMINAL_CARRIER_HZ;
use crate::field::layered::{Ground, GroundError, Layered, Material, Sheet};
use crate::field::medium::{FreeSpace, Medium};
use crate::locate::polarisation;
use crate::station::{Bounds, Station};

/// Dry snow (relative permittivity of 300 kg/m³ and conductivity from memory).
const SNOW: Material = Material { conductivity_s_per_m: 1e-6, relative_permittivity: 1.5 };
/// Relative permittivity of soil; from memory, and of little account below 1000 Ω·m.
const SOIL_PERMITTIVITY: f64 = 15.0;

/// How far beyond the field of a station the field over ground is made ready, m.
const ROOM_M: f64 = 30.0;

/// What the field is computed in.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Space {
    /// As if there were no ground.
    Free,
    /// Snow over soil, laid along the slope.
    SnowOverSoil {
        /// Depth of the snow, vertically, m.
        snow_depth_m: f64,
        /// Resistivity of the soil, Ω·m.
        soil_resistivity_ohm_m: f64,
    },
}

impl Space {
    /// The ground of `station`, where it states the depth of the snow and the soil;
    /// free space where not.
    pub fn of(station: &Station) -> Self {
        match (station.snow_depth_m, station.soil_resistivity_ohm_m) {
            (Some(snow_depth_m), Some(soil_resistivity_ohm_m)) => {
                Self::SnowOverSoil { snow_depth_m, soil_resistivity_ohm_m }
            }
            _ => Self::Free,
        }
    }
}

/// A unit in laid coordinates.
#[derive(Clone, Copy, Debug)]
struct Source {
    at_m: [f64; 3],
    moment_a_m2: Vector3<f64>,
}

/// The field at one height over the snow.
pub struct FieldOverSnow {
    /// The surface.
    pub snow: Snow,
    /// Height of the receiver over it, straight up, m.
    pub height_m: f64,
    sources: Vec<Source>,
    medium: Box<dyn Medium>,
}

impl FieldOverSnow {
    /// Of `station` at `height_m` straight above its snow, over 0, for places of
    /// `bounds` on its map. Over ground other places are right as well, but slow.
    ///
    /// # Errors
    ///
    /// A ground whose numbers cannot be.
    pub fn new(
        station: &Station,
        space: Space,
        height_m: f64,
        bounds: &Bounds,
    ) -> Result<Self, GroundError> {
        let snow = Snow::new(station.slope);
        let source = |unit: &crate::station::PlannedUnit| Source {
            at_m: snow.laid(unit.x_m, unit.y_m, -unit.depth_m),
            moment_a_m2: snow.turned(Vector3::from(unit.lie.direction())) * unit.moment_a_m2(),
        };
        let sources: Vec<Source> = station.units.iter().map(source).collect();
        let medium: Box<dyn Medium> = match space {
            Space::Free => Box::new(FreeSpace { frequency_hz: NOMINAL_CARRIER_HZ }),
            Space::SnowOverSoil { snow_depth_m, soil_resistivity_ohm_m } => {
                let soil = Material::of_resistivity(soil_resistivity_ohm_m, SOIL_PERMITTIVITY);
                let ground = Ground::snow_over_soil(snow.square_m(snow_depth_m), SNOW, soil);
                let layered = Layered::new(ground, NOMINAL_CARRIER_HZ)?;
                let heights = sources.iter().map(|s| s.at_m[2]);
                let low_m = heights.clone().fold(f64::INFINITY, f64::min);
                let high_m = heights.fold(f64::NEG_INFINITY, f64::max);
                let reach_m = reach_m(&sources, snow.corners(bounds, height_m));
                Box::new(Sheet::new(&layered, snow.square_m(height_m), (low_m, high_m), reach_m))
            }
        };
        Ok(Self { snow, height_m, sources, medium })
    }

    /// Number of units.
    pub fn units(&self) -> usize {
        self.sources.len()
    }

    /// Where a line from `unit` square to the snow meets the height of the receiver.
    pub fn above(&self, unit: usize) -> Laid {
        let [u, v, _] = self.sources[unit].at_m;
        [u, v]
    }

    /// Unit vector along the snow in the direction of the antenna of `unit`; along u
    /// where that is square to the snow.
    pub fn axis_along_snow(&self, unit: usize) -> Laid {
        let moment = self.sources[unit].moment_a_m2;
        let level = moment.xy();
        match level.norm() > 1e-6 * moment.norm() {
            true => level.normalize().into(),
            false => [1.0, 0.0],
        }
    }

    /// Distance of the receiver's height from `unit`, square to the snow, m.
    pub fn depth_m(&self, unit: usize) -> f64 {
        self.snow.square_m(self.height_m) - self.sources[unit].at_m[2]
    }

    /// Distance from `unit` to a receiver at a place, m.
    pub fn distance_m(&self, unit: usize, at: Laid) -> f64 {
        distance_m(self.above(unit), at).hypot(self.depth_m(unit))
    }

    /// RMS field of `unit` along u, v and square to the snow, A/m.
    pub fn field(&self, unit: usize, [u, v]: Laid) -> Vector3<Complex64> {
        let Source { at_m, moment_a_m2 } = self.sources[unit];
        let point_m = [u, v, self.snow.square_m(self.height_m)];
        self.medium.coupling(at_m, point_m) * moment_a_m2.map(Complex64::from)
    }

    /// The matrix of couplings (1/m³) from `unit` to a receiver so far off along the snow,
    /// in the direction of the first axis.
    pub(super) fn coupling(&self, unit: usize, rho_m: f64) -> Matrix3<Complex64> {
        let [u, v, z] = self.sources[unit].at_m;
        self.medium.coupling([u, v, z], [u + rho_m, v, self.snow.square_m(self.height_m)])
    }

    /// RMS moment of `unit` along u, v and square to the snow, A·m².
    pub(super) fn moment_a_m2(&self, unit: usize) -> Vector3<f64> {
        self.sources[unit].moment_a_m2
    }

    /// RMS magnitude of the field of `unit` over all directions, A/m: what three axes read.
    pub fn magnitude(&self, unit: usize, at: Laid) -> f64 {
        polarisation::magnitude(&self.field(unit, at))
    }

    /// The place of the map below a receiver at a place.
    pub fn on_map(&self, at: Laid) -> [f64; 2] {
        self.snow.on_map(at, self.height_m)
    }

    /// Where a receiver above a place of the map is.
    pub fn over(&self, [x_m, y_m]: [f64; 2]) -> Laid {
        let [u, v, _] = self.snow.laid(x_m, y_m, self.height_m);
        [u, v]
    }
}

fn reach_m(sources: &[Source], corners: [Laid; 4]) -> f64 {
    let from = |s: &Source| corners.map(|corner| distance_m([s.at_m[0], s.at_m[1]], corner));
    // Ways along the field lead out of it now and then.
    sources.iter().flat_map(from).fold(0.0, f64::max) + ROOM_M
}

#[cfg(test)]
mod tests {
    use super::super::testing::{BOUNDS, station};
    use super::*;
    use crate::field::dipole;

    /// In space, without laid coordinates: the same magnitude.
    #[test]
    fn on_a_slope_the_field_is_the_dipoles() {
        let station =
            station("slope = { angle_deg = 30, bearing_deg = 70 }", &[(3.0, 4.0, 1.5, 20.0, 35.0)]);
        let over = FieldOverSnow::new(&station, Space::Free, 1.2, &BOUNDS).unwrap();
        let unit = &station.units[0];
        let moment = unit.lie.direction().map(|c| c * unit.moment_a_m2());
        for (x, y) in [(3.0, 4.0), (12.0, -8.0), (0.0, 25.0)] {
            let z = |x: f64, y: f64| station.slope.height_m(x, y);
            let rise = z(x, y) + 1.2 - (z(3.0, 4.0) - 1.5);
            let direct = Vector3::from(dipole::field(moment, [x - 3.0, y - 4.0, rise], 457e3));
            let laid = over.magnitude(0, over.over([x, y]));
            assert!((laid / direct.norm() - 1.0).abs() < 1e-12, "{laid} {}", direct.norm());
        }
    }

    /// Design, section 7: the coplanar level field 5 to 6 dB over that in free space
    /// from 30 m on.
    #[test]
    fn over_ground_the_field_is_that_of_the_layers() {
        let ground = "snow_depth_m = 2\nsoil_resistivity_ohm_m = 100";
        let station = station(ground, &[(0.0, 0.0, 1.0, 0.0, 0.0)]);
        let space = Space::of(&station);
        assert!(matches!(space, Space::SnowOverSoil { .. }));
        let [over, free] = [space, Space::Free]
            .map(|space| FieldOverSnow::new(&station, space, 1.0, &BOUNDS).unwrap());
        // Level to the north, so that the east is beside it.
        let db = |east: f64| {
            let level = |f: &FieldOverSnow| f.field(0, [east, 0.0])[1].norm();
            20.0 * (level(&over) / level(&free)).log10()
        };
        assert!((db(10.0) - 1.4).abs() < 0.1, "{}", db(10.0));
        assert!((5.0..6.1).contains(&db(30.0)), "{}", db(30.0));
    }
}
