//! A disc with angle around it and level from its middle outward.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, Point};
use super::drawing::PictureError;
use super::style::{Mark, Stroke, colour, size};

/// Half the width of the caps of an error bar.
const CAP: f64 = 3.5;
/// Degrees between spokes.
const SPOKE_DEG: i32 = 30;
/// Places on a ring.
const RING: usize = 180;

/// The disc: 0 degrees at the top, angles counter-clockwise, 0 dB at the rim, and
/// `floor_db` and everything below it in the middle.
#[derive(Clone, Copy, Debug)]
pub struct Polar {
    /// Middle, points.
    pub centre: Point,
    /// Radius, points.
    pub radius: f64,
    /// Level in the middle, dB, below 0.
    pub floor_db: f64,
}

impl Polar {
    /// Place of a level at an angle; below the floor, the middle.
    pub fn at(&self, angle_deg: f64, level_db: f64) -> Point {
        let share = (1.0 - level_db / self.floor_db).max(0.0);
        self.out(angle_deg, self.radius * share)
    }

    fn out(&self, angle_deg: f64, distance: f64) -> Point {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        (self.centre.0 - distance * sin, self.centre.1 - distance * cos)
    }

    /// Rings `step_db` apart; spokes with their angle.
    pub fn draw_grid<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        step_db: f64,
    ) -> Result<(), PictureError> {
        for spoke in (0..360).step_by(SPOKE_DEG as usize).map(f64::from) {
            let ends = [self.centre, self.at(spoke, 0.0)];
            canvas.line(&ends, Stroke::solid(colour::FINE_GRID, 1.0))?;
        }
        for ring in 1..self.rings(step_db) {
            self.ring(canvas, -step_db * ring as f64, Stroke::solid(colour::GRID, 1.0))?;
        }
        self.ring(canvas, 0.0, Stroke::solid(colour::INK, 1.2))?;
        for spoke in (-150..=180).step_by(SPOKE_DEG as usize) {
            let (x, y) = self.out(f64::from(spoke), self.radius + size::TICK);
            let align = match x - self.centre.0 {
                right if right > 1.0 => Align::Left,
                left if left < -1.0 => Align::Right,
                _ => Align::Centre,
            };
            let text = if spoke < 0 { format!("−{}°", -spoke) } else { format!("{spoke}°") };
            canvas.text(&text, (x, y + 0.36 * size::TICK), align, size::TICK, colour::INK)?;
        }
        Ok(())
    }

    fn rings(&self, step_db: f64) -> usize {
        (self.floor_db.abs() / step_db).ceil() as usize
    }

    /// Levels of the rings along `angle_deg`.
    pub fn label_rings<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        step_db: f64,
        angle_deg: f64,
    ) -> Result<(), PictureError> {
        for ring in 0..self.rings(step_db) {
            let level_db = step_db * ring as f64;
            let (x, y) = self.at(angle_deg, -level_db);
            let text = if ring == 0 { "0 dB".into() } else { format!("−{level_db} dB") };
            let at = (x, y + 0.36 * size::TICK);
            canvas.label(&text, at, Align::Centre, size::TICK, colour::INK)?;
        }
        Ok(())
    }

    fn ring<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        level_db: f64,
        stroke: Stroke,
    ) -> Result<(), PictureError> {
        let around = (0..=RING).map(|i| 360.0 * i as f64 / RING as f64);
        let points: Vec<_> = around.map(|angle| self.at(angle, level_db)).collect();
        canvas.line(&points, stroke)
    }

    /// A value with its error bars: levels from low to high, and angles.
    pub fn value_with_bars<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        (angle_deg, u_angle_deg): (f64, f64),
        (low_db, level_db, high_db): (f64, f64, f64),
        mark: Mark,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        let stroke = Stroke::solid(colour, 1.4);
        let (low, high) = (self.at(angle_deg, low_db), self.at(angle_deg, high_db));
        canvas.line(&[low, high], stroke)?;
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        for (x, y) in [low, high] {
            let cap = [(x - CAP * cos, y + CAP * sin), (x + CAP * cos, y - CAP * sin)];
            canvas.line(&cap, stroke)?;
        }
        let across = [-1.0, 0.0, 1.0].map(|k| self.at(angle_deg + k * u_angle_deg, level_db));
        canvas.line(&across, stroke)?;
        canvas.mark(self.at(angle_deg, level_db), mark, colour)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_run_from_the_top_to_the_left() {
        let polar = Polar { centre: (100.0, 100.0), radius: 50.0, floor_db: -40.0 };
        let near = |(x, y): Point, to: Point| (x - to.0).hypot(y - to.1) < 1e-9;
        assert!(near(polar.at(0.0, 0.0), (100.0, 50.0)));
        assert!(near(polar.at(90.0, -20.0), (75.0, 100.0)));
        assert!(near(polar.at(45.0, -60.0), (100.0, 100.0)));
    }
}
