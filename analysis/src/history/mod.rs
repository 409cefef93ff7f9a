//! What the measurements of a unit say over months and years.
//!
//! [`trend()`] takes the readings of one quantity of one unit ([`Point`]), makes visits
//! of them, and fits a straight line with steps: where something was done to the unit
//! ([`Event`]) or where the visits themselves show one ([`steps`](crate::history::Step)).
//! What the stated uncertainties leave unexplained counts as scatter between visits, so
//! that a drift is held against what visits really agree to. [`leaving`] says when the
//! line passes a limit, as an interval; [`due`] what is to be done again when.
//!
//! Times are seconds since any epoch; nothing here knows what day it is.

mod due;
mod followed;
mod forecast;
mod quantity;
mod regression;
mod scatter;
mod series;
mod standing;
mod steps;
mod trend;
mod visits;

pub use due::{Due, due};
pub use followed::{Change, Followed, follow};
pub use forecast::{CONFIDENCE, Forecast, Leaving, REACH, Side, leaving};
pub use quantity::{TRACKED, Tracked};
pub use series::{Event, EventKind, Point};
pub use standing::{Standing, standing, worse_first};
pub use steps::FALSE_ALARMS;
pub use trend::{LEAST_VISITS, SURE, Step, Trend, trend};
pub use visits::{TOGETHER_S, Visit, visits};
