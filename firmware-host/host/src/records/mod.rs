//! The records of a park or club: one SQLite file of entries that are made once and
//! never changed. `schema/0001_entries.sql` says what stands in it.
//!
//! - [`Records`] is an open file: [`Records::create`], [`Records::open`] to enter,
//!   [`Records::open_to_read`] to look things up, also where nothing can be written;
//! - [`entries`] has what entries say, [`reading`] looks them up, [`entering`] makes
//!   them, all of one command or none;
//! - [`schema`] brings older files up to date, [`trouble`] explains what SQLite says;

pub mod entering;
pub mod entries;
mod opening;
pub mod reading;
mod schema;
#[cfg(test)]
mod tests;
mod trouble;

pub use entering::{Entering, Stamp};
pub use entries::{
    Calibration, Capture, Decided, Decision, EntryId, Event, EventKind, Judged, Kind, Measurement,
    MeasurementKind, Station, Unit, Verification, Withdrawal,
};
pub use opening::Records;
pub use reading::{Entry, KnownUnit, Point, Wanted};
