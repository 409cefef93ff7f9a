//! What the pictures of a buried unit show, as CSV.

use coilrig_analysis::locate::section::{Section, SurfaceMap};
use coilrig_analysis::locate::{Location, PlacedReading};

/// Each number read against the fit.
pub fn residuals(readings: &[PlacedReading], location: &Location) -> String {
    let mut text = String::from(
        "row,x_m,y_m,z_m,distance_m,component,measured_a_per_m,computed_a_per_m,residual_over_u\n",
    );
    for ((row, reading), residual) in (1..).zip(readings).zip(&location.residuals) {
        let [x, y, z] = reading.place_m;
        for (k, name) in reading.field.names().iter().enumerate() {
            text += &format!(
                "{row},{x},{y},{z},{:.4},{name},{:e},{:e},{:.4}\n",
                residual.distance_m,
                residual.measured_a_per_m[k],
                residual.computed_a_per_m[k],
                residual.over_u[k]
            );
        }
    }
    text
}

/// The field lines of an upright section, point by point; along it from the unit.
pub fn upright_lines(section: &Section) -> String {
    let head = format!("# along_m: metres from the unit, {}\n", section.towards());
    head + &lines(section, "along_m,z_m")
}

/// The field lines of a level section, point by point.
pub fn level_lines(section: &Section) -> String {
    lines(section, "x_m,y_m")
}

fn lines(section: &Section, names: &str) -> String {
    let mut text = format!("line,{names}\n");
    for (number, line) in (1..).zip(&section.lines) {
        for [along, up] in line {
            text += &format!("{number},{along:.4},{up:.4}\n");
        }
    }
    text
}

/// The map, one row a place.
pub fn map(map: &SurfaceMap, location: &Location) -> String {
    let mut text = String::from("x_m,y_m,z_m,field_a_per_m\n");
    for (y, row) in map.y_m.iter().zip(&map.field_a_per_m) {
        for (x, field) in map.x_m.iter().zip(row) {
            let z = location.coil_plane.height_m(*x, *y);
            text += &format!("{x:.4},{y:.4},{z:.4},{field:.5e}\n");
        }
    }
    text
}
