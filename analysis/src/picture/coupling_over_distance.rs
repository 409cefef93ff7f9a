//! Chart of measured over computed field: what the way between the coils adds
//! to, or takes from, a dipole in free space.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::Canvas;
use super::drawing::{Picture, PictureError};
use super::field_over_distance::{over_ground, present, series};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{Series, Stroke, colour};
use crate::range::analysis::DB_PER_NEPER;
use crate::range::{Alignment, FieldReading, GroundAnalysis, RangeAnalysis};
use crate::units;

/// Shift of marks off their distance, in axis lengths, so that bars of coaxial
/// and coplanar readings at one distance do not hide each other.
const APART: f64 = 0.005;

/// The chart, over stated distance. Bars are the readings' own u; the band is
/// that of the fitted dipole, of the first alignment measured. Neither holds what
/// all readings share, which cancels in their ratio.
pub struct CouplingOverDistance<'a> {
    /// The readings.
    pub readings: &'a [FieldReading],
    /// What was made of them.
    pub analysis: &'a RangeAnalysis,
    /// The same with the ground counted in: drawn as theory over theory.
    pub over_ground: Option<&'a GroundAnalysis>,
}

impl Picture for CouplingOverDistance<'_> {
    fn size(&self) -> (u32, u32) {
        (960, 440)
    }

    fn title(&self) -> String {
        "Measured over computed field".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let distances = || self.readings.iter().map(|r| r.distance_m);
        let nearest = distances().fold(f64::INFINITY, f64::min);
        let farthest = distances().fold(0.0, f64::max);
        let x = Axis::logarithmic(nearest / 1.25, farthest * 1.25, "distance (m)", |d| {
            units::significant(d, 3)
        });
        let reach =
            self.analysis.residuals_db.iter().map(|r| r.value.abs() + r.u).fold(1.0, f64::max);
        let y = Axis::linear(-1.15 * reach, 1.15 * reach, "coupling (dB)", 8, |db| {
            units::significant(db, 3)
        });
        let ground = |ground: &GroundAnalysis| !ground.outliers.is_empty();
        let without = self.over_ground.is_some_and(ground);
        let both = present(self.readings).count() > 1;
        let mut note = String::from("0 dB is a dipole in free space of the fitted moment.");
        if both {
            note += " Coaxial and coplanar marks are set a little apart.";
        }
        if without {
            note += " The ground is fitted to all but outliers.";
        }
        let plot =
            Plot::lay_out(canvas, self.size(), &self.title(), &self.legend(), (x, y), &[note])?;
        if let Some(alignment) = present(self.readings).next() {
            for (k, opacity) in [(2.0, 0.14), (1.0, 0.22)] {
                let edges = plot.x.samples(200).map(|d| {
                    let u = DB_PER_NEPER
                        * self.analysis.fit.field_beside_readings(alignment, d).u_rel();
                    (d, -k * u, k * u)
                });
                plot.band(canvas, edges, colour::BLACK, opacity)?;
            }
        }
        let zero = [(plot.x.from, 0.0), (plot.x.to, 0.0)];
        plot.line(canvas, zero, Stroke::solid(colour::INK, 1.6))?;
        if let Some(ground) = self.over_ground {
            for alignment in present(self.readings) {
                let coupling = |d: f64| {
                    let by_ground = ground.best_fit.field_at_stated(alignment, d).value;
                    let free = self.analysis.fit.field_at_stated(alignment, d).value;
                    (d, 20.0 * (by_ground / free).log10())
                };
                plot.line(canvas, plot.x.samples(200).map(coupling), over_ground(alignment))?;
            }
        }
        for (reading, coupling) in self.readings.iter().zip(&self.analysis.residuals_db) {
            let Series { colour, mark, .. } = *series(reading.alignment);
            let (low, high) = (coupling.value - coupling.u, coupling.value + coupling.u);
            let bar = (low, coupling.value, high);
            let aside = match reading.alignment {
                _ if !both => 0.0,
                Alignment::Coaxial => -APART,
                Alignment::Coplanar => APART,
            };
            let x = plot.x.value(plot.x.place(reading.distance_m) + aside);
            plot.value_with_bar(canvas, x, bar, mark, colour)?;
        }
        Ok(())
    }
}

impl CouplingOverDistance<'_> {
    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        for alignment in present(self.readings) {
            let Series { colour, mark, .. } = *series(alignment);
            legend.add(Key::Mark(mark, colour), format!("measured {alignment}, ± u"));
        }
        for alignment in present(self.readings).filter(|_| self.over_ground.is_some()) {
            legend.add(Key::Line(over_ground(alignment)), format!("{alignment} over the ground"));
        }
        legend.add(Key::Band(colour::BLACK), "u and 2u of the dipole");
        legend
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::range::{Options, analyse};

    #[test]
    fn says_what_it_shows() {
        let readings: Vec<_> = [2.0, 4.0, 8.0]
            .map(|distance_m| {
                let alignment = Alignment::Coplanar;
                let field_a_per_m = alignment.field_a_per_m(1e-3, distance_m, 457e3);
                let u_field_a_per_m = 0.1 * field_a_per_m;
                FieldReading { distance_m, field_a_per_m, u_field_a_per_m, alignment }
            })
            .into();
        let analysis = analyse(&readings, &Options::default()).unwrap();
        let picture =
            CouplingOverDistance { readings: &readings, analysis: &analysis, over_ground: None };
        let svg = render(&picture).unwrap().svg;
        for text in ["distance (m)", "coupling (dB)", "measured coplanar", "0 dB is a dipole"] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
