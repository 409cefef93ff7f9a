//! Calibrating a receiver from captures: which captures may serve, what they give,
//! and how it comes into the calibration file. And the other way: a calibration
//! put on a capture.

mod apply;
mod captures;
mod update;

pub use apply::{age_concerns, apply};
pub use captures::{Listened, Origin, listen, noise};
pub use update::{About, Update};
