//! What would settle an undecided quantity.

use super::contribution;
use crate::conformity::{Assessment, Decision, Rule};
use crate::limits::Bound;
use crate::uncertainty::{Budget, Contribution, coverage};

/// What holds for every undecided unit.
pub const UNTIL_DECIDED: &str = "Until it is decided, treat the unit as one that does not conform: to the maker's service, \
     not up a mountain.";

/// Longer recordings are no help on a bench, s.
const LONGEST_S: f64 = 1800.0;
/// Below this share of its present size no uncertainty is brought down by care.
const HOPELESS: f64 = 0.15;

/// What to do about an undecided quantity, measured over `duration_s` (0 where that
/// is not known). `None` for one that is decided.
///
/// The contributions are taken off from the largest on, until the rest would
/// decide; those taken off are what to work on.
pub(super) fn for_undecided(
    budget: &Budget,
    bound: &Bound,
    assessment: &Assessment,
    rule: Rule,
    duration_s: f64,
) -> Option<String> {
    if assessment.decision != Decision::Undecided {
        return None;
    }
    let away = [bound.lower, bound.upper]
        .into_iter()
        .flatten()
        .map(|limit| (budget.value - limit).abs())
        .fold(f64::INFINITY, f64::min);
    // The uncertainty that the interval would just clear the limit with.
    let freedom = coverage::whole(budget.degrees_of_freedom);
    let t = coverage::student_quantile(1.0 - rule.risk(), freedom);
    let enough = away / t;
    if enough < HOPELESS * budget.u {
        return Some(
            "the value lies so close to the limit that this bench cannot decide it".into(),
        );
    }
    let mut order: Vec<&Contribution> = budget.contributions.iter().collect();
    order.sort_by(|a, b| b.share.total_cmp(&a.share));
    let mut steps: Vec<String> = Vec::new();
    let mut rest = budget.u * budget.u;
    for contribution in order {
        let part = contribution.share * budget.u * budget.u;
        rest -= part;
        // With the rest as it is, what may be left of this one.
        let left = enough * enough - rest.max(0.0);
        let step = remedy(contribution, (left > 0.0).then(|| duration_s * part / left));
        if !steps.contains(&step) {
            steps.push(step);
        }
        if left > 0.0 {
            break;
        }
    }
    Some(steps.join("; "))
}

/// What brings a contribution down; `needed_s` is how long to record for that to be
/// enough, where it can be.
fn remedy(contribution: &Contribution, needed_s: Option<f64>) -> String {
    let closer = "measure closer";
    let text = match contribution.name.as_str() {
        contribution::SIGNAL => match needed_s {
            Some(s) if s > 0.0 && s <= LONGEST_S => {
                return format!("record for {:.0} s or more, or {closer}", 1.1 * s);
            }
            _ => return format!("{closer}, and record for longer"),
        },
        contribution::EDGES => "look at the edges of its pulses: this bench places them no better",
        contribution::DRIFT => {
            "let the unit come to one temperature and stay at it, and record again"
        }
        contribution::CLOCK => "calibrate the receiver's clock",
        contribution::DISTANCE => {
            "measure the distance more exactly, or from farther away while the signal is strong"
        }
        contribution::ORIENTATION => "align the antennas better",
        contribution::ANTENNAS => "measure from farther away",
        contribution::GROUND => closer,
        contribution::SURROUNDINGS => {
            "measure in the open, away from metal and wires, and state its share (--u-surroundings)"
        }
        name if name.starts_with(contribution::CALIBRATION) => {
            "calibrate the receiver's field anew"
        }
        name if name.starts_with(contribution::ANGLE) => {
            "calibrate the angles of the receiver's coils (coilrig calibrate rotation)"
        }
        name => return format!("reduce the uncertainty of the {name}"),
    };
    text.into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Quantity;
    use crate::uncertainty::{Input, Inputs, propagate};

    fn bound() -> Bound {
        let source = "test".into();
        let (quantity, lower, upper) = (Quantity::Carrier, Some(-80.0), Some(80.0));
        Bound { quantity, lower, upper, source, from_memory: false }
    }

    /// Advice for a carrier `value` off with noise and clock of these uncertainties.
    fn advice(value: f64, u_noise: f64, u_clock: f64) -> Option<String> {
        let mut inputs = Inputs::new();
        inputs.add(Input::normal(contribution::SIGNAL, "Hz", value, u_noise).unwrap());
        inputs.add(Input::normal(contribution::CLOCK, "Hz", 0.0, u_clock).unwrap());
        let budget = propagate(&inputs, |x| x[0] + x[1]).unwrap();
        let rule = Rule::default();
        let assessment = rule.assess(&(&budget).into(), bound().lower, bound().upper);
        for_undecided(&budget, &bound(), &assessment, rule, 60.0)
    }

    #[test]
    fn the_largest_contribution_is_worked_on() {
        assert_eq!(advice(70.0, 1.0, 1.0), None);
        assert!(advice(78.0, 0.1, 1.5).unwrap().contains("clock"));
        // 2 Hz away need u = 1.02 Hz: from 1.5 Hz the recording must be 2.2 times as long.
        let longer = advice(78.0, 1.5, 0.1).unwrap();
        assert!(longer.contains("record for 14") && !longer.contains("clock"), "{longer}");
    }

    #[test]
    fn both_are_named_where_one_is_not_enough() {
        let both = advice(78.0, 1.4, 1.5).unwrap();
        assert!(both.contains("clock") && both.contains("record"), "{both}");
    }

    #[test]
    fn a_value_at_the_limit_is_said_to_be_there() {
        assert!(advice(79.99, 1.0, 1.0).unwrap().contains("so close to the limit"));
    }
}
