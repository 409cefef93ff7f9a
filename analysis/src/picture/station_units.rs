//! Map of a station with its units as planned, those marked that want looking at.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::Canvas;
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::station_map::{StationMap, UNIT};
use super::style::{Mark, colour};
use crate::units;

/// The map.
pub struct StationUnits<'a> {
    /// The ground, with the units.
    pub on: StationMap<'a>,
    /// Names of units to be looked at.
    pub marked: &'a [String],
}

const MARKED: (Mark, RGBColor) = (Mark::Square, colour::BLUE);

impl StationUnits<'_> {
    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        legend.add(Key::Point(UNIT.0, UNIT.1), "unit, line along its antenna");
        if self.on.station.units.iter().any(|u| self.marked.contains(&u.name)) {
            legend.add(Key::Point(MARKED.0, MARKED.1), "wants looking at");
        }
        legend
    }

    fn notes(&self) -> Vec<String> {
        let snow = self.on.station.snow_depth_m.map_or_else(String::new, |snow| {
            format!(" Snow {} m deep.", units::significant(snow, 3))
        });
        vec![format!("Places as planned.{snow}")]
    }
}

impl Picture for StationUnits<'_> {
    fn size(&self) -> (u32, u32) {
        self.on.size(2)
    }

    fn title(&self) -> String {
        format!("Map of {}", self.on.station.name)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let (legend, notes) = (self.legend(), self.notes());
        let plot = self.on.lay_out(canvas, self.size(), &self.title(), &legend, &notes)?;
        self.on.edge(canvas, &plot)?;
        let mut taken = self.on.taken(&plot);
        for unit in self.on.station.units.iter().filter(|u| self.marked.contains(&u.name)) {
            plot.mark(canvas, (unit.x_m, unit.y_m), MARKED.0, MARKED.1)?;
        }
        self.on.units(canvas, &plot, &mut taken)
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::plan;
    use crate::station::Station;

    #[test]
    fn every_unit_has_its_name_and_those_to_look_at_their_mark() {
        let text = include_str!("../../../captures/station.toml");
        let station = Station::parse(text).unwrap();
        let bounds = plan::extent(&station);
        let on = StationMap { station: &station, bounds, threshold_a_per_m: 80e-9, computed: "" };
        let map = |marked: &[String]| render(&StationUnits { on, marked }).unwrap().svg;
        let svg = map(&["ditch".to_owned()]);
        for unit in &station.units {
            assert!(svg.contains(&format!("\n{}\n", unit.name)), "{}", unit.name);
        }
        for text in ["east (m)", "slope 12°", "wants looking at", "Map of Larch meadow", "1.8 m"] {
            assert!(svg.contains(text), "{text}");
        }
        assert!(!map(&["stone".to_owned()]).contains("wants looking at"));
    }
}
