//! Captures: SigMF recordings of receiver samples.

pub mod meta;
pub mod reader;
pub mod writer;
