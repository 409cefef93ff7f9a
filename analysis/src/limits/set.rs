//! A set of bounds, checked.

use std::fmt;

use serde::Serialize;

/// What a bound is for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quantity {
    /// Carrier frequency, Hz.
    Carrier,
    /// Time on, s.
    OnTime,
    /// Time off, s.
    OffTime,
    /// Period, s.
    Period,
    /// RMS field on the axis of the antenna, A/m.
    Field {
        /// Distance from the antenna, m.
        distance_m: f64,
    },
    /// Carrier between the pulses over carrier on, amplitude ratio.
    ResidualCarrier,
}

impl Quantity {
    /// The word for it in files and in JSON.
    pub fn name(self) -> &'static str {
        match self {
            Self::Carrier => "carrier",
            Self::OnTime => "on-time",
            Self::OffTime => "off-time",
            Self::Period => "period",
            Self::Field { .. } => "field",
            Self::ResidualCarrier => "residual-carrier",
        }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OnTime => f.write_str("time on"),
            Self::OffTime => f.write_str("time off"),
            Self::Field { distance_m } => write!(f, "field at {distance_m} m"),
            Self::ResidualCarrier => f.write_str("residual carrier"),
            Self::Carrier | Self::Period => f.write_str(self.name()),
        }
    }
}

/// One bound, in SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// What it is for.
    pub quantity: Quantity,
    /// Least value allowed.
    pub lower: Option<f64>,
    /// Greatest value allowed.
    pub upper: Option<f64>,
    /// The document, and the place in it where that is known.
    pub source: String,
    /// Whether it is quoted from memory and wants checking.
    pub from_memory: bool,
}

/// The bounds of one document.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitSet {
    /// Short name, as on the command line.
    pub name: String,
    /// Name of the document.
    pub title: String,
    /// What a reader of a decision by this set must know.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Year from which units were made to it; absent for one that no unit is made to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub valid_from: Option<i32>,
    /// Last year in which they were.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<i32>,
    /// The bounds, no two for the same quantity.
    #[serde(skip)]
    pub bounds: Vec<Bound>,
}

impl LimitSet {
    /// The bound on a quantity.
    pub fn bound(&self, quantity: Quantity) -> Option<&Bound> {
        self.bounds.iter().find(|b| b.quantity == quantity)
    }
}
