//! Where a measured value must lie to be accepted.

use serde::Serialize;

use super::decision::Rule;
use crate::uncertainty::coverage;

/// Limits for measured values (JCGM 106, 8.3.2): those of the quantity, moved
/// inwards by the guard band.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Acceptance {
    /// Width of the guard band at each limit.
    pub guard_band: f64,
    /// Least measured value that conforms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<f64>,
    /// Greatest measured value that conforms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<f64>,
}

/// The acceptance limits under `rule` for a standard uncertainty `u` with
/// `degrees_of_freedom` (JCGM 106, 8.3.3: w = r u, with r from the risk).
///
/// Each limit is seen alone. Where both are closer together than some
/// eight standard uncertainties a value at the limits given here falls a little
/// short; the decision goes by the probability itself.
pub fn acceptance(
    rule: Rule,
    u: f64,
    degrees_of_freedom: f64,
    lower: Option<f64>,
    upper: Option<f64>,
) -> Acceptance {
    let guard_band = coverage::student_quantile(1.0 - rule.risk(), degrees_of_freedom) * u;
    Acceptance {
        guard_band,
        lower: lower.map(|l| l + guard_band),
        upper: upper.map(|l| l - guard_band),
    }
}

#[cfg(test)]
mod tests {
    use super::super::decision::{Decision, Knowledge};
    use super::*;

    /// JCGM 106, 8.3.3.2, example (from memory): a speed meter good to 2 % of the
    /// speed. To be 99.9 % sure that a limit of 100 km/h was broken the reading must
    /// be 107 km/h: the guard band, here outside the limit, is 7 km/h wide.
    #[test]
    fn speed_limit() {
        let rule = Rule::new(0.001).unwrap();
        // u = 0.02 v at the reading looked for.
        let mut reading = 100.0;
        for _ in 0..50 {
            reading =
                100.0 + acceptance(rule, 0.02 * reading, f64::INFINITY, None, None).guard_band;
        }
        assert!((reading - 107.0).abs() < 0.5, "{reading}");
        let known =
            |value: f64| Knowledge { value, u: 0.02 * value, degrees_of_freedom: f64::INFINITY };
        let judge = |value| rule.assess(&known(value), None, Some(100.0)).decision;
        assert_eq!(judge(1.001 * reading), Decision::DoesNotConform);
        assert_eq!(judge(0.999 * reading), Decision::Undecided);
    }

    #[test]
    fn values_at_the_acceptance_limits_just_conform() {
        let rule = Rule::default();
        for freedom in [4.0, f64::INFINITY] {
            let band = acceptance(rule, 0.1, freedom, Some(0.0), Some(10.0));
            let judge = |value| {
                let known = Knowledge { value, u: 0.1, degrees_of_freedom: freedom };
                rule.assess(&known, Some(0.0), Some(10.0)).decision
            };
            let (lower, upper) = (band.lower.unwrap(), band.upper.unwrap());
            assert_eq!(judge(lower + 1e-3), Decision::Conforms);
            assert_eq!(judge(lower - 1e-3), Decision::Undecided);
            assert_eq!(judge(upper - 1e-3), Decision::Conforms);
            assert_eq!(judge(upper + 1e-3), Decision::Undecided);
        }
    }
}
