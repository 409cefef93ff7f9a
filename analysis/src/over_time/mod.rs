//! Long recordings: what each transmitter does over the hours.
//!
//! [`Collector`] takes the pulses of an analysis as they come and keeps a row of
//! means for every stretch of some minutes; [`trend()`] finds the drift of such a
//! series and the places where it jumps, [`per_degree()`] what it does with temperature.

mod collector;
mod temperature;
mod trend;

pub use collector::{Collector, Row};
pub use temperature::{LEAST_SPAN_C, TemperatureCourse, per_degree};
pub use trend::{Jump, Point, Trend, median, trend};
