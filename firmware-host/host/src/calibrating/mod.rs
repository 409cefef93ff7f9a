//! Calibrating a receiver.
//!
//! ```text
//! receiver ─ session, guide ─▶ captures ─▶ readings ─ (analysis) ─▶ update ─▶ file
//! ```
//!
//! Captures are recorded one after the other or given; either way the same code
//! listens to them. And the other way round: `apply` puts a calibration on a
//! capture.

mod apply;
mod captures;
mod guide;
mod session;
mod update;

pub use apply::{age_concerns, apply};
pub use captures::{Listened, Origin, listen, noise};
pub use guide::{How, Task, guide};
pub use session::{Session, Setup};
pub use update::{About, Update};
