//! Polar chart of coupling over angle: readings, the law they follow, and how far
//! it is turned.

use plotters::prelude::DrawingBackend;

use super::canvas::{Align, Canvas};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::polar::Polar;
use super::style::{DASHED, DOTTED, SERIES, Series, Stroke, colour, size};
use crate::angle::{AngleAnalysis, Law};
use crate::range::analysis::DB_PER_NEPER;
use crate::units;

const MARGIN: f64 = 18.0;
/// Left edge of the text beside the disc.
const BESIDE: f64 = 656.0;
const WIDTH: f64 = 960.0;
/// Degrees between places of the curve.
const CURVE_DEG: f64 = 0.5;

/// The chart. 0 dB is the greatest field of the fitted law; bars are the readings'
/// own u and that of their angles. Readings below the innermost ring stand in the
/// middle.
pub struct CouplingOverAngle<'a> {
    /// What was made of the readings.
    pub analysis: &'a AngleAnalysis,
}

impl Picture for CouplingOverAngle<'_> {
    fn size(&self) -> (u32, u32) {
        (WIDTH as u32, 720)
    }

    fn title(&self) -> String {
        format!("Coupling over angle: {}", self.analysis.coupling.name())
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let title_line = MARGIN + 0.8 * size::TITLE;
        canvas.bold(&self.title(), (MARGIN, title_line), Align::Left, size::TITLE, colour::INK)?;
        self.legend().draw(canvas, (MARGIN, title_line + 10.0), WIDTH - 2.0 * MARGIN)?;
        let polar = Polar { centre: (325.0, 390.0), radius: 272.0, floor_db: self.floor_db() };
        polar.draw_grid(canvas, self.step_db())?;
        self.direction(canvas, &polar)?;
        self.ideal(canvas, &polar)?;
        self.law(canvas, &polar)?;
        polar.label_rings(canvas, self.step_db(), self.labels_deg())?;
        self.readings(canvas, &polar)?;
        self.results(canvas)
    }
}

