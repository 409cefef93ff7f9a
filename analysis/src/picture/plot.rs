//! A rectangle with two axes, and what can be put on it by value.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::axis::Axis;
use super::canvas::{Align, Canvas, Point, text_width};
use super::drawing::PictureError;
use super::legend::Legend;
use super::style::{Mark, Stroke, colour, size};

const MARGIN: f64 = 18.0;
/// Half the width of the caps of an error bar.
const CAP: f64 = 3.5;

/// The plotting area of a chart and its axes. Values outside are cut off.
#[derive(Clone, Debug)]
pub struct Plot {
    /// Axis along the bottom.
    pub x: Axis,
    /// Axis along the left.
    pub y: Axis,
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Plot {
    /// Lay out a chart of `size` points and draw what stands around its
    /// plotting area: `title` and `legend` above, axes, grid, and `notes` below,
    /// a line each.
    pub fn lay_out<DB: DrawingBackend>(
        canvas: &Canvas<'_, DB>,
        (width, height): (u32, u32),
        title: &str,
        legend: &Legend,
        (x, y): (Axis, Axis),
        notes: &[String],
    ) -> Result<Self, PictureError> {
        let (width, height) = (f64::from(width), f64::from(height));
        let widest = |axis: &Axis| {
            let labels = axis.ticks.iter().filter_map(|t| t.label.as_deref());
            labels.map(|l| text_width(l, size::TICK)).fold(0.0, f64::max)
        };
        let title_line = MARGIN + 0.8 * size::TITLE;
        let legend_top = title_line + 10.0;
        let legend_width = width - 2.0 * MARGIN;
        let note_row = 1.4 * size::NOTE;
        let foot = notes.len() as f64 * note_row + if notes.is_empty() { 0.0 } else { 8.0 };
        let plot = Self {
            left: MARGIN + 1.6 * size::LABEL + widest(&y) + 10.0,
            top: legend_top + legend.height(legend_width) + 10.0,
            right: width - MARGIN - 0.3 * widest(&x),
            bottom: height - MARGIN - foot - 1.4 * size::LABEL - 1.8 * size::TICK,
            x,
            y,
        };
        canvas.bold(title, (MARGIN, title_line), Align::Left, size::TITLE, colour::INK)?;
        legend.draw(canvas, (MARGIN, legend_top), legend_width)?;
        plot.draw_axes(canvas)?;
        let first = height - MARGIN - foot + 8.0 + 0.8 * size::NOTE;
        for (number, note) in notes.iter().enumerate() {
            let at = (MARGIN, first + number as f64 * note_row);
            canvas.text(note, at, Align::Left, size::NOTE, colour::FAINT_INK)?;
        }
        Ok(plot)
    }

    /// Place on the canvas of a pair of values, inside the plotting area or not.
    pub fn at(&self, x: f64, y: f64) -> Point {
        (
            self.left + self.x.place(x) * (self.right - self.left),
            self.bottom - self.y.place(y) * (self.bottom - self.top),
        )
    }

    /// A line through values; parts outside the plotting area are cut off, and
    /// values without a place break the line.
    pub fn line<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        values: impl IntoIterator<Item = (f64, f64)>,
        stroke: Stroke,
    ) -> Result<(), PictureError> {
        let points: Vec<_> = values.into_iter().map(|(x, y)| self.at(x, y)).collect();
        for run in self.inside(&points) {
            canvas.line(&run, stroke)?;
        }
        Ok(())
    }

