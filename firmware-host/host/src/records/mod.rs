//! The records of a park or club: one SQLite file of entries that are made once and
//! never changed. `schema/0001_entries.sql` says what stands in it.
//!
//! - [`Records`] is an open file: [`Records::create`], [`Records::open`] to enter,
//!   [`Records::open_to_read`] to look things up, also where nothing can be written;
//! - [`entries`] has what entries say, [`reading`] looks them up, [`entering`] makes
//!   them, all of one command or none; [`naming`] knows units by their names, [`files`]
//!   captures, calibrations and stations by their content, [`values`] the numbers kept;
//! - [`book`] is what a command that measures enters by itself;
//! - [`correcting`] makes one entry take the place of another, [`checking`] tells
//!   whether file and captures are whole, [`salvage`] saves what can be read of a file
//!   that is not;
//! - [`schema`] brings older files up to date, [`trouble`] explains what SQLite says.

pub mod book;
pub mod checking;
pub mod correcting;
mod digest;
pub mod entering;
pub mod entries;
pub mod files;
pub mod listing;
pub mod naming;
mod opening;
pub mod reading;
pub mod salvage;
mod schema;
#[cfg(test)]
mod tests;
mod trouble;
pub mod values;

pub use entering::{Entering, Stamp};
pub use entries::{
    Calibration, Capture, Decided, Decision, EntryId, Event, EventKind, Judged, Kind, Measurement,
    MeasurementKind, Station, Unit, Verification, Withdrawal,
};
pub use files::{CaptureFile, GivenStation};
pub use opening::Records;
pub use reading::{Entry, KnownUnit, Point, Wanted};
