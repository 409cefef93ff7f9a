//! Where a receiver on the snow reads most above each unit: a small map for each.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::axis::Axis;
use super::canvas::{Align, Canvas, Point, text_width};
use super::contour_map::{ContourMap, levels};
use super::drawing::{Picture, PictureError};
use super::labels::fitted;
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::station_map::{UNIT, scale};
use super::style::{Mark, Stroke, colour, size};
use crate::plan::{Above, FieldOverSnow, Reception};
use crate::station::Station;
use crate::units;

/// Side of a small map, and room round it.
const SIDE: f64 = 240.0;
const GAP: f64 = 24.0;
/// Letters above and below it.
const HEAD: f64 = 26.0;
const FOOT: f64 = 88.0;
const TOP: f64 = 92.0;
const MARGIN: f64 = 18.0;
const COLUMNS: usize = 3;

/// The picture.
pub struct MaximaAbove<'a> {
    /// The station.
    pub station: &'a Station,
    /// The field on the snow.
    pub field: &'a FieldOverSnow,
    /// Of each unit, in the order of the station.
    pub units: &'a [Above],
}

impl Picture for MaximaAbove<'_> {
    fn size(&self) -> (u32, u32) {
        let rows = self.units.len().div_ceil(COLUMNS) as f64;
        let width = 2.0 * MARGIN + COLUMNS as f64 * (SIDE + GAP) - GAP;
        let height = TOP + rows * (HEAD + SIDE + FOOT) + 44.0;
        (width as u32, height as u32)
    }

    fn title(&self) -> String {
        format!("{}: strongest readings above each unit", self.station.name)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let (width, height) = self.size();
        let title = (MARGIN, MARGIN + 0.8 * size::TITLE);
        canvas.bold(&self.title(), title, Align::Left, size::TITLE, colour::INK)?;
        legend().draw(canvas, (MARGIN, 46.0), f64::from(width) - 2.0 * MARGIN)?;
        for (number, above) in self.units.iter().enumerate() {
            let column = (number % COLUMNS) as f64;
            let row = (number / COLUMNS) as f64;
            let corner = (MARGIN + column * (SIDE + GAP), TOP + row * (HEAD + SIDE + FOOT) + HEAD);
            self.unit(canvas, number, above, corner)?;
        }
        let notes = [
            "Seen from straight above, north up. Shades and lines: field of three axes (RMS), receiver \
             on the snow, free space.",
            "One axis, level: along the unit's own; upright: square to the snow. Maxima down to 20 dB \
             below the greatest.",
        ];
        for (line, note) in notes.iter().enumerate() {
            let at = (MARGIN, f64::from(height) - 30.0 + 16.0 * line as f64);
            canvas.text(note, at, Align::Left, size::NOTE, colour::FAINT_INK)?;
        }
        Ok(())
    }
}

fn legend() -> Legend {
    let mut legend = Legend::new();
    legend.add(Key::Point(UNIT.0, UNIT.1), "unit, square below");
    for reception in Reception::ALL {
        let (mark, colour) = look(reception);
        legend.add(Key::Point(mark, colour), reception.words());
    }
    legend
}

fn look(reception: Reception) -> (Mark, RGBColor) {
    match reception {
        Reception::ThreeAxes => (Mark::Triangle, colour::GREEN),
        Reception::OneAxisLevel => (Mark::Square, colour::BLUE),
        Reception::OneAxisUpright => (Mark::Cross, colour::BLACK),
    }
}

impl MaximaAbove<'_> {
    fn unit<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        number: usize,
        above: &Above,
        (left, top): Point,
    ) -> Result<(), PictureError> {
        let axis = |values: &[f64]| {
            Axis::linear(values[0], values[values.len() - 1], "", 4, |v| v.to_string())
        };
        let axes = (axis(&above.x_m), axis(&above.y_m));
        let plot = Plot::between((left, top), (left + SIDE, top + SIDE), axes);
        let rows = &above.field_a_per_m;
        let all = || rows.iter().flatten().copied();
        let levels = levels(all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max));
        let map = ContourMap { x: &above.x_m, y: &above.y_m, rows, levels };
        map.shades(canvas, &plot)?;
        map.draw(canvas, &plot, &map.contours(), Stroke::solid(colour::INK, 0.8))?;
        let unit = &self.station.units[number];
        let (mark, vermilion) = UNIT;
        plot.mark(canvas, (above.middle_m[0], above.middle_m[1]), mark, vermilion)?;
        for maxima in &above.maxima {
            let (mark, colour) = look(maxima.reception);
            for maximum in &maxima.all {
                plot.mark(canvas, self.field.on_map(maximum.at).into(), mark, colour)?;
            }
        }
        let lie = format!(
            "{} m deep, dip {}°",
            units::significant(unit.depth_m, 3),
            units::significant(unit.lie.dip_deg, 3)
        );
        let at = (left + SIDE, top - 8.0);
        canvas.text(&lie, at, Align::Right, size::TICK, colour::FAINT_INK)?;
        // Bold letters are a little wider.
        let room = 0.88 * (SIDE - text_width(&lie, size::TICK) - 8.0);
        let name = fitted(&unit.name, size::LABEL, room);
        canvas.bold(&name, (left, top - 8.0), Align::Left, size::LABEL, colour::INK)?;
        scale(canvas, &plot, (left + SIDE - 50.0, top + SIDE + 54.0))?;
        for (line, maxima) in above.maxima.iter().enumerate() {
            let at = (left, top + SIDE + 16.0 + 15.0 * line as f64);
            let (_, colour) = look(maxima.reception);
            canvas.text(&said(maxima), at, Align::Left, size::NOTE, colour)?;
        }
        Ok(())
    }
}

/// "three axes: 0.31 m off" or "one axis, level: 0.8, 0.8 m off".
fn said(maxima: &crate::plan::Maxima) -> String {
    let off: Vec<String> = maxima.all.iter().map(|m| units::to_hundredths(m.offset_m)).collect();
    format!("{}: {} m off", maxima.reception.words(), off.join(", "))
}
