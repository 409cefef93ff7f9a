//! A measured quantity with its standard uncertainty.

use serde::{Deserialize, Serialize};

/// A value and its standard uncertainty `u` (coverage factor 1), both in the
/// unit that the name of the field holding the reading states (JCGM 100, 2.3.1).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty of `value`, never negative.
    pub u: f64,
}

impl Reading {
    /// A reading from its value and standard uncertainty.
    pub fn new(value: f64, u: f64) -> Self {
        Self { value, u }
    }

    /// The same reading in another unit: both value and uncertainty times `factor`.
    pub fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, u: self.u * factor.abs() }
    }

    /// Relative standard uncertainty; infinite for a value of zero.
    pub fn u_rel(self) -> f64 {
        self.u / self.value.abs()
    }

    /// The same with a part of its uncertainty taken out again, down to nothing.
    pub fn without(self, u_part: f64) -> Self {
        let variance = self.u * self.u - u_part * u_part;
        Self { value: self.value, u: variance.max(0.0).sqrt() }
    }
}