    /// A band between two lines given as (x, low, high), cut off at the edges.
    pub fn band<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        values: impl IntoIterator<Item = (f64, f64, f64)>,
        colour: RGBColor,
        opacity: f64,
    ) -> Result<(), PictureError> {
        let within = |y: f64| y.clamp(self.top, self.bottom);
        let edges: Vec<_> = values
            .into_iter()
            .map(|(x, low, high)| (self.at(x, low), self.at(x, high)))
            .filter(|(low, _)| low.0 >= self.left - 0.5 && low.0 <= self.right + 0.5)
            // NaN of a low edge below zero on a logarithmic axis: the bottom.
            .map(|(low, high)| {
                let low_y = if low.1.is_nan() { self.bottom } else { low.1 };
                ((low.0, within(low_y)), (high.0, within(high.1)))
            })
            .collect();
        let outline: Vec<_> =
            edges.iter().map(|e| e.0).chain(edges.iter().rev().map(|e| e.1)).collect();
        if outline.len() < 4 { Ok(()) } else { canvas.area(&outline, colour, opacity) }
    }

    /// A value with its error bar from `low` to `high`.
    pub fn value_with_bar<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        x: f64,
        (low, value, high): (f64, f64, f64),
        mark: Mark,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        let stroke = Stroke::solid(colour, 1.4);
        let (low, middle, high) = (self.at(x, low), self.at(x, value), self.at(x, high));
        // A bar that reaches below zero on a logarithmic axis reaches the bottom.
        let low = if low.1.is_finite() { low } else { (low.0, self.bottom) };
        let cap = |(x, y): Point| [(x - CAP, y), (x + CAP, y)];
        for piece in [[low, high], cap(low), cap(high)] {
            for run in self.inside(&piece) {
                canvas.line(&run, stroke)?;
            }
        }
        if self.holds(middle) { canvas.mark(middle, mark, colour) } else { Ok(()) }
    }

    /// Whether a place on the canvas is inside the plotting area.
    pub fn holds(&self, (x, y): Point) -> bool {
        (self.left..=self.right).contains(&x) && (self.top..=self.bottom).contains(&y)
    }

    /// Left and right edge of the plotting area, points.
    pub fn sides(&self) -> (f64, f64) {
        (self.left, self.right)
    }

    /// Top and bottom edge of the plotting area, points.
    pub fn ends(&self) -> (f64, f64) {
        (self.top, self.bottom)
    }

    fn draw_axes<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        // All fine lines first, so that none crosses a main one.
        for labelled in [false, true] {
            let stroke =
                Stroke::solid(if labelled { colour::GRID } else { colour::FINE_GRID }, 1.0);
            for tick in self.x.ticks.iter().filter(|t| t.label.is_some() == labelled) {
                let (x, _) = self.at(tick.value, self.y.from);
                canvas.line(&[(x, self.top), (x, self.bottom)], stroke)?;
                if let Some(label) = &tick.label {
                    let at = (x, self.bottom + 1.45 * size::TICK);
                    canvas.text(label, at, Align::Centre, size::TICK, colour::INK)?;
                }
            }
            for tick in self.y.ticks.iter().filter(|t| t.label.is_some() == labelled) {
                let (_, y) = self.at(self.x.from, tick.value);
                canvas.line(&[(self.left, y), (self.right, y)], stroke)?;
                if let Some(label) = &tick.label {
                    let at = (self.left - 8.0, y + 0.36 * size::TICK);
                    canvas.text(label, at, Align::Right, size::TICK, colour::INK)?;
                }
            }
        }
        let frame = [
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
        ];
        canvas.outline(&frame, Stroke::solid(colour::INK, 1.2))?;
        let below = self.bottom + 1.8 * size::TICK + 1.1 * size::LABEL;
        let middle = ((self.left + self.right) / 2.0, (self.top + self.bottom) / 2.0);
        canvas.text(&self.x.name, (middle.0, below), Align::Centre, size::LABEL, colour::INK)?;
        let beside = (MARGIN + 0.8 * size::LABEL, middle.1);
        canvas.upward(&self.y.name, beside, Align::Centre, size::LABEL, colour::INK)
    }

    /// The runs of a line of places that lie inside the plotting area.
    fn inside(&self, points: &[Point]) -> Vec<Vec<Point>> {
        let mut runs: Vec<Vec<Point>> = Vec::new();
        for pair in points.windows(2) {
            let Some((from, to)) = self.cut(pair[0], pair[1]) else { continue };
            match runs.last_mut() {
                Some(run) if run.last() == Some(&from) => run.push(to),
                _ => runs.push(vec![from, to]),
            }
        }
        runs
    }

    /// The part of a segment inside the plotting area (Liang and Barsky, 1984).
    fn cut(&self, from: Point, to: Point) -> Option<(Point, Point)> {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        if !(dx.is_finite() && dy.is_finite()) {
            return None;
        }
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for (towards, room) in [
            (-dx, from.0 - self.left),
            (dx, self.right - from.0),
            (-dy, from.1 - self.top),
            (dy, self.bottom - from.1),
        ] {
            if towards == 0.0 {
                if room < 0.0 {
                    return None;
                }
            } else if towards < 0.0 {
                enter = enter.max(room / towards);
            } else {
                leave = leave.min(room / towards);
            }
        }
        let along = |t: f64| (from.0 + t * dx, from.1 + t * dy);
        let start = if enter == 0.0 { from } else { along(enter) };
        let end = if leave == 1.0 { to } else { along(leave) };
        (enter <= leave).then_some((start, end))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot() -> Plot {
        let axis = || Axis::linear(0.0, 10.0, "v", 5, |v| v.to_string());
        Plot { x: axis(), y: axis(), left: 100.0, top: 50.0, right: 200.0, bottom: 150.0 }
    }

    #[test]
    fn values_have_their_place() {
        assert_eq!(plot().at(0.0, 0.0), (100.0, 150.0));
        assert_eq!(plot().at(10.0, 5.0), (200.0, 100.0));
    }

    #[test]
    fn lines_are_cut_at_the_edges() {
        let plot = plot();
        let across = plot.inside(&[plot.at(-5.0, 5.0), plot.at(15.0, 5.0)]);
        assert_eq!(across, [vec![(100.0, 100.0), (200.0, 100.0)]]);
        let outside = plot.inside(&[plot.at(-5.0, -5.0), plot.at(15.0, -5.0)]);
        assert!(outside.is_empty());
        let corner = plot.inside(&[plot.at(5.0, 5.0), plot.at(5.0, 15.0), plot.at(6.0, 5.0)]);
        assert_eq!(corner.len(), 2);
        assert!(corner.iter().flatten().all(|point| plot.holds(*point)));
    }

    #[test]
    fn a_value_without_a_place_breaks_the_line() {
        let plot = plot();
        let broken = [plot.at(1.0, 1.0), plot.at(2.0, 2.0), plot.at(3.0, f64::NAN)];
        assert_eq!(plot.inside(&broken).concat().len(), 2);
    }
}
