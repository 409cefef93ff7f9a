//! Map of a station: where its units are planned, how their antennas lie, which way is
//! north and which is down.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, Point, text_width};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{Mark, Stroke, colour, size};
use crate::station::{Bounds, Station};
use crate::units;

/// The map.
#[derive(Clone, Debug)]
pub struct StationMap<'a> {
    /// The station.
    pub station: &'a Station,
    /// Names of units to be looked at.
    pub marked: &'a [String],
}

const UNIT: (Mark, RGBColor) = (Mark::Disc, colour::BLUE);
const MARKED: (Mark, RGBColor) = (Mark::Triangle, colour::VERMILION);
const EDGE: Stroke = Stroke::solid(colour::FAINT_INK, 1.2);
/// Length of the line along an antenna, points.
const ANTENNA: f64 = 26.0;
const ARROW: f64 = 44.0;

impl StationMap<'_> {
    /// What of the map is shown, m.
    fn bounds(&self) -> Bounds {
        if let Some(bounds) = self.station.bounds {
            return bounds;
        }
        let around = |of: fn(&crate::station::PlannedUnit) -> f64| {
            let all = self.station.units.iter().map(of);
            let (low, high) = all.fold((f64::MAX, f64::MIN), |s, v| (s.0.min(v), s.1.max(v)));
            let room = (0.15 * (high - low)).max(3.0);
            [low - room, high + room]
        };
        Bounds { x_m: around(|u| u.x_m), y_m: around(|u| u.y_m) }
    }

    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        legend.add(Key::Point(UNIT.0, UNIT.1), "unit with its depth and antenna");
        if self.station.units.iter().any(|u| self.marked.contains(&u.name)) {
            legend.add(Key::Point(MARKED.0, MARKED.1), "to be looked at");
        }
        legend
    }

    fn notes(&self) -> Vec<String> {
        let slope = self.station.slope;
        let mut note = match slope.angle_deg {
            0.0 => "Level ground.".to_owned(),
            angle => format!(
                "Slope {}°, down towards {}°.",
                units::significant(angle, 3),
                units::significant(slope.bearing_deg, 3)
            ),
        };
        if let Some(snow) = self.station.snow_depth_m {
            note += &format!(" Snow {} m deep.", units::significant(snow, 3));
        }
        vec![note + " Places and depths as planned; a metre is as long across as up."]
    }
}

impl Picture for StationMap<'_> {
    fn size(&self) -> (u32, u32) {
        let Bounds { x_m, y_m } = self.bounds();
        let shape = ((y_m[1] - y_m[0]) / (x_m[1] - x_m[0])).clamp(0.4, 1.2);
        (820, (700.0 * shape) as u32 + 130)
    }

    fn title(&self) -> String {
        format!("Map of {}", self.station.name)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let Bounds { x_m, y_m } = self.bounds();
        let (legend, notes) = (self.legend(), self.notes());
        let ranges = ((x_m[0], x_m[1]), (y_m[0], y_m[1]));
        let names = ("east (m)", "north (m)");
        let axes = Plot::axes_to_scale(self.size(), &legend, ranges, names, &notes);
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, axes, &notes)?;
        if self.station.bounds.is_some() {
            let corners = [(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)];
            plot.line(canvas, corners.map(|(i, j)| (x_m[i], y_m[j])), EDGE)?;
        }
        self.arrows(canvas, &plot)?;
        for unit in &self.station.units {
            let at = plot.at(unit.x_m, unit.y_m);
            let [east, north, _] = unit.lie.direction();
            let half = (0.5 * ANTENNA * east, -0.5 * ANTENNA * north);
            let ends = [(at.0 - half.0, at.1 - half.1), (at.0 + half.0, at.1 + half.1)];
            let (mark, colour) = if self.marked.contains(&unit.name) { MARKED } else { UNIT };
            canvas.line(&ends, Stroke::solid(colour, 2.0))?;
            canvas.mark(at, mark, colour)?;
        }
        self.names(canvas, &plot)
    }
}

