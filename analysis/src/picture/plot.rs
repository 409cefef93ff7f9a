//! A rectangle with two axes, and what can be put on it by value.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::axis::Axis;
use super::canvas::{Align, Canvas, Point, text_width};
use super::drawing::PictureError;
use super::legend::Legend;
use super::style::{Mark, Stroke, colour, size};
use crate::units;

const MARGIN: f64 = 18.0;
/// Half the width of the caps of an error bar.
const CAP: f64 = 3.5;
const TITLE_LINE: f64 = MARGIN + 0.8 * size::TITLE;
const LEGEND_TOP: f64 = TITLE_LINE + 10.0;
const NOTE_ROW: f64 = 1.4 * size::NOTE;

/// Height that notes take.
fn foot(notes: &[String]) -> f64 {
    notes.len() as f64 * NOTE_ROW + if notes.is_empty() { 0.0 } else { 8.0 }
}

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
        size: (u32, u32),
        title: &str,
        legend: &Legend,
        (x, y): (Axis, Axis),
        notes: &[String],
    ) -> Result<Self, PictureError> {
        let plot = Self::placed(size, legend, (x, y), notes);
        let (width, height) = (f64::from(size.0), f64::from(size.1));
        canvas.bold(title, (MARGIN, TITLE_LINE), Align::Left, size::TITLE, colour::INK)?;
        legend.draw(canvas, (MARGIN, LEGEND_TOP), width - 2.0 * MARGIN)?;
        plot.draw_axes(canvas)?;
        let first = height - MARGIN - foot(notes) + 8.0 + 0.8 * size::NOTE;
        for (number, note) in notes.iter().enumerate() {
            let at = (MARGIN, first + number as f64 * NOTE_ROW);
            canvas.text(note, at, Align::Left, size::NOTE, colour::FAINT_INK)?;
        }
        Ok(plot)
    }

    /// Axes over at least these ranges for a chart of `size` points on which a
    /// metre is as long across as up: the range with room left is widened.
    pub fn axes_to_scale(
        size: (u32, u32),
        legend: &Legend,
        (mut x, mut y): ((f64, f64), (f64, f64)),
        names: (&str, &str),
        notes: &[String],
    ) -> (Axis, Axis) {
        let axes = |x: (f64, f64), y: (f64, f64)| {
            let axis = |(from, to): (f64, f64), name: &str| {
                let count = ((to - from).round() as usize).clamp(4, 10);
                Axis::linear(from, to, name, count, |v| units::significant(v, 3))
            };
            (axis(x, names.0), axis(y, names.1))
        };
        // Twice, since other labels leave another width.
        for _ in 0..2 {
            let plot = Self::placed(size, legend, axes(x, y), notes);
            let (wide, high) = (plot.right - plot.left, plot.bottom - plot.top);
            let scale = (wide / (x.1 - x.0)).min(high / (y.1 - y.0));
            let widened = |(from, to): (f64, f64), length: f64| {
                let more = (length / scale - (to - from)) / 2.0;
                (from - more, to + more)
            };
            (x, y) = (widened(x, wide), widened(y, high));
        }
        axes(x, y)
    }

    /// A plotting area between two corners of the canvas, nothing drawn round it.
    pub fn between((left, top): Point, (right, bottom): Point, (x, y): (Axis, Axis)) -> Self {
        Self { x, y, left, top, right, bottom }
    }

    fn placed(
        (width, height): (u32, u32),
        legend: &Legend,
        (x, y): (Axis, Axis),
        notes: &[String],
    ) -> Self {
        let (width, height) = (f64::from(width), f64::from(height));
        let widest = |axis: &Axis| {
            let labels = axis.ticks.iter().filter_map(|t| t.label.as_deref());
            labels.map(|l| text_width(l, size::TICK)).fold(0.0, f64::max)
        };
        Self {
            left: MARGIN + 1.6 * size::LABEL + widest(&y) + 10.0,
            top: LEGEND_TOP + legend.height(width - 2.0 * MARGIN) + 10.0,
            right: width - MARGIN - 0.3 * widest(&x),
            bottom: height - MARGIN - foot(notes) - 1.4 * size::LABEL - 1.8 * size::TICK,
            x,
            y,
        }
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

    /// A single value, without a bar.
    pub fn mark<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        (x, y): (f64, f64),
        mark: Mark,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        let at = self.at(x, y);
        if self.holds(at) { canvas.mark(at, mark, colour) } else { Ok(()) }
    }

    /// A filled rectangle between two pairs of values, cut off at the edges.
    pub fn rectangle<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        low: (f64, f64),
        high: (f64, f64),
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        let within =
            |(x, y): Point| (x.clamp(self.left, self.right), y.clamp(self.top, self.bottom));
        let (low, high) = (within(self.at(low.0, low.1)), within(self.at(high.0, high.1)));
        match low.0 < high.0 && high.1 < low.1 {
            true => canvas.rectangle((low.0, high.1), (high.0, low.1), colour, 1.0),
            false => Ok(()),
        }
    }

    /// The line round the plotting area, for what would cover it.
    pub fn frame<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let corners = [
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
        ];
        canvas.outline(&corners, Stroke::solid(colour::INK, 1.2))
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
        self.frame(canvas)?;
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
    fn to_scale_a_metre_is_as_long_across_as_up() {
        for ranges in [((-4.0, 4.0), (-2.0, 1.0)), ((0.0, 1.0), (0.0, 9.0))] {
            let (size, legend) = ((900, 600), Legend::new());
            let (x, y) = Plot::axes_to_scale(size, &legend, ranges, ("x (m)", "y (m)"), &[]);
            assert!(x.from <= ranges.0.0 + 1e-9 && y.to >= ranges.1.1 - 1e-9);
            let plot = Plot::placed(size, &legend, (x, y), &[]);
            let (origin, there) = (plot.at(0.0, 0.0), plot.at(1.0, 1.0));
            let ratio = (there.0 - origin.0) / (origin.1 - there.1);
            assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
        }
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
