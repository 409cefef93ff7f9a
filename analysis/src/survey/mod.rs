//! A survey of field over distance, over angle, or over a grid, point by point.
//!
//! ```text
//! plan ─▶ next point ─▶ (record, measure) ─▶ reading in hand ─▶ kept, dropped or taken again ─▶ readings
//!                                             compared with the fit so far
//! ```
//!
//! Nothing here waits, reads or writes: whoever drives a survey asks
//! [`Survey::next`] what is due, does it, and tells of it by an [`Event`]. The
//! events in their order are the journal of the survey. Replaying them gives
//! the same survey, and none of them takes an earlier one back: a reading that
//! was dropped is still there as dropped.
//!
//! Points and readings have numbers that count from 1. What differs between
//! surveys stands in their [`Kind`]: [`Distance`], [`Angle`], [`Grid`].

mod angle;
mod comparison;
mod distance;
mod event;
mod grid;
mod kind;
mod plan;
mod state;
mod surveyed;

pub use angle::{Angle, Bearing, BesideLaw};
pub use comparison::Comparison;
pub use distance::{Distance, Order, Point, parse_point};
pub use event::{Event, Setup, Taken};
pub use grid::{Grid, Place, PlaceReading, Rectangle, Way, line};
pub use kind::{Components, Heard, Kind};
pub use plan::{Plan, PlanError};
pub use state::{Kept, PointState, Refused, Standing, Step, Survey, TakeError};
pub use surveyed::{CARRIER_TOLERANCE_HZ, NotTaken, PERIOD_TOLERANCE_REL, Surveyed, choose};
