//! From captures to verified units.
//!
//! * [`examine`](examined::examine) measures one capture and picks the unit in it;
//! * [`UnitVerified`] is a unit with all its captures, judged.

pub mod examined;
pub mod identity;
pub mod unit;

pub use examined::{Examined, choose, examine};
pub use identity::Identity;
pub use unit::{Terms, UnitVerified, Unjudged};
