//! A legend in rows above a chart, where it can cover nothing.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, text_width};
use super::drawing::PictureError;
use super::style::{Mark, Stroke, colour, size};

/// What an entry shows beside its text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Key {
    /// A mark with its error bar.
    Mark(Mark, RGBColor),
    /// A mark alone.
    Point(Mark, RGBColor),
    /// A line.
    Line(Stroke),
    /// A shaded band.
    Band(RGBColor),
}

/// Entries in the order added.
#[derive(Clone, Debug, Default)]
pub struct Legend {
    entries: Vec<(Key, String)>,
}

const KEY_WIDTH: f64 = 30.0;
const KEY_GAP: f64 = 6.0;
const ENTRY_GAP: f64 = 20.0;
const ROW: f64 = 20.0;

impl Legend {
    /// An empty legend.
    pub fn new() -> Self {
        Self::default()
    }

    /// Add an entry.
    pub fn add(&mut self, key: Key, text: impl Into<String>) {
        self.entries.push((key, text.into()));
    }

    /// Height that the entries take in rows of `width` points.
    pub fn height(&self, width: f64) -> f64 {
        self.rows(width).len() as f64 * ROW
    }

    /// Draw from the corner (`left`, `top`) in rows of `width` points.
    pub fn draw<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        (left, top): (f64, f64),
        width: f64,
    ) -> Result<(), PictureError> {
        for (number, row) in self.rows(width).into_iter().enumerate() {
            let middle = top + (number as f64 + 0.5) * ROW;
            let mut x = left;
            for (key, text) in row {
                let (from, to) = (x, x + KEY_WIDTH);
                match *key {
                    Key::Line(stroke) => canvas.line(&[(from, middle), (to, middle)], stroke)?,
                    Key::Band(colour) => {
                        canvas.rectangle((from, middle - 6.0), (to, middle + 6.0), colour, 0.14)?;
                        canvas.rectangle((from, middle - 3.0), (to, middle + 3.0), colour, 0.22)?;
                    }
                    Key::Point(mark, colour) => {
                        canvas.mark(((from + to) / 2.0, middle), mark, colour)?;
                    }
                    Key::Mark(mark, colour) => {
                        let x = (from + to) / 2.0;
                        let bar = [(x, middle - 9.0), (x, middle + 9.0)];
                        canvas.line(&bar, Stroke::solid(colour, 1.4))?;
                        canvas.mark((x, middle), mark, colour)?;
                    }
                }
                let base_line = (to + KEY_GAP, middle + 0.36 * size::LABEL);
                canvas.text(text, base_line, Align::Left, size::LABEL, colour::INK)?;
                x += entry_width(text) + ENTRY_GAP;
            }
        }
        Ok(())
    }

    fn rows(&self, width: f64) -> Vec<Vec<&(Key, String)>> {
        let mut rows: Vec<Vec<_>> = Vec::new();
        let mut taken = f64::INFINITY;
        for entry in &self.entries {
            let needed = entry_width(&entry.1);
            if taken + ENTRY_GAP + needed > width {
                rows.push(Vec::new());
                taken = -ENTRY_GAP;
            }
            taken += ENTRY_GAP + needed;
            if let Some(row) = rows.last_mut() {
                row.push(entry);
            }
        }
        rows
    }
}

fn entry_width(text: &str) -> f64 {
    KEY_WIDTH + KEY_GAP + text_width(text, size::LABEL)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_wrap_and_none_is_lost() {
        let mut legend = Legend::new();
        for i in 0..5 {
            legend.add(Key::Band(colour::BLUE), format!("entry number {i}"));
        }
        let one = entry_width("entry number 0");
        let rows = legend.rows(2.5 * one + ENTRY_GAP);
        assert_eq!(rows.iter().map(Vec::len).collect::<Vec<_>>(), [2, 2, 1]);
        assert_eq!(legend.height(2.5 * one + ENTRY_GAP), 3.0 * ROW);
        // Even where nothing fits, each has its row.
        assert_eq!(legend.rows(1.0).len(), 5);
    }
}
