//! Magnetic fields of sources in free space, one source a file.
//!
//! Every function takes SI units and gives H in A/m. RMS moments and currents
//! give RMS fields.

pub mod circular_loop;
pub mod constants;
pub mod dipole;
pub mod lines;
pub mod medium;
