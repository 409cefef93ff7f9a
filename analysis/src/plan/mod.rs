//! What a station will do to those who train on it.
//!
//! [`masking`] needs the timing of the units alone. All else needs the field of each
//! unit over the snow ([`FieldOverSnow`]): the map of it ([`FieldMap`]), where a walk
//! in [`lanes`] first hears each unit and where its field leads from there ([`walk`]),
//! and where above it a receiver reads most ([`maxima`]). [`Plan`] is all of it, of the
//! units as planned or, where they have been, as measured ([`with_measured`]).

mod above;
mod analysis;
mod extent;
mod field_map;
mod field_over_snow;
mod first_heard;
mod lanes;
mod masking;
mod maxima;
mod measured;
mod radial;
mod search_path;
mod snow;
#[cfg(test)]
mod testing;

pub use above::{Above, ON_THE_SNOW_M, above, on_the_snow};
pub use analysis::{Options, Plan, PlanError};
pub use extent::extent;
pub use field_map::{FieldMap, Shares, UnitShares};
pub use field_over_snow::{FieldOverSnow, Space};
pub use first_heard::{FirstHeard, FirstHeardSummary, Walk, walk};
pub use lanes::{Lanes, Way, lanes};
pub use masking::{Between, Masking, OfUnit, SpareUsed, masking};
pub use maxima::{Maxima, Maximum, Reception, maxima, strength};
pub use measured::{Measured, MeasuredError, Replaced, units_measured, with_measured};
pub use search_path::{End, SLOW_SEARCH_M, SearchPath, search_path};
pub use snow::{Laid, Snow, distance_m};
