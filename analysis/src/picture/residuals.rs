//! Chart of residuals: how many of its own standard uncertainties each reading lies
//! off the theory, outliers by their row.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::{Align, Canvas};
use super::drawing::{Picture, PictureError};
use super::field_over_distance::{present, series};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{Series, Stroke, colour, size};
use crate::range::{DipoleFit, FieldReading, Outlier};
use crate::units;

/// The chart, of one fit.
pub struct Residuals<'a> {
    /// The readings.
    pub readings: &'a [FieldReading],
    /// The fit that they are held against.
    pub fit: &'a DipoleFit,
    /// What is named.
    pub outliers: &'a [Outlier],
    /// The theory in a word or two: "free space".
    pub theory: &'a str,
    /// Which readings were fitted: "all readings".
    pub fitted: &'a str,
}

impl Residuals<'_> {
    /// Each reading's residual in its standard uncertainties.
    pub fn values(&self) -> Vec<f64> {
        let theory = |r: &FieldReading| self.fit.field_at_stated(r.alignment, r.distance_m).value;
        self.readings.iter().map(|r| r.residual(theory(r))).collect()
    }
}

impl Picture for Residuals<'_> {
    fn size(&self) -> (u32, u32) {
        (960, 420)
    }

    fn title(&self) -> String {
        format!("Residuals, {}", self.theory)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let values = self.values();
        let distances = || self.readings.iter().map(|r| r.distance_m);
        let nearest = distances().fold(f64::INFINITY, f64::min);
        let farthest = distances().fold(0.0, f64::max);
        let x = Axis::logarithmic(nearest / 1.25, farthest * 1.25, "distance (m)", |d| {
            units::significant(d, 3)
        });
        let reach = 1.2 * values.iter().fold(3.0, |most: f64, v| most.max(v.abs()));
        let name = "residual (standard uncertainties)";
        let y = Axis::linear(-reach, reach, name, 6, |v| units::significant(v, 3));
        let note = format!(
            "By {}, fitted to {}. Band: 2 standard uncertainties, which 19 of 20 readings keep \
             within.",
            self.theory, self.fitted
        );
        let plot =
            Plot::lay_out(canvas, self.size(), &self.title(), &self.legend(), (x, y), &[note])?;
        let edges = plot.x.samples(2).map(|d| (d, -2.0, 2.0));
        plot.band(canvas, edges, colour::BLACK, 0.14)?;
        let zero = [(plot.x.from, 0.0), (plot.x.to, 0.0)];
        plot.line(canvas, zero, Stroke::solid(colour::INK, 1.6))?;
        for (reading, value) in self.readings.iter().zip(&values) {
            let Series { colour, mark, .. } = *series(reading.alignment);
            let bar = (*value, *value, *value);
            plot.value_with_bar(canvas, reading.distance_m, bar, mark, colour)?;
        }
        for outlier in self.outliers {
            let (Some(reading), Some(value)) =
                (self.readings.get(outlier.row - 1), values.get(outlier.row - 1))
            else {
                continue;
            };
            let (x, y) = plot.at(reading.distance_m, *value);
            let (at, align) = match x > 0.8 * plot.sides().1 {
                true => ((x - 9.0, y + 4.0), Align::Right),
                false => ((x + 9.0, y + 4.0), Align::Left),
            };
            let text = format!("outlier, row {}", outlier.row);
            canvas.label(&text, at, align, size::TICK, colour::INK)?;
        }
        Ok(())
    }
}

impl Residuals<'_> {
    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        for alignment in present(self.readings) {
            let Series { colour, mark, .. } = *series(alignment);
            legend.add(Key::Mark(mark, colour), format!("measured {alignment}"));
        }
        legend
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::range::{Alignment, Options, analyse};

    #[test]
    fn says_what_it_shows_and_names_the_outlier() {
        let mut readings: Vec<_> = [2.0, 3.0, 4.0, 6.0, 8.0, 11.0]
            .map(|distance_m| {
                let alignment = Alignment::Coaxial;
                let field_a_per_m = alignment.field_a_per_m(1e-3, distance_m, 457e3);
                let u_field_a_per_m = 0.03 * field_a_per_m;
                FieldReading { distance_m, field_a_per_m, u_field_a_per_m, alignment }
            })
            .into();
        readings[3].field_a_per_m *= 1.6;
        let analysis = analyse(&readings, &Options::default()).unwrap();
        let picture = Residuals {
            readings: &readings,
            fit: &analysis.fit,
            outliers: &analysis.outliers,
            theory: "free space",
            fitted: "all readings",
        };
        let svg = render(&picture).unwrap().svg;
        for text in ["Residuals, free space", "outlier, row 4", "distance (m)", "measured coaxial"]
        {
            assert!(svg.contains(text), "{text}");
        }
        assert_eq!(picture.values().len(), 6);
    }
}
