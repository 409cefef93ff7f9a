//! Captures: SigMF recordings of receiver samples.

pub mod meta;
