//! What a station will do to those who train on it.

mod masking;

pub use masking::{Between, Masking, OfUnit, masking};
