//! `coilrig survey` as a whole program, with an emulated receiver that is carried
//! from point to point.

mod angle;
mod distance;
mod emulated;
mod field;
mod grid;
