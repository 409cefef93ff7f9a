//! Chart of range over the angle from the transmitter's axis, as seen from above.

use plotters::prelude::DrawingBackend;

use super::canvas::{Align, Canvas, Point};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::style::{SERIES, Stroke, colour, size};
use crate::range::rose::{Ray, Rose};
use crate::units;

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 800.0;
const MARGIN: f64 = 18.0;
const CENTRE: Point = (WIDTH / 2.0, 425.0);
const RADIUS: f64 = 285.0;

/// The chart: the transmitter's axis runs up and down in the middle.
pub struct RangeRose<'a> {
    /// What it shows.
    pub rose: &'a Rose,
}

impl Picture for RangeRose<'_> {
    fn size(&self) -> (u32, u32) {
        (WIDTH as u32, HEIGHT as u32)
    }

    fn title(&self) -> String {
        format!("Range at {} over direction", units::field(self.rose.threshold_a_per_m))
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let title_line = MARGIN + 0.8 * size::TITLE;
        canvas.bold(&self.title(), (MARGIN, title_line), Align::Left, size::TITLE, colour::INK)?;
        self.legend().draw(canvas, (MARGIN, title_line + 10.0), WIDTH - 2.0 * MARGIN)?;
        let step = self.ring_step_m();
        let outer_m = step * 4.0;
        grid(canvas)?;
        for (stroke, range) in self.curves() {
            let points: Vec<_> = (self.rose.rays.iter())
                .filter_map(|ray| range(ray).map(|r| place(ray.angle_deg, r / outer_m)))
                .collect();
            canvas.line(&points, stroke)?;
        }
        // The transmitter: its antenna along the axis.
        let bar = [(CENTRE.0, CENTRE.1 - 16.0), (CENTRE.0, CENTRE.1 + 16.0)];
        canvas.line(&bar, Stroke::solid(colour::BLACK, 5.0))?;
        ring_labels(canvas, step)?;
        let notes = [
            "From above, the transmitter's axis level and upward in the picture. A receiver with",
            "three axes sees the whole field; a single coil sees what lies along it.",
        ];
        for (i, note) in notes.into_iter().enumerate() {
            let line = HEIGHT - MARGIN - 1.4 * size::NOTE * (notes.len() - 1 - i) as f64;
            canvas.text(note, (MARGIN, line), Align::Left, size::NOTE, colour::FAINT_INK)?;
        }
        Ok(())
    }
}

type RangeOf = fn(&Ray) -> Option<f64>;

impl RangeRose<'_> {
    fn curves(&self) -> Vec<(Stroke, RangeOf)> {
        let mut curves: Vec<(Stroke, RangeOf)> = vec![
            (SERIES[1].stroke(), |ray| Some(ray.along_m)),
            (SERIES[2].stroke(), |ray| Some(ray.across_m)),
            (SERIES[0].stroke(), |ray| Some(ray.three_axes_m)),
        ];
        if self.rose.rays.iter().any(|ray| ray.over_ground_m.is_some()) {
            curves.push((SERIES[3].stroke(), |ray| ray.over_ground_m));
        }
        curves
    }

    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        let names = [
            "coil pointed at the transmitter",
            "coil square to the way",
            "three axes, free space",
            "three axes, over the ground given",
        ];
        for ((stroke, _), name) in self.curves().into_iter().zip(names) {
            legend.add(Key::Line(stroke), name);
        }
        legend
    }

    /// Metres between rings, round, so that four of them hold every curve.
    fn ring_step_m(&self) -> f64 {
        let farthest = (self.curves().iter())
            .flat_map(|(_, range)| self.rose.rays.iter().filter_map(range))
            .fold(0.0, f64::max);
        let power = 10f64.powf((farthest / 4.0).log10().floor());
        let steps = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0];
        let step = steps.into_iter().find(|step| 4.0 * step * power >= farthest);
        step.unwrap_or(10.0) * power
    }
}

/// A place on the rose: degrees clockwise from the top, and a share of the radius.
fn place(angle_deg: f64, share: f64) -> Point {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    (CENTRE.0 + RADIUS * share * sin, CENTRE.1 - RADIUS * share * cos)
}

fn grid<DB: DrawingBackend>(canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
    for ring in 1..=4 {
        let circle: Vec<_> =
            (0..=180).map(|i| place(2.0 * f64::from(i), f64::from(ring) / 4.0)).collect();
        let faint = if ring == 4 { colour::INK } else { colour::GRID };
        canvas.line(&circle, Stroke::solid(faint, 1.0))?;
    }
    for angle in (0..360).step_by(30).map(f64::from) {
        canvas.line(&[CENTRE, place(angle, 1.0)], Stroke::solid(colour::FINE_GRID, 1.0))?;
        let (x, y) = place(angle, 1.0 + 16.0 / RADIUS);
        let at = (x, y + 0.36 * size::TICK);
        let align = match angle {
            a if a == 0.0 || a == 180.0 => Align::Centre,
            a if a < 180.0 => Align::Left,
            _ => Align::Right,
        };
        canvas.text(&format!("{angle}°"), at, align, size::TICK, colour::INK)?;
    }
    Ok(())
}

/// Over the curves, at an angle where these lie apart.
fn ring_labels<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, step: f64) -> Result<(), PictureError> {
    for ring in 1..=4 {
        let (x, y) = place(105.0, f64::from(ring) / 4.0);
        let text = format!("{} m", units::significant(step * f64::from(ring), 3));
        canvas.label(&text, (x, y + 4.0), Align::Centre, size::TICK, colour::INK)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;

    fn rose(over_ground_m: Option<f64>) -> Rose {
        let ray = |i: u32| Ray {
            angle_deg: 30.0 * f64::from(i),
            three_axes_m: 20.0,
            along_m: 18.0,
            across_m: 10.0,
            over_ground_m,
        };
        Rose { threshold_a_per_m: 80e-9, rays: (0..=12).map(ray).collect() }
    }

    #[test]
    fn says_what_it_shows() {
        let svg = render(&RangeRose { rose: &rose(Some(23.0)) }).unwrap().svg;
        for text in ["Range at 80 nA/m", "24 m", "90°", "three axes, free space", "ground given"] {
            assert!(svg.contains(text), "{text}");
        }
        let free = render(&RangeRose { rose: &rose(None) }).unwrap().svg;
        assert!(!free.contains("ground given") && free.contains("20 m"));
    }
}
