//! What pictures of a found unit share: its mark with the region of uncertainty,
//! the strongest point, the true place.

use nalgebra::{Matrix2, SymmetricEigen, Vector3};
use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::Canvas;
use super::drawing::PictureError;
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{Mark, Stroke, colour};
use crate::locate::Location;

/// Colour and mark of the unit found.
pub const UNIT: (Mark, RGBColor) = (Mark::Diamond, colour::VERMILION);
/// Of the strongest point.
pub const STRONGEST: (Mark, RGBColor) = (Mark::Triangle, colour::GREEN);
/// Of the true place.
pub const TRUE_PLACE: (Mark, RGBColor) = (Mark::Cross, colour::BLACK);
/// Of a reading.
pub const READING: (Mark, RGBColor) = (Mark::Square, colour::BLUE);
/// √ of the 95 % quantile of χ² with two degrees of freedom.
const K_95: f64 = 2.447_746_830_680_816;

/// Add what these marks mean.
pub fn explain(legend: &mut Legend, location: &Location) {
    legend.add(Key::Point(UNIT.0, UNIT.1), "unit found, 95 % region");
    if location.rival.is_some() {
        legend.add(Key::Point(UNIT.0, colour::FAINT_INK), "other answer");
    }
    legend.add(Key::Point(STRONGEST.0, STRONGEST.1), "strongest point");
    if location.truth.is_some() {
        legend.add(Key::Point(TRUE_PLACE.0, TRUE_PLACE.1), "true place");
    }
}

/// Put the marks on `plot`, `at` giving the coordinates of a place and `axes` the
/// directions of both.
pub fn draw<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    plot: &Plot,
    location: &Location,
    at: impl Fn(&Vector3<f64>) -> [f64; 2],
    axes: [Vector3<f64>; 2],
) -> Result<(), PictureError> {
    let put = |place: Vector3<f64>, (mark, colour): (Mark, RGBColor)| {
        plot.mark(canvas, at(&place).into(), mark, colour)
    };
    let unit = location.solution.position_m;
    put(location.strongest_point.place_m.into(), STRONGEST)?;
    for rival in location.rival.iter().chain(&location.further_rivals) {
        put(rival.position_m.map(|c| c.value).into(), (UNIT.0, colour::FAINT_INK))?;
    }
    put(unit, UNIT)?;
    plot.line(canvas, region(location, at(&unit), axes), Stroke::solid(UNIT.1, 1.6))?;
    if let Some(truth) = &location.truth {
        put(truth.position_m.into(), TRUE_PLACE)?;
    }
    Ok(())
}

/// The ellipse that holds the place, as seen along the third direction, in 95 of
/// 100 cases.
fn region(
    location: &Location,
    middle: [f64; 2],
    axes: [Vector3<f64>; 2],
) -> impl Iterator<Item = (f64, f64)> {
    let place = location.solution.widened().fixed_view::<3, 3>(0, 0).into_owned();
    let seen = Matrix2::from_fn(|i, j| axes[i].dot(&(place * axes[j])));
    let eigen = SymmetricEigen::new(seen);
    let half = eigen.eigenvalues.map(|v| K_95 * v.max(0.0).sqrt());
    (0..=72).map(move |step| {
        let (sin, cos) = (f64::from(step) * std::f64::consts::TAU / 72.0).sin_cos();
        let off = eigen.eigenvectors.column(0) * (half[0] * cos)
            + eigen.eigenvectors.column(1) * (half[1] * sin);
        (middle[0] + off[0], middle[1] + off[1])
    })
}
