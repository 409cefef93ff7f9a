//! What happens in a survey. The events in their order are its journal.

use serde::{Deserialize, Serialize};

use super::distance::Distance;
use super::kind::Kind;
use super::plan::Plan;
use super::surveyed::Surveyed;

/// What a survey is set up with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "")]
pub struct Setup<K: Kind = Distance> {
    /// Where readings are to be taken.
    pub plan: Plan<K>,
    /// What it goes over.
    #[serde(flatten)]
    pub kind: K,
    /// The surveyed unit is the one with the carrier nearest to this; without it,
    /// the strongest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carrier_hz: Option<f64>,
}

/// A measurement at a point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "")]
pub struct Taken<K: Kind = Distance> {
    /// Number of the point.
    pub point: usize,
    /// Name of the capture that was measured.
    pub capture: String,
    /// What was read. Its u is independent from reading to reading: noise, and the
    /// uncertainty of the stated place.
    pub reading: K::Reading,
    /// Relative standard uncertainty of the calibration, which all readings share
    /// and which is not in the reading's own.
    pub u_calibration_rel: f64,
    /// The transmitter it is of.
    pub surveyed: Surveyed,
}

/// One step of a survey.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "", tag = "event", rename_all = "snake_case")]
pub enum Event<K: Kind = Distance> {
    /// A point was measured. The reading is now in hand.
    Taken(Taken<K>),
    /// The reading in hand counts.
    Kept {
        /// Number of the reading.
        reading: usize,
    },
    /// The reading does not count, and its point is left without one.
    Dropped {
        /// Number of the reading.
        reading: usize,
    },
    /// The reading does not count, and its point is to be taken again.
    Repeated {
        /// Number of the reading.
        reading: usize,
    },
    /// A point is left without a reading.
    Skipped {
        /// Number of the point.
        point: usize,
    },
    /// A point that was left is due after all.
    Reopened {
        /// Number of the point.
        point: usize,
    },
}
