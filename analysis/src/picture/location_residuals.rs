//! How each number read departs from the fit of a buried unit.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::{Align, Canvas};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{SERIES, Stroke, colour, size};
use crate::locate::Location;
use crate::locate::readings::PlacedReading;
use crate::units;

/// Residuals beyond this have their row beside them.
const TELLING: f64 = 3.0;

/// The chart, over the distance from the unit.
pub struct LocationResiduals<'a> {
    /// The readings.
    pub readings: &'a [PlacedReading],
    /// What was found.
    pub location: &'a Location,
}

impl Picture for LocationResiduals<'_> {
    fn size(&self) -> (u32, u32) {
        (960, 460)
    }

    fn title(&self) -> String {
        "Measured less computed field, over the stated uncertainty".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let residuals = &self.location.residuals;
        let distances = || residuals.iter().map(|r| r.distance_m);
        let nearest = distances().fold(f64::INFINITY, f64::min);
        let farthest = distances().fold(0.0, f64::max);
        let room = 0.05 * (farthest - nearest).max(0.5);
        let x =
            Axis::linear(nearest - room, farthest + room, "distance from the unit (m)", 10, |d| {
                units::significant(d, 3)
            });
        let all = || residuals.iter().flat_map(|r| r.over_u.iter());
        let reach = 1.15 * all().fold(TELLING, |most, r| most.max(r.abs()));
        let y = Axis::linear(-reach, reach, "residual / u", 8, |v| units::significant(v, 3));
        let plot = Plot::lay_out(
            canvas,
            self.size(),
            &self.title(),
            &self.legend(),
            (x, y),
            &self.notes(),
        )?;
        for (k, opacity) in [(2.0, 0.10), (1.0, 0.12)] {
            plot.band(canvas, plot.x.samples(2).map(|d| (d, -k, k)), colour::BLACK, opacity)?;
        }
        let zero = [(plot.x.from, 0.0), (plot.x.to, 0.0)];
        plot.line(canvas, zero, Stroke::solid(colour::INK, 1.6))?;
        for (row, residual) in (1..).zip(residuals) {
            for (series, over_u) in SERIES.iter().zip(&residual.over_u) {
                let at = (residual.distance_m, *over_u);
                plot.mark(canvas, at, series.mark, series.colour)?;
                if over_u.abs() > TELLING {
                    let (x, y) = plot.at(at.0, at.1);
                    let text = format!("row {row}");
                    canvas.label(
                        &text,
                        (x + 9.0, y + 4.0),
                        Align::Left,
                        size::TICK,
                        colour::INK,
                    )?;
                }
            }
        }
        Ok(())
    }
}

impl LocationResiduals<'_> {
    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        let names = self.readings.first().map_or(&[][..], |r| r.field.names());
        for (series, name) in SERIES.iter().zip(names) {
            legend.add(Key::Point(series.mark, series.colour), *name);
        }
        legend.add(Key::Band(colour::BLACK), "1 u and 2 u");
        legend
    }

    fn notes(&self) -> Vec<String> {
        vec![format!(
            "chi squared {} for {} degrees of freedom; uncertainties of the result are widened by {}.",
            units::significant(self.location.chi_squared, 3),
            self.location.degrees_of_freedom,
            units::significant(self.location.u_widened_by, 3)
        )]
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::locate::{Options, analyse};

    #[test]
    fn names_components_and_rows_that_stand_out() {
        let mut readings = crate::locate::testing::readings(&Default::default());
        readings[11].place_m[1] += 0.5;
        let location = analyse(&readings, &Options::default()).unwrap();
        let picture = LocationResiduals { readings: &readings, location: &location };
        let svg = render(&picture).unwrap().svg;
        for text in ["residual / u", "distance from the unit (m)", "row 12", "degrees of freedom"] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
