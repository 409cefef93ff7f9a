//! Map of the field over a station: how strong the strongest unit is.

use plotters::prelude::DrawingBackend;

use super::canvas::Canvas;
use super::contour::contour;
use super::contour_map::{ContourMap, levels};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::station_map::{StationMap, UNIT};
use super::style::{DASHED, Stroke, colour};
use crate::plan::FieldMap;
use crate::units;

/// Where units begin to be heard.
pub(super) const HEARD: Stroke = Stroke::solid(colour::BLUE, 2.2).dashed(DASHED);

/// The map.
pub struct FieldOverStation<'a> {
    /// The ground.
    pub on: StationMap<'a>,
    /// The field.
    pub map: &'a FieldMap,
}

impl Picture for FieldOverStation<'_> {
    fn size(&self) -> (u32, u32) {
        self.on.size(2)
    }

    fn title(&self) -> String {
        format!("{}: field over the snow", self.on.station.name)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let mut legend = Legend::new();
        legend.add(Key::Line(Stroke::solid(colour::INK, 1.0)), "equal field (RMS)");
        let heard = format!("{}, heard inside", units::field(self.on.threshold_a_per_m));
        legend.add(Key::Line(HEARD), heard);
        legend.add(Key::Point(UNIT.0, UNIT.1), "units");
        let notes = [format!(
            "Magnitude of the unit that is strongest at each place. {}",
            self.on.computed
        )];
        let plot = self.on.lay_out(canvas, self.size(), &self.title(), &legend, &notes)?;
        let rows = &self.map.field_a_per_m;
        let all = || rows.iter().flatten().copied();
        let levels = levels(all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max));
        let map = ContourMap { x: &self.map.x_m, y: &self.map.y_m, rows, levels };
        map.shades(canvas, &plot)?;
        let contours = map.contours();
        map.draw(canvas, &plot, &contours, Stroke::solid(colour::INK, 1.0))?;
        let heard = [(self.on.threshold_a_per_m, contour(rows, self.on.threshold_a_per_m))];
        map.draw(canvas, &plot, &heard, HEARD)?;
        self.on.edge(canvas, &plot)?;
        let mut taken = self.on.taken(&plot);
        self.on.units(canvas, &plot, &mut taken)?;
        map.label(canvas, &plot, &contours, &mut taken)
    }
}
