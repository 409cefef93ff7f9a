//! A surface to draw on in points, whatever is behind it.
//!
//! The drawing library counts whole pixels. The canvas gives it
//! [`FINE`] of them per point, so that curves in SVG are smooth and PNGs can be
//! averaged down, and places letters by their base line, which the library's
//! back ends do each in their own way.

use plotters::coord::Shift;
use plotters::prelude::{DrawingArea, DrawingBackend, IntoFont, PathElement, Polygon, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontStyle, FontTransform, RGBColor, ShapeStyle, TextStyle};

use super::drawing::PictureError;
use super::font;
use super::style::{Mark, Stroke};

/// Pixels of the drawing library per point.
pub const FINE: u32 = 4;

/// A place on the canvas: points from the left, points from the top.
pub type Point = (f64, f64);

/// Which end of a text the point given is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// The text begins there.
    Left,
    /// The text is centred there.
    Centre,
    /// The text ends there.
    Right,
}

/// How a back end of the drawing library treats letters.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lettering {
    /// What it calls size, over the em.
    pub size_per_em: f64,
    /// From the point of a text anchored at the top to its base line, in em.
    pub base_line_em: f64,
}

impl Lettering {
    /// plotters-svg: font-size is size / 1.24, dy of a top anchor 0.76em.
    pub const SVG: Self = Self { size_per_em: 1.24, base_line_em: 0.76 };
    /// ab_glyph: size is the height of the font, the base line half of it down.
    pub const BITMAP: Self =
        Self { size_per_em: font::HEIGHT_PER_EM, base_line_em: font::HEIGHT_PER_EM / 2.0 };
}

/// A surface to draw on. All lengths are in points.
pub struct Canvas<'a, DB: DrawingBackend> {
    root: &'a DrawingArea<DB, Shift>,
    lettering: Lettering,
}

impl<'a, DB: DrawingBackend> Canvas<'a, DB> {
    pub(super) fn new(root: &'a DrawingArea<DB, Shift>, lettering: Lettering) -> Self {
        Self { root, lettering }
    }

    /// A line through `points`.
    pub fn line(&self, points: &[Point], stroke: Stroke) -> Result<(), PictureError> {
        let style = ShapeStyle {
            color: stroke.colour.to_rgba(),
            filled: false,
            stroke_width: fine(stroke.width).max(1) as u32,
        };
        for piece in dashes(points, stroke.dash) {
            let piece: Vec<_> = piece.into_iter().map(fine_point).collect();
            self.root.draw(&PathElement::new(piece, style)).map_err(PictureError::drawing)?;
        }
        Ok(())
    }

    /// The closed line round `corners`. Each side is a line of its own that
    /// reaches half its width past its corners: the library leaves the last side
    /// of a closed path out.
    pub fn outline(&self, corners: &[Point], stroke: Stroke) -> Result<(), PictureError> {
        for (i, from) in corners.iter().enumerate() {
            let to = corners[(i + 1) % corners.len()];
            let reach = 0.5 * stroke.width / (to.0 - from.0).hypot(to.1 - from.1);
            let (dx, dy) = (reach * (to.0 - from.0), reach * (to.1 - from.1));
            self.line(&[(from.0 - dx, from.1 - dy), (to.0 + dx, to.1 + dy)], stroke)?;
        }
        Ok(())
    }

    /// A filled area; `opacity` runs from 0 to 1.
    pub fn area(
        &self,
        points: &[Point],
        colour: RGBColor,
        opacity: f64,
    ) -> Result<(), PictureError> {
        let corners: Vec<_> = points.iter().copied().map(fine_point).collect();
        let style: ShapeStyle = colour.mix(opacity).filled();
        self.root.draw(&Polygon::new(corners, style)).map_err(PictureError::drawing)
    }

    /// A filled upright rectangle between two corners.
    pub fn rectangle(
        &self,
        (left, top): Point,
        (right, bottom): Point,
        colour: RGBColor,
        opacity: f64,
    ) -> Result<(), PictureError> {
        let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
        self.area(&corners, colour, opacity)
    }

    /// The mark of a single value.
    pub fn mark(&self, at: Point, mark: Mark, colour: RGBColor) -> Result<(), PictureError> {
        let around = |corners: &[Point]| -> Vec<Point> {
            corners.iter().map(|(x, y)| (at.0 + x, at.1 + y)).collect()
        };
        let hollow = |corners: &[Point]| {
            let corners = around(corners);
            self.area(&corners, super::style::colour::WHITE, 1.0)?;
            self.outline(&corners, Stroke::solid(colour, 1.8))
        };
        match mark {
            Mark::Disc => {
                let circle: Vec<_> = (0..32)
                    .map(|i| (i as f64 * std::f64::consts::TAU / 32.0).sin_cos())
                    .map(|(s, c)| (4.5 * c, 4.5 * s))
                    .collect();
                self.area(&around(&circle), colour, 1.0)
            }
            Mark::Square => hollow(&[(-4.0, -4.0), (4.0, -4.0), (4.0, 4.0), (-4.0, 4.0)]),
            Mark::Triangle => {
                self.area(&around(&[(0.0, -5.5), (5.0, 4.0), (-5.0, 4.0)]), colour, 1.0)
            }
            Mark::Diamond => hollow(&[(0.0, -5.5), (5.5, 0.0), (0.0, 5.5), (-5.5, 0.0)]),
            Mark::Cross => {
                let stroke = Stroke::solid(colour, 1.8);
                self.line(&around(&[(-4.0, -4.0), (4.0, 4.0)]), stroke)?;
                self.line(&around(&[(-4.0, 4.0), (4.0, -4.0)]), stroke)
            }
        }
    }

