//! Where letters find room on a picture that is already full.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, Point, text_width};
use super::drawing::PictureError;
use super::plot::Plot;

/// Two opposite corners of an upright rectangle, the upper left first.
pub type Patch = (Point, Point);

/// What it costs to cover a mark or letters, a piece of a line, and to be a step farther
/// from what a label is about.
const SOLID: u32 = 60;
const LINE: u32 = 1;
const FARTHER: u32 = 10;
/// Distances of a label from what it is about, over the least.
const STEPS: [f64; 5] = [1.0, 1.8, 2.8, 4.2, 6.0];

/// Patches of a picture that hold something that nothing should cover, and how much it
/// costs to cover it all the same.
#[derive(Clone, Debug, Default)]
pub struct Taken(Vec<(Patch, u32)>);

impl Taken {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether nothing is on `patch`.
    pub fn is_free(&self, patch: &Patch) -> bool {
        self.0.iter().all(|(other, _)| apart(other, patch))
    }

    /// Put something on `patch`.
    pub fn add(&mut self, patch: Patch) {
        self.0.push((patch, SOLID));
    }

    /// Put a mark of half the width `half` at a place.
    pub fn add_mark(&mut self, (x, y): Point, half: f64) {
        self.add(((x - half, y - half), (x + half, y + half)));
    }

    /// Put a line on the patches along it.
    pub fn add_line(&mut self, points: &[Point]) {
        for pair in points.windows(2) {
            let (dx, dy) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
            let pieces = (dx.hypot(dy) / 6.0).ceil().max(1.0);
            if !pieces.is_finite() {
                continue;
            }
            for k in 0..=pieces as usize {
                let share = k as f64 / pieces;
                let (x, y) = (pair[0].0 + share * dx, pair[0].1 + share * dy);
                self.0.push((((x - 1.5, y - 1.5), (x + 1.5, y + 1.5)), LINE));
            }
        }
    }

    /// Write `text` beside what is at `at`, `gap` points off or farther, where it costs
    /// least, inside `plot`.
    pub fn label<DB: DrawingBackend>(
        &mut self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        text: &str,
        (at, gap): (Point, f64),
        (size, colour): (f64, RGBColor),
    ) -> Result<(), PictureError> {
        let (width, height) = (text_width(text, size) + 4.0, 1.13 * size);
        let places = (0..).zip(STEPS).flat_map(|(step, far)| {
            let off = gap * far;
            let diagonal = 0.7 * off;
            [
                (off, -height / 2.0),
                (-off - width, -height / 2.0),
                (-width / 2.0, -off - height),
                (-width / 2.0, off),
                (diagonal, -diagonal - height),
                (diagonal, diagonal),
                (-diagonal - width, -diagonal - height),
                (-diagonal - width, diagonal),
            ]
            .map(|place| (step, place))
        });
        let patches = places.map(|(step, (dx, dy))| {
            let low = (at.0 + dx, at.1 + dy);
            (step, (low, (low.0 + width, low.1 + height)))
        });
        let inside = patches.filter(|(_, patch)| plot.holds(patch.0) && plot.holds(patch.1));
        let cost = |(step, patch): &(u32, Patch)| {
            let covered = self.0.iter().filter(|(other, _)| !apart(other, patch));
            step * FARTHER + covered.map(|(_, cost)| cost).sum::<u32>()
        };
        let Some((_, (low, high))) = inside.min_by_key(cost) else { return Ok(()) };
        self.add((low, high));
        let base_line = (low.0 + 2.0, low.1 + 0.85 * size);
        canvas.label(text, base_line, Align::Left, size, colour)
    }
}

/// `text`, cut where it is wider than `width`.
pub fn fitted(text: &str, size: f64, width: f64) -> String {
    if text_width(text, size) <= width {
        return text.to_owned();
    }
    let mut short = text.to_owned();
    while !short.is_empty() && text_width(&format!("{short}…"), size) > width {
        short.pop();
    }
    format!("{}…", short.trim_end())
}

fn apart(a: &Patch, b: &Patch) -> bool {
    a.1.0 < b.0.0 || b.1.0 < a.0.0 || a.1.1 < b.0.1 || b.1.1 < a.0.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_cut_to_its_width() {
        assert_eq!(fitted("post", 12.0, 60.0), "post");
        let short = fitted("a long name of a unit", 12.0, 60.0);
        assert!(short.starts_with("a long") && short.ends_with('…'), "{short}");
        assert!(text_width(&short, 12.0) <= 60.0);
    }

    #[test]
    fn what_is_taken_is_not_free() {
        let mut taken = Taken::new();
        taken.add_mark((10.0, 10.0), 4.0);
        assert!(!taken.is_free(&((12.0, 12.0), (20.0, 20.0))));
        assert!(taken.is_free(&((15.0, 6.0), (20.0, 14.0))));
        taken.add_line(&[(0.0, 50.0), (100.0, 50.0)]);
        for x in [3.0, 47.0, 95.0] {
            assert!(!taken.is_free(&((x, 45.0), (x + 2.0, 55.0))), "{x}");
        }
        assert!(taken.is_free(&((40.0, 20.0), (60.0, 45.0))));
    }
}
