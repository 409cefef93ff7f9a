//! Colours, dashes, marks and sizes that all charts share.
//!
//! Series differ by colour, by dash and by mark, so that a chart reads in grey
//! print and for every kind of colour vision.

use plotters::style::RGBColor;

/// Colours of M. Okabe and K. Ito, *Color Universal Design* (2008), told apart
/// with every common kind of colour vision.
pub mod colour {
    use plotters::style::RGBColor;

    /// Orange.
    pub const ORANGE: RGBColor = RGBColor(230, 159, 0);
    /// Sky blue.
    pub const SKY_BLUE: RGBColor = RGBColor(86, 180, 233);
    /// Bluish green.
    pub const GREEN: RGBColor = RGBColor(0, 158, 115);
    /// Blue.
    pub const BLUE: RGBColor = RGBColor(0, 114, 178);
    /// Vermilion.
    pub const VERMILION: RGBColor = RGBColor(213, 94, 0);
    /// Reddish purple.
    pub const PURPLE: RGBColor = RGBColor(204, 121, 167);
    /// Black.
    pub const BLACK: RGBColor = RGBColor(0, 0, 0);

    /// Text and frames.
    pub const INK: RGBColor = RGBColor(34, 34, 34);
    /// Lesser text.
    pub const FAINT_INK: RGBColor = RGBColor(95, 95, 95);
    /// Grid lines at labelled ticks.
    pub const GRID: RGBColor = RGBColor(205, 205, 205);
    /// Grid lines between.
    pub const FINE_GRID: RGBColor = RGBColor(235, 235, 235);
    /// Paper.
    pub const WHITE: RGBColor = RGBColor(255, 255, 255);
}

/// Letter heights (em), points.
pub mod size {
    /// Title of a chart.
    pub const TITLE: f64 = 17.0;
    /// Names of axes, legend.
    pub const LABEL: f64 = 13.0;
    /// Tick labels and labels inside the chart.
    pub const TICK: f64 = 12.0;
    /// Notes below the chart.
    pub const NOTE: f64 = 11.0;
}

/// A colour between two, at a share of the way from the first.
pub fn mixed(from: RGBColor, to: RGBColor, share: f64) -> RGBColor {
    let mix = |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
    RGBColor(mix(from.0, to.0), mix(from.1, to.1), mix(from.2, to.2))
}

/// Lengths drawn and left out in turn, points. Empty: drawn through.
pub type Dash = &'static [f64];

/// Drawn through.
pub const SOLID: Dash = &[];
/// Long dashes.
pub const DASHED: Dash = &[9.0, 5.0];
/// Dots.
pub const DOTTED: Dash = &[2.0, 4.0];
/// Dash and dot.
pub const DASH_DOT: Dash = &[9.0, 4.0, 2.0, 4.0];

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Colour.
    pub colour: RGBColor,
    /// Width, points.
    pub width: f64,
    /// Dash pattern.
    pub dash: Dash,
}

impl Stroke {
    /// A line drawn through.
    pub const fn solid(colour: RGBColor, width: f64) -> Self {
        Self { colour, width, dash: SOLID }
    }

    /// The same line in another dash.
    pub const fn dashed(self, dash: Dash) -> Self {
        Self { dash, ..self }
    }
}

/// Shape of the mark of a single value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Filled circle.
    Disc,
    /// Hollow square.
    Square,
    /// Filled triangle.
    Triangle,
    /// Hollow diamond.
    Diamond,
    /// Two crossed strokes.
    Cross,
}

/// Colour, dash and mark of one series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Series {
    /// Colour.
    pub colour: RGBColor,
    /// Dash of its line.
    pub dash: Dash,
    /// Mark of its values.
    pub mark: Mark,
}

impl Series {
    /// The line of this series.
    pub const fn stroke(&self) -> Stroke {
        Stroke { colour: self.colour, width: 2.0, dash: self.dash }
    }
}

/// Series in the order in which charts take them.
pub const SERIES: [Series; 5] = [
    Series { colour: colour::BLUE, dash: SOLID, mark: Mark::Disc },
    Series { colour: colour::VERMILION, dash: DASHED, mark: Mark::Square },
    Series { colour: colour::GREEN, dash: DASH_DOT, mark: Mark::Triangle },
    Series { colour: colour::PURPLE, dash: DOTTED, mark: Mark::Diamond },
    Series { colour: colour::ORANGE, dash: SOLID, mark: Mark::Cross },
];