    /// A line of text of letter height `size` with its base line at `at`.
    pub fn text(
        &self,
        text: &str,
        at: Point,
        align: Align,
        size: f64,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        self.letters(text, at, align, size, colour, FontStyle::Normal, FontTransform::None)
    }

    /// The same in bold letters.
    pub fn bold(
        &self,
        text: &str,
        at: Point,
        align: Align,
        size: f64,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        self.letters(text, at, align, size, colour, FontStyle::Bold, FontTransform::None)
    }

    /// Text that runs upward, its base line at `at`.
    pub fn upward(
        &self,
        text: &str,
        at: Point,
        align: Align,
        size: f64,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        self.letters(text, at, align, size, colour, FontStyle::Normal, FontTransform::Rotate270)
    }

    /// Text on a patch of paper that keeps lines from running through it.
    pub fn label(
        &self,
        text: &str,
        at: Point,
        align: Align,
        size: f64,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        let width = text_width(text, size);
        let left = match align {
            Align::Left => at.0,
            Align::Centre => at.0 - width / 2.0,
            Align::Right => at.0 - width,
        };
        self.rectangle(
            (left - 2.0, at.1 - 0.85 * size),
            (left + width + 2.0, at.1 + 0.28 * size),
            super::style::colour::WHITE,
            0.95,
        )?;
        self.text(text, at, align, size, colour)
    }

    #[allow(clippy::too_many_arguments)]
    fn letters(
        &self,
        text: &str,
        (x, y): Point,
        align: Align,
        size: f64,
        colour: RGBColor,
        weight: FontStyle,
        turn: FontTransform,
    ) -> Result<(), PictureError> {
        let down = self.lettering.base_line_em * size;
        let at = match turn {
            FontTransform::Rotate270 => (x - down, y),
            _ => (x, y - down),
        };
        let h_pos = match align {
            Align::Left => HPos::Left,
            Align::Centre => HPos::Center,
            Align::Right => HPos::Right,
        };
        let font = (font::FAMILY, self.lettering.size_per_em * size * f64::from(FINE), weight)
            .into_font()
            .transform(turn);
        let style = TextStyle::from(font).color(&colour).pos(Pos::new(h_pos, VPos::Top));
        self.root
            .draw(&Text::new(text.to_owned(), fine_point(at), style))
            .map_err(PictureError::drawing)
    }
}

/// Width of a text, points.
pub fn text_width(text: &str, size: f64) -> f64 {
    let fine_size = size * font::HEIGHT_PER_EM * f64::from(FINE);
    let layout = font::ready().then(|| (font::FAMILY, fine_size).into_font().layout_box(text));
    // Without a font nothing is drawn; the width is then of no account.
    layout.and_then(Result::ok).map_or(0.0, |(_, (width, _))| f64::from(width) / f64::from(FINE))
}

fn fine(length: f64) -> i32 {
    (length * f64::from(FINE)).round() as i32
}

fn fine_point((x, y): Point) -> (i32, i32) {
    (fine(x), fine(y))
}

/// The pieces of a line that a dash pattern leaves.
fn dashes(points: &[Point], pattern: &[f64]) -> Vec<Vec<Point>> {
    if pattern.is_empty() || points.is_empty() {
        return vec![points.to_vec()];
    }
    let mut pieces = Vec::new();
    let mut piece = vec![points[0]];
    let (mut phase, mut left) = (0, pattern[0]);
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        let mut length = (to.0 - from.0).hypot(to.1 - from.1);
        while length > left {
            let part = left / length;
            from = (from.0 + part * (to.0 - from.0), from.1 + part * (to.1 - from.1));
            length -= left;
            piece.push(from);
            if phase % 2 == 0 {
                pieces.push(std::mem::take(&mut piece));
            }
            piece = vec![from];
            phase += 1;
            left = pattern[phase % pattern.len()];
        }
        left -= length;
        piece.push(to);
    }
    if phase % 2 == 0 {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_cover_their_share_of_the_line() {
        let bent = [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0)];
        let drawn: f64 = dashes(&bent, &[6.0, 4.0])
            .iter()
            .flat_map(|piece| piece.windows(2))
            .map(|pair| (pair[1].0 - pair[0].0).hypot(pair[1].1 - pair[0].1))
            .sum();
        assert!((drawn - 42.0).abs() < 1e-9, "{drawn}");
    }

    #[test]
    fn a_dash_bends_with_the_line() {
        let pieces = dashes(&[(0.0, 0.0), (3.0, 0.0), (3.0, 4.0)], &[5.0, 5.0]);
        assert_eq!(pieces, [vec![(0.0, 0.0), (3.0, 0.0), (3.0, 2.0)]]);
    }

    #[test]
    fn every_letter_that_charts_use_is_in_the_font() {
        // A letter not in the font takes the width of the box for missing ones.
        let missing = text_width("\u{4e2d}", 1000.0);
        for letter in "µΩθφλπ±×·√°−–—≤≥→←↑↓²³⁻¹₀äöüß€…".chars()
        {
            let width = text_width(&letter.to_string(), 1000.0);
            assert!(width > 0.0 && width != missing, "{letter}");
        }
    }
}
