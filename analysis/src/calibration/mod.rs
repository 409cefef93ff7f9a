//! From reference measurements to what a receiver's counts mean.
//!
//! * [`rotation`]: the coils against each other, from turns in a steady field.
mod ellipsoid;
pub mod rotation;
