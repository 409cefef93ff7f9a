//! Magnetic fields of sources, one source a file, and of the ground they lie in.
//!
//! Every function takes SI units and gives H in A/m. RMS moments and currents
//! give RMS fields.

pub mod circular_loop;
pub mod constants;
pub mod dipole;
pub(crate) mod gauss;
pub mod layered;
pub mod lines;
pub mod medium;
pub mod solenoid;
