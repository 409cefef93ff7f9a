//! What all maps of a station share: axes to scale, the edge of the field, units and
//! their names; beside the map a north arrow, the slope, a scale.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, Point};
use super::drawing::PictureError;
use super::labels::Taken;
use super::legend::Legend;
use super::plot::Plot;
use super::style::{Mark, Stroke, colour, size};
use crate::plan::{FieldOverSnow, SLOW_SEARCH_M};
use crate::station::{Bounds, PlannedUnit, Station};
use crate::units;

/// Mark and colour of a unit.
pub const UNIT: (Mark, RGBColor) = (Mark::Diamond, colour::VERMILION);
/// The edge of the field.
const EDGE: Stroke = Stroke::solid(colour::INK, 1.6);
/// Width of the map with its axes, and of the strip beside it.
const MAP: f64 = 780.0;
const STRIP: f64 = 130.0;
/// Half the length of the needle that shows how a unit lies, level.
const NEEDLE: f64 = 13.0;

/// The ground that maps are drawn on.
#[derive(Clone, Copy)]
pub struct StationMap<'a> {
    /// The station.
    pub station: &'a Station,
    /// The part of the map that is shown.
    pub bounds: Bounds,
    /// The field that is heard, A/m.
    pub threshold_a_per_m: f64,
    /// How the field was computed: height and space.
    pub computed: &'a str,
}

impl StationMap<'_> {
    /// Size of a picture of it with so many rows of legend and notes.
    pub fn size(&self, rows: usize) -> (u32, u32) {
        let [across, up] = self.bounds.sides_m();
        let height = ((MAP - 85.0) * up / across).clamp(300.0, 900.0);
        ((MAP + STRIP) as u32, (height + 130.0 + 20.0 * rows as f64) as u32)
    }

    /// Axes, title, legend and notes, and what stands beside the map.
    pub fn lay_out<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        size: (u32, u32),
        title: &str,
        legend: &Legend,
        notes: &[String],
    ) -> Result<Plot, PictureError> {
        let size = (MAP as u32, size.1);
        let Bounds { x_m, y_m } = self.bounds;
        let ranges = ((x_m[0], x_m[1]), (y_m[0], y_m[1]));
        let axes = Plot::axes_to_scale(size, legend, ranges, ("east (m)", "north (m)"), notes);
        let plot = Plot::lay_out(canvas, size, title, legend, axes, notes)?;
        self.beside(canvas, &plot)?;
        Ok(plot)
    }

    /// The edge of the field, where the station states one.
    pub fn edge<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let Some(Bounds { x_m: [west, east], y_m: [south, north] }) = self.station.bounds else {
            return Ok(());
        };
        let round = [(west, south), (east, south), (east, north), (west, north), (west, south)];
        plot.line(canvas, round, EDGE)
    }

    /// The places of all units, for labels to keep off.
    pub fn taken(&self, plot: &Plot) -> Taken {
        let mut taken = Taken::new();
        for unit in &self.station.units {
            taken.add_mark(plot.at(unit.x_m, unit.y_m), 8.0);
        }
        taken
    }

    /// All units with how they lie and their names.
    pub fn units<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        taken: &mut Taken,
    ) -> Result<(), PictureError> {
        for unit in &self.station.units {
            let at = plot.at(unit.x_m, unit.y_m);
            lie(canvas, plot, unit)?;
            plot.mark(canvas, (unit.x_m, unit.y_m), UNIT.0, UNIT.1)?;
            taken.label(canvas, plot, &unit.name, (at, 9.0), (size::LABEL, colour::INK))?;
        }
        Ok(())
    }

    /// The circle round a unit in which the slow search begins: drawn, and where it runs
    /// on the canvas.
    pub fn slow_search<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        field: &FieldOverSnow,
        unit: usize,
        stroke: Stroke,
    ) -> Result<Vec<Point>, PictureError> {
        let [u, v] = field.above(unit);
        let round: Vec<(f64, f64)> = (0..=72)
            .map(|step| (f64::from(step) * std::f64::consts::TAU / 72.0).sin_cos())
            .map(|(sin, cos)| [u + SLOW_SEARCH_M * cos, v + SLOW_SEARCH_M * sin])
            .map(|at| field.on_map(at).into())
            .collect();
        plot.line(canvas, round.iter().copied(), stroke)?;
        Ok(round.into_iter().map(|(x, y)| plot.at(x, y)).collect())
    }

    fn beside<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let middle = MAP + 0.5 * STRIP - 10.0;
        let (top, bottom) = plot.ends();
        arrow(canvas, (middle, top + 62.0), (0.0, -1.0), 26.0)?;
        canvas.bold("N", (middle, top + 26.0), Align::Centre, size::TITLE, colour::INK)?;
        self.slope(canvas, (middle, top + 140.0))?;
        scale(canvas, plot, (middle, bottom - 30.0))
    }

    /// An arrow down the fall line.
    fn slope<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        (x, y): Point,
    ) -> Result<(), PictureError> {
        let slope = self.station.slope;
        let centred =
            |text: &str, y: f64| canvas.text(text, (x, y), Align::Centre, size::TICK, colour::INK);
        if slope.angle_deg == 0.0 {
            return centred("level", y);
        }
        let (sin, cos) = slope.bearing_deg.to_radians().sin_cos();
        arrow(canvas, (x, y), (sin, -cos), 26.0)?;
        centred("down,", y + 52.0)?;
        centred(&format!("slope {}°", units::significant(slope.angle_deg, 3)), y + 67.0)
    }
}

