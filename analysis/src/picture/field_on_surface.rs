//! Map of the field's magnitude over the snow, as a searcher's receiver reads it.

use nalgebra::Vector3;
use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, Point, text_width};
use super::contour::{GridPoint, contour, round_levels};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::located_unit::{self, READING};
use super::plot::Plot;
use super::style::{DASHED, Stroke, colour, size};
use crate::field::lines::Frame;
use crate::locate::Location;
use crate::locate::readings::PlacedReading;
use crate::locate::section::SurfaceMap;
use crate::units;

/// The weakest and the strongest field on the map.
const WEAK: RGBColor = RGBColor(247, 251, 255);
const STRONG: RGBColor = RGBColor(107, 160, 208);
/// Most contours that are still told apart.
const CONTOURS: usize = 16;

/// The map, with contours, readings, strongest point and unit.
pub struct FieldOnSurface<'a> {
    /// The map.
    pub map: &'a SurfaceMap,
    /// The readings.
    pub readings: &'a [PlacedReading],
    /// What was found.
    pub location: &'a Location,
}

impl Picture for FieldOnSurface<'_> {
    fn size(&self) -> (u32, u32) {
        (820, 840)
    }

    fn title(&self) -> String {
        "Field at the height of the coils".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let (legend, notes) = (self.legend(), self.notes());
        let frame = self.map.frame;
        let ranges = ((frame.low[0], frame.high[0]), (frame.low[1], frame.high[1]));
        let axes = Plot::axes_to_scale(self.size(), &legend, ranges, ("x (m)", "y (m)"), &notes);
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, axes, &notes)?;
        let levels = self.levels();
        self.shades(canvas, &plot, &levels)?;
        let lines: Vec<_> =
            levels.iter().map(|level| (*level, contour(&self.map.field_a_per_m, *level))).collect();
        for (_, line) in
            lines.iter().flat_map(|(level, lines)| lines.iter().map(move |l| (level, l)))
        {
            let values = line.iter().map(|(i, j)| self.value(*i, *j));
            plot.line(canvas, values, Stroke::solid(colour::INK, 1.0))?;
        }
        for reading in self.readings {
            let at = (reading.place_m[0], reading.place_m[1]);
            plot.mark(canvas, at, READING.0, READING.1)?;
        }
        self.way(canvas, &plot)?;
        self.labels(canvas, &plot, &lines)?;
        let at = |place: &Vector3<f64>| [place.x, place.y];
        located_unit::draw(canvas, &plot, self.location, at, [Vector3::x(), Vector3::y()])
    }
}