impl CouplingOverAngle<'_> {
    /// A dipole's law is 6 dB deep, nulls of one axis have no end.
    fn floor_db(&self) -> f64 {
        match self.analysis.law {
            Law::Cosine => -40.0,
            Law::Dipole => -12.0,
        }
    }

    /// Four rings.
    fn step_db(&self) -> f64 {
        -self.floor_db() / 4.0
    }

    /// Between two spokes on the right, where the law runs round and keeps clearest
    /// of the rings; in its nulls it runs across all of them.
    fn labels_deg(&self) -> f64 {
        let theta = self.analysis.misalignment_deg.value;
        let runs_round = |angle: &f64| (angle - theta).to_radians().cos().abs() > 0.5;
        let clearance = |angle: f64| {
            let rings = self.level_db(self.analysis.fit.field_at(angle).value) / self.step_db();
            (rings - rings.round()).abs()
        };
        let places = (0..6).map(|i| -15.0 - 30.0 * f64::from(i)).filter(runs_round);
        places.max_by(|a, b| clearance(*a).total_cmp(&clearance(*b))).unwrap_or(-45.0)
    }

    fn level_db(&self, field_a_per_m: f64) -> f64 {
        let peak = self.analysis.fit.peak_a_per_m().value;
        DB_PER_NEPER * (field_a_per_m.max(0.0) / peak).ln()
    }

    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        let Series { colour, mark, .. } = SERIES[0];
        legend.add(Key::Mark(mark, colour), "measured, ± u");
        legend.add(Key::Line(fitted()), "fitted law");
        let ideal = format!("{} at 0°", self.analysis.law.formula());
        legend.add(Key::Line(ideal_stroke()), ideal);
        legend.add(Key::Line(greatest()), "greatest coupling");
        legend
    }

    fn direction<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        polar: &Polar,
    ) -> Result<(), PictureError> {
        let theta = self.analysis.misalignment_deg.value;
        canvas.line(&[polar.at(theta, 0.0), polar.at(theta + 180.0, 0.0)], greatest())
    }

    fn curve<DB: DrawingBackend>(
        canvas: &Canvas<'_, DB>,
        polar: &Polar,
        level_db: impl Fn(f64) -> f64,
        stroke: Stroke,
    ) -> Result<(), PictureError> {
        let angles = (0..=(360.0 / CURVE_DEG) as u32).map(|i| f64::from(i) * CURVE_DEG);
        let points: Vec<_> = angles.map(|angle| polar.at(angle, level_db(angle))).collect();
        canvas.line(&points, stroke)
    }

    fn ideal<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        polar: &Polar,
    ) -> Result<(), PictureError> {
        let fill = self.analysis.law.fill();
        let level = |angle: f64| {
            let share = angle.to_radians().cos().hypot(fill) / 1.0_f64.hypot(fill);
            DB_PER_NEPER * share.ln()
        };
        Self::curve(canvas, polar, level, ideal_stroke())
    }

    fn law<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        polar: &Polar,
    ) -> Result<(), PictureError> {
        let level = |angle: f64| self.level_db(self.analysis.fit.field_at(angle).value);
        Self::curve(canvas, polar, level, fitted())
    }

    fn readings<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        polar: &Polar,
    ) -> Result<(), PictureError> {
        let Series { colour, mark, .. } = SERIES[0];
        for reading in &self.analysis.fitted {
            let (h, u) = (reading.field_a_per_m, reading.u_field_a_per_m);
            let levels = [h - u, h, h + u].map(|h| self.level_db(h));
            let angle = (reading.angle_deg, reading.u_angle_deg);
            polar.value_with_bars(canvas, angle, levels.into(), mark, colour)?;
        }
        Ok(())
    }

    /// Name and value of each result, in lines beside the disc.
    fn results<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let mut y = 190.0;
        for (name, value) in self.values() {
            canvas.text(name, (BESIDE, y), Align::Left, size::TICK, colour::FAINT_INK)?;
            canvas.bold(&value, (BESIDE, y + 20.0), Align::Left, size::TITLE - 1.0, colour::INK)?;
            y += 56.0;
        }
        let notes = [
            "Rings: dB below the greatest field of the fitted law.",
            "0° at the top, counter-clockwise seen from above.",
            "Signs are unknown: a turn of 180° looks the same.",
        ];
        for (i, note) in notes.into_iter().enumerate() {
            let at = (BESIDE, y + 12.0 + i as f64 * 1.4 * size::NOTE);
            canvas.text(note, at, Align::Left, size::NOTE, colour::FAINT_INK)?;
        }
        Ok(())
    }

    fn values(&self) -> Vec<(&'static str, String)> {
        let of = self.analysis;
        let mut values = vec![
            ("greatest field, 0 dB", units::field_reading(of.peak_a_per_m)),
            ("misalignment", units::plus_minus(of.misalignment_deg, "°")),
            ("cross-axis leakage", units::plus_minus(of.leakage_ratio.scaled(100.0), "%")),
        ];
        values.push(match of.depth_db {
            Some(depth) => ("least over greatest", units::plus_minus(depth, "dB")),
            None => (
                "nulls, weakest reading",
                format!("{} dB", units::significant(of.weakest_reading_db, 3)),
            ),
        });
        if let Some(moment) = &of.moment {
            values.push(("moment, from the mark", units::plus_minus(moment.azimuth_deg, "°")));
            values.push(("moment, out of the plane", units::plus_minus(moment.elevation_deg, "°")));
        }
        let fit =
            format!("χ² {} for {}", units::significant(of.chi_squared, 3), of.degrees_of_freedom);
        values.push(("fit, degrees of freedom", fit));
        values
    }
}

fn fitted() -> Stroke {
    Stroke::solid(SERIES[1].colour, 2.2)
}

fn ideal_stroke() -> Stroke {
    Stroke::solid(colour::FAINT_INK, 1.4).dashed(DOTTED)
}

fn greatest() -> Stroke {
    Stroke::solid(colour::GREEN, 1.6).dashed(DASHED)
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::angle::{AngleReading, Options, analyse};

    #[test]
    fn says_what_it_shows() {
        let readings: Vec<AngleReading> = (0..24)
            .map(|i| {
                let angle_deg = f64::from(i) * 15.0;
                AngleReading {
                    angle_deg,
                    u_angle_deg: 1.0,
                    field_a_per_m: 1e-6 * ((angle_deg - 20.0).to_radians().cos() + 0.1).abs(),
                    u_field_a_per_m: 1e-8,
                    components: None,
                }
            })
            .collect();
        let analysis = analyse(&readings, &Options::default()).unwrap();
        let svg = render(&CouplingOverAngle { analysis: &analysis }).unwrap().svg;
        for text in ["Coupling over angle: field", "20.", "−10", "0 dB", "−150°", "10.", "|cos θ|"]
        {
            assert!(svg.contains(text), "{text}");
        }
    }
}
