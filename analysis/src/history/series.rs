//! What goes in: readings at times, and what was done to the unit.

use crate::reading::Reading;

/// A reading of the quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When it was taken, s.
    pub at_s: f64,
    /// Value with its standard uncertainty.
    pub value: Reading,
    /// Temperature of the unit then, °C, where known.
    pub temperature_c: Option<f64>,
}

/// What was done to a unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// New batteries.
    Battery,
    /// Buried, or put in its place.
    Placed,
    /// Moved to another place.
    Moved,
    /// Repaired or adjusted.
    Serviced,
    /// Taken out of use.
    Retired,
}

impl EventKind {
    /// The kind of this name, as records have it.
    pub fn named(name: &str) -> Option<Self> {
        [Self::Battery, Self::Placed, Self::Moved, Self::Serviced, Self::Retired]
            .into_iter()
            .find(|kind| kind.name() == name)
    }

    /// Its name in records.
    pub fn name(self) -> &'static str {
        match self {
            Self::Battery => "battery",
            Self::Placed => "placed",
            Self::Moved => "moved",
            Self::Serviced => "serviced",
            Self::Retired => "retired",
        }
    }

    /// Whether the unit lies elsewhere afterwards.
    pub fn changes_place(self) -> bool {
        matches!(self, Self::Placed | Self::Moved)
    }
}

/// Something done to a unit at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// When, s.
    pub at_s: f64,
    /// What.
    pub kind: EventKind,
}
