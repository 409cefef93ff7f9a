//! Field lines of a unit found, in an upright and in a level section, with the
//! measured vectors on top.
//!
//! A measured vector is a needle, not an arrow: its sign is not known, and an
//! alternating field has none.

use nalgebra::Vector3;
use plotters::prelude::DrawingBackend;

use super::canvas::{Align, Canvas};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::located_unit::{self, READING, UNIT};
use super::plot::Plot;
use super::style::{DASHED, DOTTED, Stroke, colour, size};
use crate::locate::Location;
use crate::locate::section::{Needle, Section};
use crate::units;

/// Half the length of a needle that lies in the section, points.
const NEEDLE: f64 = 15.0;
/// Length of the moment's line, points to each side.
const MOMENT: f64 = 26.0;

const FIELD_LINE: Stroke = Stroke::solid(colour::SKY_BLUE, 1.3);
const SNOW: Stroke = Stroke::solid(colour::INK, 2.0);
const COILS: Stroke = Stroke::solid(colour::FAINT_INK, 1.2).dashed(DOTTED);
const DEPTH: Stroke = Stroke::solid(colour::VERMILION, 1.6).dashed(DASHED);

/// The upright section through the unit along its moment.
pub struct UprightSection<'a> {
    /// The section.
    pub section: &'a Section,
    /// What was found.
    pub location: &'a Location,
}

/// The section along the plane of the coils.
pub struct LevelSection<'a> {
    /// The section.
    pub section: &'a Section,
    /// What was found.
    pub location: &'a Location,
}

impl Picture for UprightSection<'_> {
    fn size(&self) -> (u32, u32) {
        (960, 620)
    }

    fn title(&self) -> String {
        "Field lines in the upright section through the unit".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let mut legend = legend(self.section, self.location);
        legend.add(Key::Line(SNOW), "snow");
        if self.location.surface.coil_height_m > 0.0 {
            legend.add(Key::Line(COILS), "height of the coils");
        }
        let frame = self.section.frame;
        let ranges = ((frame.low[0], frame.high[0]), (frame.low[1], frame.high[1]));
        let names = (
            format!("distance from the unit (m) {}", self.section.towards()),
            "height (m)".to_owned(),
        );
        let notes = self.notes();
        let axes = Plot::axes_to_scale(self.size(), &legend, ranges, (&names.0, &names.1), &notes);
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, axes, &notes)?;
        self.ground(canvas, &plot)?;
        field_lines(canvas, &plot, self.section)?;
        needles(canvas, &plot, &self.section.needles)?;
        self.depth(canvas, &plot)?;
        let unit = self.section.upright_at(&self.location.solution.position_m);
        moment(canvas, &plot, unit, self.moment())?;
        let at = |place: &Vector3<f64>| self.section.upright_at(place);
        located_unit::draw(canvas, &plot, self.location, at, [self.section.along, Vector3::z()])
    }
}

impl UprightSection<'_> {
    fn moment(&self) -> [f64; 2] {
        let moment = self.location.solution.moment_a_m2.normalize();
        [moment.dot(&self.section.along), moment.z]
    }

    /// Height of the plane of the coils at a distance along the section.
    fn coils_m(&self, s: f64) -> f64 {
        let place = self.section.origin_m + self.section.along * s;
        self.location.coil_plane.height_m(place.x, place.y)
    }

    fn snow_m(&self, s: f64) -> f64 {
        self.coils_m(s) - self.location.surface.coil_height_m
    }

    fn ground<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let snow = plot.x.samples(2).map(|s| (s, plot.y.from, self.snow_m(s)));
        plot.band(canvas, snow, colour::FAINT_INK, 0.09)?;
        plot.line(canvas, plot.x.samples(2).map(|s| (s, self.snow_m(s))), SNOW)?;
        if self.location.surface.coil_height_m > 0.0 {
            plot.line(canvas, plot.x.samples(2).map(|s| (s, self.coils_m(s))), COILS)?;
        }
        Ok(())
    }

    /// From the snow straight down to the unit.
    fn depth<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let unit = self.location.solution.position_m;
        let (top, middle) = (self.snow_m(0.0), (self.snow_m(0.0) + unit.z) / 2.0);
        plot.line(canvas, [(0.0, top), (0.0, unit.z)], DEPTH)?;
        let (x, y) = plot.at(0.0, middle);
        let text = units::plus_minus(self.location.depth_vertical_m, "m");
        canvas.label(&text, (x + 8.0, y + 4.0), Align::Left, size::TICK, colour::VERMILION)
    }

    fn notes(&self) -> Vec<String> {
        let location = self.location;
        let depth = format!(
            "Unit {} below the snow straight down, {} square to it; moment {}.",
            units::plus_minus(location.depth_vertical_m, "m"),
            units::plus_minus(location.depth_normal_m, "m"),
            units::plus_minus(location.moment_magnitude_a_m2.scaled(1e3), "mA·m²"),
        );
        let shown = format!(
            "Readings within {} m of the section. Lines are those of the unit found, in free space; \
             their density says nothing of strength.",
            units::significant(self.section.within_m, 2)
        );
        vec![depth, shown]
    }
}

