//! A station: a training field and the practice transmitters buried in it, as an
//! operator has planned it.
//!
//! Places are in metres on the map, x east and y north from a point of the operator's
//! own, so that a tape measure is enough; the snow's surface is a plane through it.

mod doubts;
mod fault;
mod file;
mod map_plane;
mod model;

pub use doubts::Doubt;
pub use fault::StationError;
pub use file::FORMAT;
pub(crate) use file::{DEPTH_M, FIELD_AT_10_M_A_PER_M, ON_TIME_S, PERIOD_S, PLACE_M};
pub use map_plane::{Geographic, MapPlane};
pub use model::{Bounds, Lie, PlannedUnit, Slope, Spare, Station};
