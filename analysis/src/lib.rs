//! What coilrig computes: signals, fields, fits and drawings.
//!
//! This crate does no input or output: it opens no file, socket or port, reads
//! no clock and prints nothing. Samples, numbers and configuration go in,
//! results and drawings come out, so every line of it can be tested with
//! nothing but values.
//!
//! Quantities are in SI base units and carry the unit in their name;
//! alternating fields are RMS values.

pub mod angle;
pub mod calibration;
pub mod conformity;
pub mod field;
pub mod history;
pub mod lesson;
pub mod level;
pub mod limits;
mod line;
pub mod live;
pub mod locate;
pub mod masking;
pub mod over_time;
pub mod picture;
pub mod plan;
pub mod range;
pub mod reading;
pub mod scenario;
pub mod signal;
pub mod station;
pub mod survey;
pub mod uncertainty;
pub mod units;
pub mod verification;
