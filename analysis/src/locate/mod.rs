pub mod fit;
pub mod observation;
pub mod polarisation;
pub mod readings;
pub mod start;
pub mod surface;
#[cfg(test)]
mod testing;
