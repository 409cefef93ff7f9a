//! Map of the field's magnitude over the snow, as a searcher's receiver reads it.

use nalgebra::Vector3;
use plotters::prelude::DrawingBackend;

use super::canvas::Canvas;
use super::contour_map::{ContourMap, levels};
use super::drawing::{Picture, PictureError};
use super::labels::Taken;
use super::legend::{Key, Legend};
use super::located_unit::{self, READING};
use super::plot::Plot;
use super::style::{DASHED, Stroke, colour};
use crate::field::lines::Frame;
use crate::locate::Location;
use crate::locate::readings::PlacedReading;
use crate::locate::section::SurfaceMap;
use crate::units;

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
        let map = self.contour_map();
        map.shades(canvas, &plot)?;
        let contours = map.contours();
        map.draw(canvas, &plot, &contours, Stroke::solid(colour::INK, 1.0))?;
        for reading in self.readings {
            let at = (reading.place_m[0], reading.place_m[1]);
            plot.mark(canvas, at, READING.0, READING.1)?;
        }
        self.way(canvas, &plot)?;
        map.label(canvas, &plot, &contours, &mut self.taken(&plot))?;
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

    fn contour_map(&self) -> ContourMap<'_> {
        let SurfaceMap { frame, x_m, y_m, field_a_per_m } = self.map;
        let Frame { low, high } = frame;
        let rows = || y_m.iter().zip(field_a_per_m);
        let shown = || rows().filter(|(y, _)| (low[1]..=high[1]).contains(*y));
        let along = |row| x_m.iter().zip::<&Vec<f64>>(row);
        let inside = |(x, _): &(&f64, &f64)| (low[0]..=high[0]).contains(*x);
        let all = || shown().flat_map(|(_, row)| along(row).filter(inside)).map(|(_, h)| *h);
        let levels = levels(all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max));
        ContourMap { x: x_m, y: y_m, rows: field_a_per_m, levels }
    }

    /// What contours' labels must not cover.
    fn taken(&self, plot: &Plot) -> Taken {
        let readings = self.readings.iter().map(|r| Vector3::from(r.place_m));
        let found =
            [self.location.strongest_point.place_m.into(), self.location.solution.position_m];
        let mut taken = Taken::new();
        readings.chain(found).for_each(|p| taken.add_mark(plot.at(p.x, p.y), 8.0));
        taken
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
        let labels = picture
            .contour_map()
            .levels
            .iter()
            .filter(|l| svg.contains(&units::field(**l)))
            .count();
        assert!(
            labels + 2 >= picture.contour_map().levels.len(),
            "{labels} of {}",
            picture.contour_map().levels.len()
        );
    }
}
