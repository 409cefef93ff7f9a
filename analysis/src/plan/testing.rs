//! Invented stations for tests.

use crate::station::{Bounds, Station};

/// A field for units near its middle.
pub(super) const BOUNDS: Bounds = Bounds { x_m: [-30.0, 30.0], y_m: [-20.0, 20.0] };

/// A station of units given as x, y, depth (m), bearing and dip (degrees), each with
/// 1 µA/m at 10 m; `head` is put before them.
pub(super) fn station(head: &str, units: &[(f64, f64, f64, f64, f64)]) -> Station {
    let unit = |(i, (x, y, depth, bearing, dip)): (usize, &(f64, f64, f64, f64, f64))| {
        format!(
            "[[unit]]\nname = \"u{i}\"\nx_m = {x}\ny_m = {y}\ndepth_m = {depth}\n\
             lie = {{ bearing_deg = {bearing}, dip_deg = {dip} }}\nperiod_s = 1\n\
             on_time_s = 0.1\nfield_at_10_m = \"1uA/m\"\n"
        )
    };
    let units: String = units.iter().enumerate().map(unit).collect();
    Station::parse(&format!("format = \"coilrig-station/1\"\nname = \"t\"\n{head}\n{units}"))
        .expect("a station")
}