impl StationMap<'_> {
    /// Each unit's name and depth beside it, on the side where there is room.
    fn names<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let places = || self.station.units.iter().map(|u| plot.at(u.x_m, u.y_m));
        let mut taken: Vec<(Point, Point)> =
            places().map(|(x, y)| ((x - 9.0, y - 9.0), (x + 9.0, y + 9.0))).collect();
        for (unit, (x, y)) in self.station.units.iter().zip(places()) {
            let text = format!("{}, {} m", unit.name, units::significant(unit.depth_m, 3));
            let (wide, high) = (text_width(&text, size::TICK), size::TICK);
            let lefts = [x + 15.0, x - 15.0 - wide, x - 0.5 * wide, x - 0.5 * wide];
            let middles = [y, y, y - 20.0, y + 20.0];
            let boxes = lefts.into_iter().zip(middles).map(|(left, middle)| {
                ((left, middle - 0.5 * high), (left + wide, middle + 0.5 * high))
            });
            let free = |patch: &(Point, Point)| {
                plot.holds(patch.0) && plot.holds(patch.1) && taken.iter().all(|t| apart(t, patch))
            };
            let boxes: Vec<(Point, Point)> = boxes.collect();
            let patch = boxes.iter().copied().find(free).unwrap_or(boxes[0]);
            let base = (patch.0.0, 0.5 * (patch.0.1 + patch.1.1) + 0.36 * size::TICK);
            canvas.label(&text, base, Align::Left, size::TICK, colour::INK)?;
            taken.push(patch);
        }
        Ok(())
    }

    /// North, and down the slope, in the upper right corner.
    fn arrows<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let (right, top) = (plot.sides().1, plot.ends().0);
        arrow(canvas, (right - 26.0, top + 24.0 + ARROW), 0.0, "N")?;
        let slope = self.station.slope;
        if slope.angle_deg == 0.0 {
            return Ok(());
        }
        let middle = (right - 90.0, top + 24.0 + 0.5 * ARROW);
        let (sin, cos) = slope.bearing_deg.to_radians().sin_cos();
        let tail = (middle.0 - 0.5 * ARROW * sin, middle.1 + 0.5 * ARROW * cos);
        arrow(canvas, tail, slope.bearing_deg, "down")
    }
}

/// An arrow from `tail` in the direction of a bearing, its name at the head.
fn arrow<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    tail: Point,
    bearing_deg: f64,
    name: &str,
) -> Result<(), PictureError> {
    let along = |from: Point, bearing: f64, length: f64| {
        let (sin, cos) = bearing.to_radians().sin_cos();
        (from.0 + length * sin, from.1 - length * cos)
    };
    let head = along(tail, bearing_deg, ARROW);
    let stroke = Stroke::solid(colour::INK, 1.8);
    canvas.line(&[tail, head], stroke)?;
    let barbs = [-155.0, 155.0].map(|turn| along(head, bearing_deg + turn, 10.0));
    canvas.line(&[barbs[0], head, barbs[1]], stroke)?;
    let beyond = along(head, bearing_deg, 10.0);
    let base = (beyond.0, beyond.1 + 0.36 * size::TICK);
    canvas.label(name, base, Align::Centre, size::TICK, colour::INK)
}

fn apart(a: &(Point, Point), b: &(Point, Point)) -> bool {
    a.1.0 < b.0.0 || b.1.0 < a.0.0 || a.1.1 < b.0.1 || b.1.1 < a.0.1
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;

    #[test]
    fn every_unit_has_its_name_and_the_map_its_arrows() {
        let text = include_str!("../../../captures/station.toml");
        let station = Station::parse(text).unwrap();
        let map = StationMap { station: &station, marked: &["ditch".to_owned()] };
        let svg = render(&map).unwrap().svg;
        for unit in &station.units {
            assert!(svg.contains(&format!("{}, ", unit.name)), "{}", unit.name);
        }
        for text in ["east (m)", "down", "Slope 12°", "to be looked at", "Map of Larch meadow"] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
