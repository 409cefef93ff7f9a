//! What the pictures of a buried unit show, as CSV.

use coilrig_analysis::locate::{Location, Measured, PlacedReading};

/// Each number read against the fit.
pub fn residuals(readings: &[PlacedReading], location: &Location) -> String {
    let mut text = String::from(
        "row,x_m,y_m,z_m,distance_m,measured_a_per_m,computed_a_per_m,component,residual_over_u\n",
    );
    for ((row, reading), residual) in (1..).zip(readings).zip(&location.residuals) {
        let [x, y, z] = reading.place_m;
        for (name, over_u) in components(reading.field).iter().zip(&residual.over_u) {
            text += &format!(
                "{row},{x},{y},{z},{:.4},{:e},{:e},{name},{over_u:.4}\n",
                residual.distance_m, residual.measured_a_per_m, residual.computed_a_per_m
            );
        }
    }
    text
}

fn components(field: Measured) -> &'static [&'static str] {
    match field {
        Measured::Vector(_) => &["x", "y", "z"],
        Measured::NoHeading { .. } => &["horizontal", "vertical"],
        Measured::Magnitude(_) => &["magnitude"],
    }
}
