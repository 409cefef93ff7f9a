//! From reference measurements to what a receiver's counts mean.
//!
//! * [`carrier`]: a steady reference carrier as the receiver gives it.
//! * [`rotation`]: the coils against each other, from turns in a steady field.

pub mod carrier;
mod ellipsoid;
pub mod rotation;
mod slow;
mod spectrum;
