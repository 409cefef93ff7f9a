//! A unit as a whole.

use serde::Serialize;

use super::decision::{Assessment, Decision, Rule};

/// What is decided of a unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// The decision.
    pub decision: Decision,
    /// Least probability that all quantities lie within their limits: 1 less the
    /// sum of the probabilities that each does not, which holds however they hang
    /// together (Boole's inequality); 0 where that sum is over 1, and where a
    /// quantity was not judged.
    pub probability_of_conformity_at_least: f64,
    /// Each quantity conforms, but together they could be wrong more often than
    /// the risk allows.
    pub undecided_together: bool,
}

impl Verdict {
    /// The unit whose quantities were assessed under `rule`; `all_judged` says
    /// whether every quantity that the limits bound is among them.
    ///
    /// It does not conform when a quantity does not, conforms when all were judged,
    /// conform, and do so together, and is undecided otherwise.
    pub fn over(
        rule: Rule,
        assessments: impl IntoIterator<Item = Assessment>,
        all_judged: bool,
    ) -> Self {
        let (mut worst, mut doubt) = (Decision::Conforms, 0.0);
        for assessment in assessments {
            worst = worst.max(assessment.decision);
            doubt += 1.0 - assessment.probability_of_conformity;
        }
        let together = rule.decide(1.0 - doubt) == Decision::Conforms;
        let decision = match worst {
            Decision::Conforms if together && all_judged => Decision::Conforms,
            Decision::Conforms => Decision::Undecided,
            other => other,
        };
        Self {
            decision,
            probability_of_conformity_at_least: if all_judged {
                (1.0 - doubt).max(0.0)
            } else {
                0.0
            },
            undecided_together: worst == Decision::Conforms && !together,
        }
    }

    /// The same where something of the unit could not be looked at: it conforms no more.
    pub fn in_part(self) -> Self {
        let decision = self.decision.max(Decision::Undecided);
        Self { decision, probability_of_conformity_at_least: 0.0, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(probabilities: &[f64], all_judged: bool) -> Verdict {
        let rule = Rule::default();
        let assess =
            |&p: &f64| Assessment { decision: rule.decide(p), probability_of_conformity: p };
        Verdict::over(rule, probabilities.iter().map(assess), all_judged)
    }

    #[test]
    fn the_worst_quantity_decides() {
        assert_eq!(verdict(&[0.999, 0.99], true).decision, Decision::Conforms);
        assert_eq!(verdict(&[0.999, 0.5], true).decision, Decision::Undecided);
        assert_eq!(verdict(&[0.5, 0.01], true).decision, Decision::DoesNotConform);
        assert_eq!(verdict(&[0.999, 0.01], false).decision, Decision::DoesNotConform);
    }

    #[test]
    fn what_was_not_judged_is_not_passed_over() {
        assert_eq!(verdict(&[0.999], false).decision, Decision::Undecided);
        assert_eq!(verdict(&[0.999], false).probability_of_conformity_at_least, 0.0);
        assert_eq!(verdict(&[], false).decision, Decision::Undecided);
        let in_part = verdict(&[0.999], true).in_part();
        assert_eq!(in_part.decision, Decision::Undecided);
        assert_eq!(in_part.probability_of_conformity_at_least, 0.0);
        assert_eq!(verdict(&[0.01], true).in_part().decision, Decision::DoesNotConform);
    }

    /// Three quantities at 98 % may all be right with 94 % only.
    #[test]
    fn risks_add_up() {
        let unit = verdict(&[0.98, 0.98, 0.98], true);
        assert_eq!(unit.decision, Decision::Undecided);
        assert!(unit.undecided_together);
        assert!((unit.probability_of_conformity_at_least - 0.94).abs() < 1e-12);
        assert_eq!(verdict(&[0.5, 0.4, 0.01], true).probability_of_conformity_at_least, 0.0);
    }
}