impl Picture for LevelSection<'_> {
    fn size(&self) -> (u32, u32) {
        (820, 820)
    }

    fn title(&self) -> String {
        "Horizontal field lines at the height of the coils".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let legend = legend(self.section, self.location);
        let frame = self.section.frame;
        let ranges = ((frame.low[0], frame.high[0]), (frame.low[1], frame.high[1]));
        let short = match has_needles(self.section) {
            true => "; a short needle stands for a field that is mostly upright",
            false => "",
        };
        let notes = [format!(
            "Lines follow the horizontal part of the field of the unit found, in free space{short}."
        )];
        let axes = Plot::axes_to_scale(self.size(), &legend, ranges, ("x (m)", "y (m)"), &notes);
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, axes, &notes)?;
        field_lines(canvas, &plot, self.section)?;
        needles(canvas, &plot, &self.section.needles)?;
        let (unit, direction) =
            (self.location.solution.position_m, self.location.solution.moment_a_m2.normalize());
        moment(canvas, &plot, [unit.x, unit.y], [direction.x, direction.y])?;
        let at = |place: &Vector3<f64>| [place.x, place.y];
        located_unit::draw(canvas, &plot, self.location, at, [Vector3::x(), Vector3::y()])
    }
}

fn has_needles(section: &Section) -> bool {
    section.needles.iter().any(|n| n.part.is_some())
}

fn legend(section: &Section, location: &Location) -> Legend {
    let mut legend = Legend::new();
    legend.add(Key::Line(FIELD_LINE), "field lines");
    match has_needles(section) {
        true => legend.add(Key::Line(Stroke::solid(READING.1, 2.6)), "measured vectors"),
        false => legend.add(Key::Point(READING.0, READING.1), "readings without direction"),
    }
    legend.add(Key::Line(Stroke::solid(UNIT.1, 2.6)), "line of the moment");
    located_unit::explain(&mut legend, location);
    legend
}

fn field_lines<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    plot: &Plot,
    section: &Section,
) -> Result<(), PictureError> {
    for line in &section.lines {
        plot.line(canvas, line.iter().map(|p| (p[0], p[1])), FIELD_LINE)?;
    }
    Ok(())
}

fn needles<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    plot: &Plot,
    needles: &[Needle],
) -> Result<(), PictureError> {
    for needle in needles {
        let at = plot.at(needle.at[0], needle.at[1]);
        if !plot.holds(at) {
            continue;
        }
        let Some([along, up]) = needle.part else {
            canvas.mark(at, READING.0, READING.1)?;
            continue;
        };
        let (dx, dy) = (NEEDLE * along, -NEEDLE * up);
        let ends = [(at.0 - dx, at.1 - dy), (at.0 + dx, at.1 + dy)];
        canvas.line(&ends, Stroke::solid(colour::WHITE, 5.0))?;
        canvas.line(&ends, Stroke::solid(READING.1, 2.6))?;
        let half = 2.2;
        let dot = ((at.0 - half, at.1 - half), (at.0 + half, at.1 + half));
        canvas.rectangle(dot.0, dot.1, READING.1, 1.0)?;
    }
    Ok(())
}

fn moment<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    plot: &Plot,
    unit: [f64; 2],
    direction: [f64; 2],
) -> Result<(), PictureError> {
    let (x, y) = plot.at(unit[0], unit[1]);
    let (dx, dy) = (MOMENT * direction[0], -MOMENT * direction[1]);
    canvas.line(&[(x - dx, y - dy), (x + dx, y + dy)], Stroke::solid(UNIT.1, 2.6))
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::locate::{Options, analyse};

    #[test]
    fn sections_say_what_they_show() {
        let readings = crate::locate::testing::readings(&Default::default());
        let options = Options { coil_height_m: 0.2, ..Options::default() };
        let location = analyse(&readings, &options).unwrap();
        let section = Section::upright(&readings, &location);
        let svg = render(&UprightSection { section: &section, location: &location }).unwrap().svg;
        let depth = units::plus_minus(location.depth_vertical_m, "m");
        for text in
            ["height (m)", "measured vectors", "strongest point", "height of the coils", &depth]
        {
            assert!(svg.contains(text), "{text}");
        }
        let section = Section::level(&readings, &location);
        let svg = render(&LevelSection { section: &section, location: &location }).unwrap().svg;
        for text in ["x (m)", "y (m)", "field lines", "line of the moment"] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
