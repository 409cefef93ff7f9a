//! A field over a plane: shades between contours, contours, and what each stands for.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, text_width};
use super::contour::{GridPoint, contour, round_levels};
use super::drawing::PictureError;
use super::labels::Taken;
use super::plot::Plot;
use super::style::{Stroke, colour, mixed, size};
use crate::units;

/// The weakest and the strongest field on a map.
const WEAK: RGBColor = RGBColor(247, 251, 255);
const STRONG: RGBColor = RGBColor(107, 160, 208);
/// Most contours that are still told apart.
const CONTOURS: usize = 16;

/// A contour: its field, its lines by places in the grid.
pub type Contour = (f64, Vec<Vec<GridPoint>>);

/// Magnitudes on a grid.
pub struct ContourMap<'a> {
    /// Values of the axis along the bottom by column.
    pub x: &'a [f64],
    /// Values of the axis along the left by row.
    pub y: &'a [f64],
    /// Fields by row and column, A/m, over zero.
    pub rows: &'a [Vec<f64>],
    /// Fields at which there are contours, in order.
    pub levels: Vec<f64>,
}

/// Round fields between two, no more of them than can be told apart.
pub fn levels(low: f64, high: f64) -> Vec<f64> {
    let levels = round_levels(low, high);
    let every = levels.len().div_ceil(CONTOURS).max(1);
    levels.into_iter().step_by(every).collect()
}

impl ContourMap<'_> {
    /// Values on the axes of a point of the grid.
    pub fn value(&self, i: f64, j: f64) -> (f64, f64) {
        let along = |values: &[f64], at: f64| {
            values[0] + at * (values[values.len() - 1] - values[0]) / (values.len() - 1) as f64
        };
        (along(self.x, i), along(self.y, j))
    }

    /// Cells between the same two contours in one shade, a run of them at a time.
    pub fn shades<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let band = |field: f64| self.levels.partition_point(|level| *level <= field);
        let of_cell = |i: usize, j: usize| {
            let (below, above) = (&self.rows[j], &self.rows[j + 1]);
            let corners = [below[i], below[i + 1], above[i], above[i + 1]];
            band((corners.iter().map(|h| h.ln()).sum::<f64>() / 4.0).exp())
        };
        self.cells(canvas, plot, of_cell, |band| {
            Some(mixed(WEAK, STRONG, *band as f64 / self.levels.len().max(1) as f64))
        })
    }

    /// Every cell in the colour of its kind, a run of them at a time.
    pub fn cells<DB: DrawingBackend, T: PartialEq>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        kind: impl Fn(usize, usize) -> T,
        colour: impl Fn(&T) -> Option<RGBColor>,
    ) -> Result<(), PictureError> {
        for j in 0..self.y.len() - 1 {
            let kinds: Vec<T> = (0..self.x.len() - 1).map(|i| kind(i, j)).collect();
            let mut from = 0;
            for run in kinds.chunk_by(|a, b| a == b) {
                let to = from + run.len();
                let (low, high) =
                    (self.value(from as f64, j as f64), self.value(to as f64, (j + 1) as f64));
                if let Some(colour) = colour(&run[0]) {
                    plot.rectangle(canvas, low, high, colour)?;
                }
                from = to;
            }
        }
        plot.frame(canvas)
    }

    /// All contours.
    pub fn contours(&self) -> Vec<Contour> {
        self.levels.iter().map(|level| (*level, contour(self.rows, *level))).collect()
    }

    /// Draw contours.
    pub fn draw<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        contours: &[Contour],
        stroke: Stroke,
    ) -> Result<(), PictureError> {
        for line in contours.iter().flat_map(|(_, lines)| lines) {
            plot.line(canvas, line.iter().map(|(i, j)| self.value(*i, *j)), stroke)?;
        }
        Ok(())
    }

    /// Each contour's field, where nothing else stands.
    pub fn label<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        contours: &[Contour],
        taken: &mut Taken,
    ) -> Result<(), PictureError> {
        for (level, lines) in contours {
            let text = units::field(*level);
            let half = text_width(&text, size::TICK) / 2.0 + 3.0;
            let places = lines.iter().flatten().map(|(i, j)| {
                let (x, y) = self.value(*i, *j);
                plot.at(x, y)
            });
            let free = places
                .map(|(x, y)| ((x - half, y - 8.0), (x + half, y + 8.0)))
                .find(|patch| plot.holds(patch.0) && plot.holds(patch.1) && taken.is_free(patch));
            if let Some((low, high)) = free {
                let at = ((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0 + 0.36 * size::TICK);
                canvas.label(&text, at, Align::Centre, size::TICK, colour::INK)?;
                taken.add((low, high));
            }
        }
        Ok(())
    }
}
