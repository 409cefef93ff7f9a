//! What a result is made of.

use serde::Serialize;

use super::coverage;
use super::input::{Distribution, Evaluation};
use crate::reading::Reading;

/// A result with its combined standard uncertainty, and where that comes from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Budget {
    /// The result.
    pub value: f64,
    /// Combined standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom; infinite (null in JSON) where no contribution
    /// is doubted.
    pub degrees_of_freedom: f64,
    /// One entry for each input, in the order of the inputs.
    pub contributions: Vec<Contribution>,
}

/// What one input does to the result.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contribution {
    /// Name of the input.
    pub name: String,
    /// Unit of its value and uncertainty.
    pub unit: &'static str,
    /// Its value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// How that was evaluated.
    #[serde(rename = "type")]
    pub evaluation: Evaluation,
    /// What stands behind it.
    pub distribution: Distribution,
    /// Its degrees of freedom; infinite (null in JSON) for one that is not doubted.
    pub degrees_of_freedom: f64,
    /// ∂result/∂input.
    pub sensitivity: f64,
    /// |sensitivity| · u, in the unit of the result.
    pub u_contribution: f64,
    /// Share in the variance of the result, correlations included: all shares
    /// together are 1, and one that cancels others is below 0.
    pub share: f64,
}

/// An interval about a value that covers it with a stated probability.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Expanded {
    /// Expanded uncertainty U = k u.
    pub u: f64,
    /// Coverage factor.
    pub k: f64,
    /// Coverage probability.
    pub probability: f64,
}

impl Budget {
    /// Value and standard uncertainty.
    pub fn reading(&self) -> Reading {
        Reading::new(self.value, self.u)
    }

    /// Expanded uncertainty (JCGM 100, G.6.4) for a coverage probability between
    /// 0 and 1, from Student's t with the effective degrees of freedom.
    pub fn expanded(&self, probability: f64) -> Expanded {
        let k = coverage::factor(probability, self.degrees_of_freedom);
        Expanded { u: k * self.u, k, probability }
    }

    /// The contribution with the largest share, if there is any.
    pub fn largest(&self) -> Option<&Contribution> {
        self.contributions.iter().max_by(|a, b| a.share.total_cmp(&b.share))
    }
}
