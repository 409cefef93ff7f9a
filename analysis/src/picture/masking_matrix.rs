//! Every pair of a station's units: how long they stay on top of each other, and how
//! many of their pulses meet.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::{Align, Canvas, Point, text_width};
use super::drawing::{Picture, PictureError};
use super::labels::fitted;
use super::style::{Stroke, colour, mixed, size};
use crate::plan::{Between, Masking};
use crate::units;

const CELL: f64 = 64.0;
const MARGIN: f64 = 18.0;
const TOP: f64 = 104.0;
const FOOT: f64 = 92.0;
/// What the two halves show.
const HEADS: [&str; 2] = [
    "Upper right: longest time for which every pulse of one is met by the other.",
    "Lower left: share of the pulses of the unit of the row that the other’s meet.",
];
/// Stretches from which on a cell has its darkest shade, s.
const LONG_S: f64 = 120.0;
const DARK: RGBColor = RGBColor(222, 120, 60);
const APART: RGBColor = RGBColor(238, 238, 238);

/// The picture.
pub struct MaskingMatrix<'a> {
    /// Name of the station.
    pub station: &'a str,
    /// What masks what.
    pub masking: &'a Masking,
}

impl Picture for MaskingMatrix<'_> {
    fn size(&self) -> (u32, u32) {
        let side = CELL * self.names().len() as f64;
        let letters = HEADS.iter().map(|text| text_width(text, size::TICK)).fold(0.0, f64::max);
        let width = (self.left() + side).max(MARGIN + letters) + MARGIN;
        (width as u32, (TOP + side + FOOT) as u32)
    }

    fn title(&self) -> String {
        format!("{}: which units mask each other", self.station)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let names = self.names();
        let left = self.left();
        let title = (MARGIN, MARGIN + 0.8 * size::TITLE);
        canvas.bold(&self.title(), title, Align::Left, size::TITLE, colour::INK)?;
        for (line, text) in HEADS.iter().enumerate() {
            let at = (MARGIN, 52.0 + 16.0 * line as f64);
            canvas.text(text, at, Align::Left, size::TICK, colour::INK)?;
        }
        for (row, name) in names.iter().enumerate() {
            let middle = TOP + (row as f64 + 0.5) * CELL;
            let at = (left - 8.0, middle + 0.36 * size::LABEL);
            canvas.text(name, at, Align::Right, size::LABEL, colour::INK)?;
            let at = (left + (row as f64 + 0.5) * CELL, TOP - 8.0);
            let short = fitted(name, size::TICK, CELL - 4.0);
            canvas.text(&short, at, Align::Centre, size::TICK, colour::INK)?;
        }
        for row in 0..names.len() {
            for column in 0..names.len() {
                let corner = (left + column as f64 * CELL, TOP + row as f64 * CELL);
                self.cell(canvas, corner, (&names[row], &names[column]), row < column)?;
            }
        }
        let bottom = TOP + CELL * names.len() as f64;
        for (line, text) in self.notes().iter().enumerate() {
            let at = (MARGIN, bottom + 26.0 + 16.0 * line as f64);
            canvas.text(text, at, Align::Left, size::NOTE, colour::FAINT_INK)?;
        }
        Ok(())
    }
}

impl MaskingMatrix<'_> {
    fn names(&self) -> Vec<String> {
        self.masking.units.iter().map(|unit| unit.name.clone()).collect()
    }

    fn left(&self) -> f64 {
        let widths = self.masking.units.iter().map(|unit| text_width(&unit.name, size::LABEL));
        MARGIN + widths.fold(0.0, f64::max) + 12.0
    }

    fn notes(&self) -> [String; 3] {
        [
            format!(
                "Grey: never heard together, from {} on. Darkest: two minutes or more.",
                units::field(self.masking.threshold_a_per_m)
            ),
            format!(
                "Two or more of all units send at once for {} % of the time.",
                units::significant(100.0 * self.masking.share_of_time, 2)
            ),
            "Stretches are the longest that any way of switching the units on brings.".to_owned(),
        ]
    }

    /// The pair, and which of its units is the first of the two names.
    fn pair(&self, own: &str, other: &str) -> Option<(&Between, usize)> {
        let found = |pair: &&Between| pair.units.iter().all(|name| name == own || name == other);
        let pair = self.masking.pairs.iter().find(found)?;
        Some((pair, usize::from(pair.units[0] != own)))
    }

    fn cell<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        (left, top): Point,
        (own, other): (&str, &str),
        upper: bool,
    ) -> Result<(), PictureError> {
        let corners =
            [(left, top), (left + CELL, top), (left + CELL, top + CELL), (left, top + CELL)];
        if let Some((pair, which)) = self.pair(own, other).filter(|_| own != other) {
            let longest_s = pair.longest_s.unwrap_or(f64::INFINITY);
            let (share, text) = match upper {
                true => {
                    let text = pair.longest_s.map_or("always".to_owned(), units::duration);
                    ((longest_s / LONG_S).clamp(0.0, 1.0).sqrt(), text)
                }
                false => {
                    let met = pair.share_of_pulses[which];
                    (met, format!("{} %", units::significant(100.0 * met, 2)))
                }
            };
            let shade = if pair.heard_together { mixed(colour::WHITE, DARK, share) } else { APART };
            canvas.rectangle(corners[0], corners[2], shade, 1.0)?;
            let ink = if pair.heard_together { colour::INK } else { colour::FAINT_INK };
            let letters = if text_width(&text, size::TICK) > CELL - 6.0 {
                size::NOTE - 1.5
            } else {
                size::TICK
            };
            let at = (left + CELL / 2.0, top + CELL / 2.0 + 0.36 * letters);
            canvas.text(&text, at, Align::Centre, letters, ink)?;
        } else {
            let line = [(left, top), (left + CELL, top + CELL)];
            canvas.line(&line, Stroke::solid(colour::GRID, 1.0))?;
        }
        canvas.outline(&corners, Stroke::solid(colour::GRID, 1.0))
    }
}
