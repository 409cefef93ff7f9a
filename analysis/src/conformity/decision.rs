//! One quantity and its limits.

use std::fmt;

use serde::Serialize;

use crate::uncertainty::{Budget, coverage};

/// Greatest probability of a wrong answer unless another is asked for.
///
/// A unit that wrongly conforms goes up a mountain: 5 %, the usual bargain between
/// buyer and seller, is much for that. Far less leaves most units near a limit
/// undecided, and a decision that never comes is passed over. At 2.5 % on the
/// side of each limit the decision is the one that anybody can see in the usual
/// 95 % interval, so that numbers and words on a sheet cannot contradict each other.
pub const DEFAULT_RISK: f64 = 0.025;

/// What is known of a quantity after measuring it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knowledge {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty, 0 or more.
    pub u: f64,
    /// Degrees of freedom of `u`, infinite where it is not doubted.
    pub degrees_of_freedom: f64,
}

impl From<&Budget> for Knowledge {
    fn from(budget: &Budget) -> Self {
        // Cut as for coverage factors, so that decision and interval agree.
        let degrees_of_freedom = coverage::whole(budget.degrees_of_freedom);
        Self { value: budget.value, u: budget.u, degrees_of_freedom }
    }
}

impl Knowledge {
    /// Probability that the quantity lies between the limits, each counted in
    /// (JCGM 106, eq. 7 for the normal case).
    pub fn probability_within(&self, lower: Option<f64>, upper: Option<f64>) -> f64 {
        self.probability_below(upper, 1.0) - self.probability_below(lower, 0.0)
    }

    /// Probability to lie below `limit`, `absent` without one.
    fn probability_below(&self, limit: Option<f64>, absent: f64) -> f64 {
        let Some(limit) = limit else { return absent };
        let away = limit - self.value;
        if self.u > 0.0 {
            return coverage::student_cdf(away / self.u, self.degrees_of_freedom);
        }
        // Known without doubt; exactly at a limit is within it.
        let below = if absent == 0.0 { away > 0.0 } else { away >= 0.0 };
        f64::from(u8::from(below))
    }
}

/// What is decided of a quantity or a unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Decision {
    /// Within its limits, the risk of a wrong answer being kept.
    #[serde(rename = "conforms")]
    Conforms,
    /// Neither can be said with the stated risk.
    #[serde(rename = "undecided")]
    Undecided,
    /// Outside its limits, the risk of a wrong answer being kept.
    #[serde(rename = "does not conform")]
    DoesNotConform,
}

impl fmt::Display for Decision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Conforms => "conforms",
            Self::Undecided => "undecided",
            Self::DoesNotConform => "does not conform",
        })
    }
}

/// The rule that decides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    risk: f64,
}

/// A risk that makes no rule.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("a risk of {0} makes no rule: it must lie within 0.0001 and 0.25")]
pub struct RuleError(pub f64);

impl Default for Rule {
    fn default() -> Self {
        Self { risk: DEFAULT_RISK }
    }
}

/// A quantity judged by its limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Assessment {
    /// What is decided.
    pub decision: Decision,
    /// Probability that the quantity lies within its limits.
    pub probability_of_conformity: f64,
}

impl Rule {
    /// The rule whose answers are wrong with a probability of at most `risk`.
    ///
    /// # Errors
    ///
    /// A risk below 0.0001, which no stated uncertainty is good for, or above
    /// 0.25, where a coin would do.
    pub fn new(risk: f64) -> Result<Self, RuleError> {
        if (1e-4..=0.25).contains(&risk) { Ok(Self { risk }) } else { Err(RuleError(risk)) }
    }

    /// Greatest probability of a wrong answer.
    pub fn risk(self) -> f64 {
        self.risk
    }

    /// Judge a quantity by its limits.
    pub fn assess(self, known: &Knowledge, lower: Option<f64>, upper: Option<f64>) -> Assessment {
        let probability_of_conformity = known.probability_within(lower, upper);
        let decision = self.decide(probability_of_conformity);
        Assessment { decision, probability_of_conformity }
    }

    /// The decision that a probability of conformity stands for. What is no
    /// number decides nothing.
    pub(super) fn decide(self, probability_of_conformity: f64) -> Decision {
        if probability_of_conformity >= 1.0 - self.risk {
            Decision::Conforms
        } else if probability_of_conformity <= self.risk {
            Decision::DoesNotConform
        } else {
            Decision::Undecided
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal(value: f64, u: f64) -> Knowledge {
        Knowledge { value, u, degrees_of_freedom: f64::INFINITY }
    }

    /// JCGM 106, 7.3, example (from memory): a Zener diode of −5.47 V ± 0.05 V that
    /// must stay below −5.40 V conforms with 92 %.
    #[test]
    fn zener_diode() {
        let p = normal(-5.47, 0.05).probability_within(None, Some(-5.40));
        assert!((p - 0.92).abs() < 0.005, "{p}");
    }

    /// JCGM 106, 7.4, example (from memory): oil of 13.6 mm²/s ± 1.8 mm²/s that must
    /// lie between 12.5 and 16.3 mm²/s conforms with 66 %.
    #[test]
    fn motor_oil() {
        let p = normal(13.6, 1.8).probability_within(Some(12.5), Some(16.3));
        assert!((p - 0.66).abs() < 0.005, "{p}");
    }

    /// The default rule is what the 95 % interval shows.
    #[test]
    fn decisions_are_those_of_the_interval() {
        for freedom in [3.0, 12.0, f64::INFINITY] {
            let u = 0.4;
            let wide = coverage::factor(0.95, freedom) * u;
            let judge = |value: f64| {
                let known = Knowledge { value, u, degrees_of_freedom: freedom };
                Rule::default().assess(&known, Some(10.0), Some(90.0)).decision
            };
            assert_eq!(judge(10.0 + 1.001 * wide), Decision::Conforms);
            assert_eq!(judge(10.0 + 0.999 * wide), Decision::Undecided);
            assert_eq!(judge(10.0 - 0.999 * wide), Decision::Undecided);
            assert_eq!(judge(10.0 - 1.001 * wide), Decision::DoesNotConform);
            assert_eq!(judge(90.0 - 1.001 * wide), Decision::Conforms);
            assert_eq!(judge(90.0 + 1.001 * wide), Decision::DoesNotConform);
        }
    }

    #[test]
    fn an_uncertainty_wider_than_the_limits_never_conforms() {
        let known = normal(0.0, 2.0);
        assert_eq!(
            Rule::default().assess(&known, Some(-1.0), Some(1.0)).decision,
            Decision::Undecided
        );
    }

    #[test]
    fn without_doubt_the_limit_itself_is_within() {
        let rule = Rule::default();
        let judge = |value| rule.assess(&normal(value, 0.0), Some(1.0), Some(2.0)).decision;
        assert_eq!(judge(1.0), Decision::Conforms);
        assert_eq!(judge(2.0), Decision::Conforms);
        assert_eq!(judge(2.0 + 1e-12), Decision::DoesNotConform);
        assert_eq!(judge(1.0 - 1e-12), Decision::DoesNotConform);
    }

    #[test]
    fn no_number_decides_nothing() {
        let known = normal(f64::NAN, 0.1);
        assert_eq!(Rule::default().assess(&known, Some(0.0), None).decision, Decision::Undecided);
        assert!(Rule::new(0.0).is_err() && Rule::new(0.3).is_err() && Rule::new(f64::NAN).is_err());
    }
}
