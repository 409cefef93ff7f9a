//! What a station consists of.

use std::f64::consts::PI;

use super::doubts::Doubt;
use super::map_plane::Geographic;
use crate::field::constants::NOMINAL_CARRIER_HZ;
use crate::field::dipole;
use crate::masking::Timing;

/// A training field and its units.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// Its name.
    pub name: String,
    /// Where it is, in the operator's words.
    pub place: Option<String>,
    /// Where on earth the map's zero point is, if stated.
    pub origin: Option<Geographic>,
    /// How the snow's surface lies.
    pub slope: Slope,
    /// Depth of the snow, vertically, m; where known.
    pub snow_depth_m: Option<f64>,
    /// Resistivity of the soil, Ω·m; where known.
    pub soil_resistivity_ohm_m: Option<f64>,
    /// The part of the map that is the field, where stated.
    pub bounds: Option<Bounds>,
    /// Its units, in the order of the file.
    pub units: Vec<PlannedUnit>,
    /// Units at hand that are not buried.
    pub spares: Vec<Spare>,
    /// What of the file is worth a second look.
    pub doubts: Vec<Doubt>,
}

/// A plane that slopes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slope {
    /// Against the level, degrees, 0 to below 60.
    pub angle_deg: f64,
    /// Which way is down, degrees from north to the east.
    pub bearing_deg: f64,
}

impl Slope {
    /// Height of the surface at a place of the map, m; 0 at its zero point.
    pub fn height_m(&self, x_m: f64, y_m: f64) -> f64 {
        let (sin, cos) = self.bearing_deg.to_radians().sin_cos();
        -self.angle_deg.to_radians().tan() * (x_m * sin + y_m * cos)
    }

    /// Depth square to the slope of what lies so far below it vertically, m.
    pub fn along_normal_m(&self, vertical_m: f64) -> f64 {
        vertical_m * self.angle_deg.to_radians().cos()
    }
}

/// A rectangle on the map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// From and to, west to east, m.
    pub x_m: [f64; 2],
    /// From and to, south to north, m.
    pub y_m: [f64; 2],
}

impl Bounds {
    /// Lengths of its sides, m.
    pub fn sides_m(&self) -> [f64; 2] {
        [self.x_m, self.y_m].map(|[from, to]| to - from)
    }

    /// Whether a place lies inside or on the edge.
    pub fn hold(&self, x_m: f64, y_m: f64) -> bool {
        (self.x_m[0]..=self.x_m[1]).contains(&x_m) && (self.y_m[0]..=self.y_m[1]).contains(&y_m)
    }
}

/// How the axis of a unit's antenna lies. Which end is which does not matter to any
/// receiver.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lie {
    /// Where it points on the map, degrees from north to the east.
    pub bearing_deg: f64,
    /// Below the level, degrees: 90 is upright.
    pub dip_deg: f64,
}

impl Lie {
    /// Unit vector along it: east, north, up.
    pub fn direction(&self) -> [f64; 3] {
        let (bearing, dip) = (self.bearing_deg.to_radians(), self.dip_deg.to_radians());
        [dip.cos() * bearing.sin(), dip.cos() * bearing.cos(), -dip.sin()]
    }
}

/// A unit where and how it is to be.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedUnit {
    /// Its name, unique in the station.
    pub name: String,
    /// Its maker's serial number.
    pub serial: Option<String>,
    /// Place on the map, m.
    pub x_m: f64,
    /// Place on the map, m.
    pub y_m: f64,
    /// Below the surface, vertically, m.
    pub depth_m: f64,
    /// How its antenna lies.
    pub lie: Lie,
    /// When it sends.
    pub timing: Timing,
    /// RMS field on its axis 10 m away, A/m.
    pub field_at_10_m_a_per_m: f64,
}

/// A unit that lies ready to take another's place.
#[derive(Clone, Debug, PartialEq)]
pub struct Spare {
    /// Its name, unique in the station.
    pub name: String,
    /// Its maker's serial number.
    pub serial: Option<String>,
    /// When it sends.
    pub timing: Timing,
    /// RMS field on its axis 10 m away, A/m.
    pub field_at_10_m_a_per_m: f64,
}

impl PlannedUnit {
    /// RMS moment, A·m², that makes the field stated (free space, near-field terms in).
    pub fn moment_a_m2(&self) -> f64 {
        self.field_at_10_m_a_per_m / dipole::coaxial(1.0, 10.0, NOMINAL_CARRIER_HZ)
    }

    /// Greatest distance at which it makes a field (A/m) in free space: on its axis, from
    /// m / 2πr³, m.
    pub fn reach_m(&self, field_a_per_m: f64) -> f64 {
        (self.moment_a_m2() / (2.0 * PI * field_a_per_m)).cbrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slope_falls_where_it_says() {
        let slope = Slope { angle_deg: 30.0, bearing_deg: 90.0 };
        assert!((slope.height_m(1.0, 5.0) + 30f64.to_radians().tan()).abs() < 1e-12);
        assert!((slope.along_normal_m(1.0) - 0.866_025).abs() < 1e-6);
        assert_eq!(Slope::default().height_m(3.0, 4.0), 0.0);
    }

    #[test]
    fn a_lie_is_a_direction() {
        let close = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-12);
        let lie = |bearing_deg, dip_deg| Lie { bearing_deg, dip_deg }.direction();
        assert!(close(lie(0.0, 0.0), [0.0, 1.0, 0.0]));
        assert!(close(lie(90.0, 0.0), [1.0, 0.0, 0.0]));
        assert!(close(lie(77.0, 90.0), [0.0, 0.0, -1.0]));
    }

    #[test]
    fn reach_is_where_the_field_is_that() {
        let timing = Timing { period_s: 1.0, on_time_s: 0.1 };
        let unit = PlannedUnit {
            name: "a".into(),
            serial: None,
            x_m: 0.0,
            y_m: 0.0,
            depth_m: 1.0,
            lie: Lie::default(),
            timing,
            field_at_10_m_a_per_m: 1e-6,
        };
        assert!((unit.reach_m(1e-6) - 10.0).abs() < 0.02);
        // An eighth of the field, twice as far.
        assert!((unit.reach_m(0.125e-6) - 20.0).abs() < 0.04);
    }
}
