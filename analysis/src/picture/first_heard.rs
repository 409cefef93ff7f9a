//! Map of a walk in lanes: where each unit is first heard, and the way that its field
//! leads from there.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas};
use super::drawing::{Picture, PictureError};
use super::labels::Taken;
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::station_map::{StationMap, UNIT};
use super::style::{DASHED, DOTTED, Mark, Stroke, colour, size};
use crate::plan::{FieldOverSnow, Laid, Walk};
use crate::units;

const LANE: Stroke = Stroke::solid(colour::FAINT_INK, 1.2).dashed(DASHED);
const FIRST: (Mark, RGBColor) = (Mark::Triangle, colour::GREEN);
const WAY: Stroke = Stroke::solid(colour::BLUE, 2.4);
const STRAIGHT: Stroke = Stroke::solid(colour::FAINT_INK, 1.4).dashed(DOTTED);
const CIRCLE: Stroke = Stroke::solid(colour::VERMILION, 1.6);

/// Units heard within so much of the walk share a label, m.
const TOGETHER_M: f64 = 0.5;

/// The map.
pub struct FirstHeardMap<'a> {
    /// The ground.
    pub on: StationMap<'a>,
    /// The field that was walked in.
    pub field: &'a FieldOverSnow,
    /// The walk.
    pub walk: &'a Walk,
}

impl Picture for FirstHeardMap<'_> {
    fn size(&self) -> (u32, u32) {
        self.on.size(4)
    }

    fn title(&self) -> String {
        format!("{}: where each unit is first heard", self.on.station.name)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let notes = self.notes();
        let plot = self.on.lay_out(canvas, self.size(), &self.title(), &self.legend(), &notes)?;
        self.on.edge(canvas, &plot)?;
        let lanes = self.walk.lanes.corners();
        plot.line(canvas, self.mapped(&lanes), LANE)?;
        let mut taken = self.on.taken(&plot);
        self.arrows(canvas, &plot, &mut taken)?;
        for (unit, heard) in self.walk.units.iter().enumerate() {
            let circle = self.on.slow_search(canvas, &plot, self.field, unit, CIRCLE)?;
            taken.add_line(&circle);
            let Some(heard) = heard else { continue };
            let straight = [heard.at, self.field.above(unit)];
            plot.line(canvas, self.mapped(&straight), STRAIGHT)?;
            plot.line(canvas, self.mapped(&heard.path.points), WAY)?;
            for line in [&straight[..], &heard.path.points] {
                let points: Vec<_> = self.mapped(line).map(|(x, y)| plot.at(x, y)).collect();
                taken.add_line(&points);
            }
            let [x, y] = self.field.on_map(heard.at);
            taken.add_mark(plot.at(x, y), 7.0);
        }
        self.on.units(canvas, &plot, &mut taken)?;
        let mut heard: Vec<(f64, Laid, &str)> = (self.on.station.units.iter())
            .zip(&self.walk.units)
            .filter_map(|(unit, heard)| heard.as_ref().map(|h| (h.after_m, h.at, &*unit.name)))
            .collect();
        heard.sort_by(|a, b| a.0.total_cmp(&b.0));
        // One label for those that are heard at the same place.
        for together in heard.chunk_by(|a, b| b.0 - a.0 < TOGETHER_M) {
            for (_, at, _) in together {
                plot.mark(canvas, self.field.on_map(*at).into(), FIRST.0, FIRST.1)?;
            }
            let (after_m, at, _) = together[0];
            let names: Vec<&str> = together.iter().map(|(_, _, name)| *name).collect();
            let text =
                format!("{}, {} m", names.join(", "), units::significant(after_m.round(), 3));
            let [x, y] = self.field.on_map(at);
            taken.label(canvas, &plot, &text, (plot.at(x, y), 9.0), (size::TICK, FIRST.1))?;
        }
        Ok(())
    }
}

impl FirstHeardMap<'_> {
    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        legend.add(Key::Line(LANE), "lanes, middle");
        legend.add(Key::Point(FIRST.0, FIRST.1), "first heard, after so many metres of lanes");
        legend.add(Key::Line(WAY), "along the field");
        legend.add(Key::Line(STRAIGHT), "straight");
        legend.add(Key::Line(CIRCLE), "slow search, 3 m");
        legend.add(Key::Point(UNIT.0, UNIT.1), "units");
        legend
    }

    fn notes(&self) -> Vec<String> {
        let silent = self.walk.units.iter().filter(|heard| heard.is_none()).count();
        let all_heard = match silent {
            0 => "All units are heard".to_owned(),
            1 => "One unit is not heard".to_owned(),
            n => format!("{n} units are not heard"),
        };
        let walked = format!(
            "{all_heard} on this walk of {} m; heard from {} on, receiver of three axes.",
            units::significant(self.walk.length_m.round(), 4),
            units::field(self.on.threshold_a_per_m)
        );
        vec![walked, self.on.computed.to_owned()]
    }

    fn mapped<'b>(&'b self, points: &'b [Laid]) -> impl Iterator<Item = (f64, f64)> + 'b {
        points.iter().map(|at| self.field.on_map(*at).into())
    }

    /// Number and direction of each lane, where it begins.
    fn arrows<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        taken: &mut Taken,
    ) -> Result<(), PictureError> {
        for (number, leg) in (1..).zip(&self.walk.lanes.legs) {
            let [(x, y), to] = leg.map(|at| {
                let [x, y] = self.field.on_map(at);
                plot.at(x, y)
            });
            let length = (to.0 - x).hypot(to.1 - y);
            let (dx, dy) = ((to.0 - x) / length, (to.1 - y) / length);
            let at = |along: f64, across: f64| {
                (x + along * dx - across * dy, y + along * dy + across * dx)
            };
            let head = [at(30.0, 0.0), at(18.0, 5.0), at(18.0, -5.0)];
            canvas.area(&head, colour::FAINT_INK, 1.0)?;
            taken.add_mark(at(24.0, 0.0), 6.0);
            let (x, y) = at(24.0, 14.0);
            taken.add_mark((x, y), 6.0);
            let base_line = (x, y + 0.36 * size::TICK);
            let text = number.to_string();
            canvas.text(&text, base_line, Align::Centre, size::TICK, colour::FAINT_INK)?;
        }
        Ok(())
    }
}
