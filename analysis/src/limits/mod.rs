//! Published limits, each with its source.
//!
//! A [`LimitSet`] is the bounds of one document, read from TOML. Those of the
//! standards are compiled in ([`published`]); a user's own file has the same form:
//!
//! ```toml
//! format = "coilrig-limits/1"
//! name = "my-club"                  # as it stands in results
//! title = "Rental rack of the club"
//! note = "stricter than the standard"   # optional
//!
//! [[bound]]
//! quantity = "carrier"              # carrier, on-time, off-time, period, field, residual-carrier
//! unit = "Hz"                       # Hz kHz | s ms | A/m mA/m µA/m nA/m dBµA/m | 1 %
//! lower = 456950                    # one of them, or both
//! upper = 457050
//! source = "decided in 2026"
//! from_memory = false               # optional: quoted from memory, wants checking
//!
//! [[bound]]
//! quantity = "field"                # RMS, coaxial
//! distance_m = 10                   # for the field only
//! unit = "µA/m"
//! lower = 0.6
//! source = "decided in 2026"
//! ```
//!
//! A bound on the field is one on the strongest field at its distance, that on the
//! axis of the unit's antenna.

mod field;
mod file;
pub mod published;
mod set;

pub use field::{FieldLimit, GREATEST_FIELD_AT_10_M, LEAST_FIELD_AT_10_M, RECEIVER_THRESHOLD};
pub use file::{FORMAT, LimitsError};
pub use set::{Bound, LimitSet, Quantity};
