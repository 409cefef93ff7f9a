//! A mean whose uncertainty rests on scatter and on theory.

use crate::line::Line;
use crate::reading::Reading;

/// Observations that the theoretical variance counts for.
pub(super) const PRIOR: f64 = 4.0;

/// A weighted mean (or line) with the theoretical variance of its entries.
///
/// The scatter of the entries is joined by what noise theory says of them with the
/// weight of a few observations, so that a handful of entries that happen to agree
/// does not pretend to a precision it has not got.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Pooled {
    pub line: Line,
    /// Σ weight · theoretical variance.
    pub theory: f64,
}

impl Pooled {
    /// `u` from noise theory, `spread` what the entry is weighted by.
    pub(super) fn add(&mut self, x: f64, y: f64, u: f64, spread: f64) {
        let weight = 1.0 / (spread * spread);
        self.line.add(x, y, weight);
        self.theory += weight * u * u;
    }

    pub(super) fn merge(&mut self, other: &Self) {
        self.line.merge(&other.line);
        self.theory += other.theory;
    }

    /// Variance of an observation of unit weight, from residuals about a fit
    /// with `parameters` unknowns and from theory.
    fn unit_variance(&self, residual: f64, parameters: f64) -> f64 {
        let n = self.line.count;
        let freedom = (n - parameters).max(0.0);
        let scatter = if freedom > 0.0 { residual } else { 0.0 };
        (PRIOR * self.theory / n + scatter) / (PRIOR + freedom)
    }

    /// Mean with its standard uncertainty, a linear trend taken out of the scatter.
    pub(super) fn mean(&self) -> Reading {
        let variance = self.unit_variance(self.line.residual(), 2.0);
        Reading::new(self.line.mean(), (variance / self.line.weight()).sqrt())
    }

    /// The fitted line at `x` with its standard uncertainty.
    pub(super) fn at(&self, x: f64) -> Reading {
        let (mean, slope) = (self.mean(), self.slope());
        let away = x - self.line.middle();
        // One entry alone has no slope, and need not have one.
        let u = if self.line.spread() > 0.0 { mean.u.hypot(slope.u * away) } else { mean.u };
        Reading::new(self.line.at(x), u)
    }

    /// Slope over x with its standard uncertainty.
    pub(super) fn slope(&self) -> Reading {
        let variance = self.unit_variance(self.line.residual(), 2.0);
        let spread = self.line.spread();
        let u = if spread > 0.0 { (variance / spread).sqrt() } else { f64::MAX };
        Reading::new(self.line.slope(), u)
    }
}
