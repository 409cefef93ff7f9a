//! The part of the map that a plan is about.

use crate::station::{Bounds, Station};

/// Room round the units where a station does not say how far its field reaches, m.
const ROOM_M: f64 = 15.0;

/// The field of `station`, or a rectangle round its units where it states none.
pub fn extent(station: &Station) -> Bounds {
    station.bounds.unwrap_or_else(|| {
        let around = |values: Vec<f64>| {
            let low = values.iter().copied().fold(f64::INFINITY, f64::min);
            let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            [low - ROOM_M, high + ROOM_M]
        };
        Bounds {
            x_m: around(station.units.iter().map(|u| u.x_m).collect()),
            y_m: around(station.units.iter().map(|u| u.y_m).collect()),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::station;
    use super::*;

    #[test]
    fn the_field_is_as_stated_or_round_the_units() {
        let units = [(0.0, 5.0, 1.0, 0.0, 0.0), (20.0, 9.0, 1.0, 0.0, 0.0)];
        let stated = station("field = { x_m = [-1, 40], y_m = [0, 30] }", &units);
        assert_eq!(extent(&stated).x_m, [-1.0, 40.0]);
        assert_eq!(extent(&station("", &units)), Bounds { x_m: [-15.0, 35.0], y_m: [-10.0, 24.0] });
    }
}