/// A needle along the antenna as seen from above: short where it stands upright.
fn lie<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    plot: &Plot,
    unit: &PlannedUnit,
) -> Result<(), PictureError> {
    let (x, y) = plot.at(unit.x_m, unit.y_m);
    if !plot.holds((x, y)) {
        return Ok(());
    }
    let [east, north, _] = unit.lie.direction();
    let (dx, dy) = (NEEDLE * east, -NEEDLE * north);
    canvas.line(&[(x - dx, y - dy), (x + dx, y + dy)], Stroke::solid(UNIT.1, 2.6))
}

/// An arrow through `middle`, `half` long to each side.
fn arrow<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    (x, y): Point,
    (dx, dy): (f64, f64),
    half: f64,
) -> Result<(), PictureError> {
    let at = |along: f64, across: f64| (x + along * dx - across * dy, y + along * dy + across * dx);
    canvas.line(&[at(-half, 0.0), at(half - 8.0, 0.0)], Stroke::solid(colour::INK, 2.4))?;
    canvas.area(&[at(half, 0.0), at(half - 13.0, 5.5), at(half - 13.0, -5.5)], colour::INK, 1.0)
}

/// A bar of a round length that is some 80 points long at most.
pub fn scale<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    plot: &Plot,
    (middle, y): Point,
) -> Result<(), PictureError> {
    let point_per_m = plot.at(1.0, 0.0).0 - plot.at(0.0, 0.0).0;
    let most_m = 80.0 / point_per_m;
    let power = 10f64.powf(most_m.log10().floor());
    let round = [5.0, 2.0, 1.0].map(|digit| digit * power);
    let length_m = round.into_iter().find(|m| *m <= most_m).unwrap_or(power);
    let half = 0.5 * length_m * point_per_m;
    let stroke = Stroke::solid(colour::INK, 2.0);
    canvas.line(&[(middle - half, y), (middle + half, y)], stroke)?;
    for x in [middle - half, middle + half] {
        canvas.line(&[(x, y - 5.0), (x, y + 5.0)], stroke)?;
    }
    let text = format!("{} m", units::significant(length_m, 2));
    canvas.text(&text, (middle, y + 20.0), Align::Centre, size::TICK, colour::INK)
}

#[cfg(test)]
mod tests {
    use super::super::drawing::{Picture, render};
    use super::super::field_over_station::FieldOverStation;
    use super::super::first_heard::FirstHeardMap;
    use super::super::masking_matrix::MaskingMatrix;
    use super::super::maxima_above::MaximaAbove;
    use super::super::strongest_unit::StrongestUnit;
    use super::*;
    use crate::plan::{Options, Plan};

    fn station() -> Station {
        let unit = |(name, x, y, dip): (&str, f64, f64, f64)| {
            format!(
                "[[unit]]\nname = \"{name}\"\nx_m = {x}\ny_m = {y}\ndepth_m = 1.1\n\
                 lie = {{ bearing_deg = 70, dip_deg = {dip} }}\nperiod_s = {}\n\
                 on_time_s = 0.1\nfield_at_10_m = \"0.8uA/m\"\n",
                1.0 + 0.002 * x
            )
        };
        let units = [("birch", 5.0, 5.0, 0.0), ("rock", 8.5, 5.5, 30.0), ("fir", 34.0, 20.0, 90.0)];
        let units: String = units.map(unit).concat();
        let head = "format = \"coilrig-station/1\"\nname = \"Dell\"\n\
                    slope = { angle_deg = 22, bearing_deg = 160 }\n\
                    field = { x_m = [0, 60], y_m = [0, 30] }\n";
        Station::parse(&format!("{head}{units}")).unwrap()
    }

    fn says(picture: &impl Picture, parts: &[&str]) {
        let svg = render(picture).unwrap().svg;
        for part in parts {
            assert!(svg.contains(part), "{part} is not on {}", picture.title());
        }
    }

    #[test]
    fn every_picture_of_a_station_says_what_it_shows() {
        let station = station();
        let options = Options { points: 61, ..Options::usual(&station) };
        let plan = Plan::of(&station, options).unwrap();
        let on = StationMap {
            station: &station,
            bounds: plan.bounds,
            threshold_a_per_m: 80e-9,
            computed: "Free space.",
        };
        let around =
            ["birch", "rock", "fir", "east (m)", "north (m)", ">\nN\n", "slope 22°", ">\n5 m\n"];
        let map = &plan.map;
        let field = FieldOverStation { on, map };
        says(&field, &around);
        says(&field, &["80 nA/m, heard inside", "µA/m", on.computed]);
        let shares = &plan.shares;
        let strongest = StrongestUnit { on, map, shares };
        says(&strongest, &around);
        let walk = &plan.walk;
        let heard = FirstHeardMap { on, field: &plan.field, walk };
        says(&heard, &around);
        says(&heard, &["slow search, 3 m", "All units are heard", "along the field"]);
        let units = &plan.above;
        let maxima = MaximaAbove { station: &station, field: &plan.on_the_snow, units };
        says(&maxima, &["birch", "one axis, upright: ", "three axes: ", "1.1 m deep, dip 30°"]);
        let masking = MaskingMatrix { station: &station.name, masking: &plan.masking };
        says(&masking, &["birch", "fir", "%", "Grey: never heard together"]);
    }
}