impl FieldOnSurface<'_> {
    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        legend.add(Key::Line(Stroke::solid(colour::INK, 1.0)), "equal field (RMS)");
        legend.add(Key::Point(READING.0, READING.1), "readings");
        located_unit::explain(&mut legend, self.location);
        legend
    }

    fn notes(&self) -> Vec<String> {
        let strongest = &self.location.strongest_point;
        let first = format!(
            "Strongest point {}: {} m along the snow from the point square above the unit, {} % of its \
             depth below the coils.",
            units::field(strongest.field_a_per_m),
            units::significant(strongest.offset_m, 2),
            units::significant(100.0 * strongest.share_of_depth, 2)
        );
        let depth = format!(
            "The unit lies {} below the snow, square to it; its mark is the place seen from straight \
             above. Contours: free space.",
            units::plus_minus(self.location.depth_normal_m, "m")
        );
        vec![first, depth]
    }

    /// Place on the axes of a point of the grid.
    fn value(&self, i: f64, j: f64) -> (f64, f64) {
        let along = |values: &[f64], at: f64| {
            values[0] + at * (values[values.len() - 1] - values[0]) / (values.len() - 1) as f64
        };
        (along(&self.map.x_m, i), along(&self.map.y_m, j))
    }

    fn levels(&self) -> Vec<f64> {
        let Frame { low, high } = self.map.frame;
        let rows = || self.map.y_m.iter().zip(&self.map.field_a_per_m);
        let shown = || rows().filter(|(y, _)| (low[1]..=high[1]).contains(*y));
        let along = |row| self.map.x_m.iter().zip::<&Vec<f64>>(row);
        let inside = |(x, _): &(&f64, &f64)| (low[0]..=high[0]).contains(*x);
        let all = || shown().flat_map(|(_, row)| along(row).filter(inside)).map(|(_, h)| *h);
        let levels = round_levels(all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max));
        let every = levels.len().div_ceil(CONTOURS).max(1);
        levels.into_iter().step_by(every).collect()
    }

    /// Cells between the same two contours in one shade, a run of them at a time.
    fn shades<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        levels: &[f64],
    ) -> Result<(), PictureError> {
        let band = |field: f64| levels.partition_point(|level| *level <= field);
        for (j, rows) in self.map.field_a_per_m.windows(2).enumerate() {
            let bands: Vec<usize> = (0..rows[0].len() - 1)
                .map(|i| {
                    let corners = [rows[0][i], rows[0][i + 1], rows[1][i], rows[1][i + 1]];
                    band((corners.iter().map(|h| h.ln()).sum::<f64>() / 4.0).exp())
                })
                .collect();
            let mut from = 0;
            for run in bands.chunk_by(|a, b| a == b) {
                let to = from + run.len();
                let (low, high) =
                    (self.value(from as f64, j as f64), self.value(to as f64, (j + 1) as f64));
                let shade = mixed(run[0] as f64 / levels.len().max(1) as f64);
                plot.rectangle(canvas, low, high, shade)?;
                from = to;
            }
        }
        plot.frame(canvas)
    }

    /// From the strongest point to the point square above the unit.
    fn way<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let [x, y, _] = self.location.strongest_point.place_m;
        let foot = self.location.coil_plane.foot(&self.location.solution.position_m);
        let way = [(x, y), (foot.x, foot.y)];
        plot.line(canvas, way, Stroke::solid(colour::GREEN, 1.6).dashed(DASHED))
    }

    /// Each contour's field, where nothing else stands.
    fn labels<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        lines: &[(f64, Vec<Vec<GridPoint>>)],
    ) -> Result<(), PictureError> {
        let mut taken: Vec<(Point, Point)> = self
            .readings
            .iter()
            .map(|r| plot.at(r.place_m[0], r.place_m[1]))
            .chain(
                [self.location.strongest_point.place_m.into(), self.location.solution.position_m]
                    .map(|p: Vector3<f64>| plot.at(p.x, p.y)),
            )
            .map(|(x, y)| ((x - 8.0, y - 8.0), (x + 8.0, y + 8.0)))
            .collect();
        for (level, lines) in lines {
            let text = units::field(*level);
            let half = text_width(&text, size::TICK) / 2.0 + 3.0;
            let places = lines.iter().flatten().map(|(i, j)| {
                let (x, y) = self.value(*i, *j);
                plot.at(x, y)
            });
            let free =
                places.map(|(x, y)| ((x - half, y - 8.0), (x + half, y + 8.0))).find(|patch| {
                    plot.holds(patch.0)
                        && plot.holds(patch.1)
                        && taken.iter().all(|t| apart(t, patch))
                });
            if let Some((low, high)) = free {
                let at = ((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0 + 0.36 * size::TICK);
                canvas.label(&text, at, Align::Centre, size::TICK, colour::INK)?;
                taken.push((low, high));
            }
        }
        Ok(())
    }
}

fn apart(a: &(Point, Point), b: &(Point, Point)) -> bool {
    a.1.0 < b.0.0 || b.1.0 < a.0.0 || a.1.1 < b.0.1 || b.1.1 < a.0.1
}

fn mixed(share: f64) -> RGBColor {
    let mix = |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
    RGBColor(mix(WEAK.0, STRONG.0), mix(WEAK.1, STRONG.1), mix(WEAK.2, STRONG.2))
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::locate::{Options, analyse};

    #[test]
    fn the_map_says_what_it_shows() {
        let readings = crate::locate::testing::readings(&Default::default());
        let options = Options { true_position_m: Some([0.7, -0.4, -1.3]), ..Options::default() };
        let location = analyse(&readings, &options).unwrap();
        let map = SurfaceMap::of(&readings, &location);
        let picture = FieldOnSurface { map: &map, readings: &readings, location: &location };
        let svg = render(&picture).unwrap().svg;
        for text in ["x (m)", "readings", "true place", "strongest point", "µA/m", "95 %"] {
            assert!(svg.contains(text), "{text}");
        }
        let labels = picture.levels().iter().filter(|l| svg.contains(&units::field(**l))).count();
        assert!(labels + 2 >= picture.levels().len(), "{labels} of {}", picture.levels().len());
    }
}
