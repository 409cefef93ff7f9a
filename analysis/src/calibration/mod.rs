//! From reference measurements to what a receiver's counts mean.
//!
//! * [`signal`]: the reference signal of a capture, a unit's pulses or a steady
//!   [`carrier`], in counts.
//! * [`source`]: a loop or a Helmholtz pair as field standard; [`scale`]: field per
//!   count from repeats in its field.
//! * [`rotation`]: the coils against each other, from turns in a steady field.
//! * [`assembly`]: all axes of a gain step from both.
//! * [`clock`]: the receiver's clock against a carrier of known frequency.
//! * [`noise`]: the floor with nothing on; [`detection`]: what a pulse needs to be
//!   found over it.

pub mod assembly;
pub mod carrier;
pub mod clock;
pub mod detection;
mod ellipsoid;
pub mod noise;
pub mod rotation;
pub mod scale;
pub mod signal;
pub mod slow;
pub mod source;
mod spectrum;
