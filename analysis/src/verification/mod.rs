//! A unit against a set of limits.
//!
//! ```text
//! transmitter, calibration ─ heard ─▶ budgets of carrier, times, residual carrier
//!            + setup ─ field ───────▶ budget of the field at the limit's distance
//!                                            │ limits, rule
//!                                         judge ─▶ decision of each quantity, verdict
//! ```
//!
//! * [`Heard`] is one unit as one capture has it; [`Setup`] says how unit and
//!   receiver stood. From them every judged quantity gets its
//!   [budget](crate::uncertainty::Budget) through the formula that makes it.
//! * [`verify`] asks [`conformity`](crate::conformity) for each bound of a set, and
//!   `advice` says what would settle what stays undecided. What lacks a
//!   calibration is not judged, and a unit with a bound that was not judged does not
//!   conform by that set; nothing is guessed.
//! * [`as_measured`] takes apart what a measurement alone states.
//! * [`behaviour`] looks for what no limit forbids and experience fears, and
//!   [`temperature`] for a carrier that leaves its band in the cold.

mod advice;
pub mod as_measured;
pub mod behaviour;
mod detail;
mod field;
mod heard;
mod judge;
mod setup;
pub mod temperature;
mod tilt;

pub use advice::UNTIL_DECIDED;
pub use detail::CalibrationDetail;
pub use field::field_at;
pub use heard::{Heard, NotJudged};
pub use judge::{Judged, JudgedQuantity, Verification, verify};
pub use setup::{Placement, Setup, SetupError};

/// Names of the contributions, by which advice knows them.
pub mod contribution {
    /// Noise, and what varies from pulse to pulse.
    pub const SIGNAL: &str = "noise and repeatability";
    /// The receiver's clock.
    pub const CLOCK: &str = "receiver's clock";
    /// Of the carrier, from the first to the last second.
    pub const DRIFT: &str = "drift over the capture";
    /// Where a pulse is taken to begin and to end.
    pub const EDGES: &str = "placement of the edges";
    /// The field calibration of each axis begins so.
    pub const CALIBRATION: &str = "calibration";
    /// The angle between two coils begins so.
    pub const ANGLE: &str = "angle of the coils";
    /// Between the antennas.
    pub const DISTANCE: &str = "distance";
    /// Of the antennas to the line between them.
    pub const ORIENTATION: &str = "orientation";
    /// That antennas are no points.
    pub const ANTENNAS: &str = "size of the antennas";
    /// Currents in the ground.
    pub const GROUND: &str = "ground";
    /// What else conducts nearby.
    pub const SURROUNDINGS: &str = "surroundings";
}
