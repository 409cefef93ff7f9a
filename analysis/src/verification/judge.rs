//! Every quantity of a unit by the limits of a set.

use super::advice;
use super::field::field_at;
use super::heard::{Heard, NotJudged};
use super::setup::{Placement, Setup};
use crate::conformity::{Acceptance, Assessment, Decision, Knowledge, Rule, Verdict, acceptance};
use crate::limits::{Bound, LimitSet, Quantity};
use crate::uncertainty::Budget;

/// Distance that the field is given at where no limit asks for another, m.
const USUAL_DISTANCE_M: f64 = 10.0;

/// A unit against a set of limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Verification {
    /// The quantities that were measured or that the set bounds.
    pub quantities: Vec<JudgedQuantity>,
    /// The unit as a whole.
    pub verdict: Verdict,
}

/// One quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedQuantity {
    /// Which.
    pub quantity: Quantity,
    /// The set's bound on it, if there is one.
    pub bound: Option<Bound>,
    /// What was found, or why it was not.
    pub finding: Result<Judged, NotJudged>,
}

/// A measured quantity, and what its bound makes of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Number of the capture that it stands in; absent for one from all of them.
    pub capture: Option<usize>,
    /// Value, uncertainty, and where that comes from.
    pub budget: Budget,
    /// The decision; absent without a bound.
    pub assessment: Option<Assessment>,
    /// Where the measured value must lie to conform; absent without a bound.
    pub acceptance: Option<Acceptance>,
    /// What would settle an undecided quantity.
    pub advice: Option<String>,
}

/// Judge a unit by `set`. All `captures` are of this one unit; `setup` says how it
/// stood, where that is known.
///
/// Limits hold in every capture, at every temperature: each quantity is judged in
/// each capture, the worst of them is shown, and the unit conforms only when all of
/// them do, and do so together. The field of three directions is one quantity of all
/// three.
pub fn verify(
    captures: &[Heard<'_>],
    setup: Option<&Setup>,
    set: &LimitSet,
    rule: Rule,
) -> Verification {
    let mut assessments: Vec<Assessment> = Vec::new();
    let quantities: Vec<JudgedQuantity> = quantities(set, setup.is_some())
        .into_iter()
        .map(|quantity| {
            let bound = set.bound(quantity).cloned();
            let all = findings(quantity, captures, setup, bound.as_ref(), rule);
            assessments.extend(all.iter().flatten().filter_map(|judged| judged.assessment));
            let finding = worst(all, bound.as_ref());
            JudgedQuantity { quantity, bound, finding }
        })
        .collect();
    let mut bounded = quantities.iter().filter(|q| q.bound.is_some());
    let all_judged = !set.in_part && bounded.all(|q| q.finding.is_ok());
    let verdict = Verdict::over(rule, assessments, all_judged);
    Verification { quantities, verdict }
}

/// All quantities to show, in the order of the table.
fn quantities(set: &LimitSet, at_known_distance: bool) -> Vec<Quantity> {
    let mut all = vec![Quantity::Carrier, Quantity::OnTime, Quantity::OffTime, Quantity::Period];
    let is_field = |q: &Quantity| matches!(q, Quantity::Field { .. });
    let fields: Vec<Quantity> = set.bounds.iter().map(|b| b.quantity).filter(is_field).collect();
    match fields.is_empty() && at_known_distance {
        true => all.push(Quantity::Field { distance_m: USUAL_DISTANCE_M }),
        false => all.extend(fields),
    }
    all.push(Quantity::ResidualCarrier);
    all
}

/// The quantity in each capture.
fn findings(
    quantity: Quantity,
    captures: &[Heard<'_>],
    setup: Option<&Setup>,
    bound: Option<&Bound>,
    rule: Rule,
) -> Vec<Result<Judged, NotJudged>> {
    let judged = |capture: Option<usize>, budget: Budget| {
        let duration_s = capture.map_or(0.0, |i| captures[i].duration_s);
        judge(capture, budget, bound, rule, duration_s)
    };
    let of_each = |measure: &dyn Fn(&Heard<'_>) -> Result<Budget, NotJudged>| {
        let numbered = captures.iter().enumerate();
        let one = |(i, heard): (usize, &Heard<'_>)| {
            heard.judgeable()?;
            Ok(judged(Some(i), measure(heard)?))
        };
        numbered.map(one).collect()
    };
    match quantity {
        Quantity::Carrier => of_each(&|h| h.carrier()),
        Quantity::OnTime => of_each(&|h| h.on_time()),
        Quantity::OffTime => of_each(&|h| h.off_time()),
        Quantity::Period => of_each(&|h| h.period()),
        Quantity::ResidualCarrier => of_each(&|h| h.residual_carrier()),
        Quantity::Field { distance_m } => match setup {
            None => vec![Err(NotJudged("the measuring distance is not given".into()))],
            Some(setup) if setup.placement == Placement::ThreeDirections => {
                let good = captures.iter().try_for_each(Heard::judgeable);
                let field = good.and_then(|()| field_at(distance_m, captures, setup));
                vec![field.map(|b| judged(None, b))]
            }
            Some(setup) => of_each(&|h| field_at(distance_m, std::slice::from_ref(h), setup)),
        },
    }
}

fn judge(
    capture: Option<usize>,
    budget: Budget,
    bound: Option<&Bound>,
    rule: Rule,
    duration_s: f64,
) -> Judged {
    let assessed = bound.map(|bound| {
        let known = Knowledge::from(&budget);
        let assessment = rule.assess(&known, bound.lower, bound.upper);
        let accepted =
            acceptance(rule, known.u, known.degrees_of_freedom, bound.lower, bound.upper);
        let advice = advice::for_undecided(&budget, bound, &assessment, rule, duration_s);
        (assessment, accepted, advice)
    });
    let (assessment, acceptance, advice) = match assessed {
        Some((assessment, acceptance, advice)) => (Some(assessment), Some(acceptance), advice),
        None => (None, None, None),
    };
    Judged { capture, budget, assessment, acceptance, advice }
}

/// The capture that decides: the worst decision, of those the least probable to
/// conform, of those the closest to a limit. Where one of several could not be judged,
/// the others can only find that the unit does not conform.
fn worst(
    findings: Vec<Result<Judged, NotJudged>>,
    bound: Option<&Bound>,
) -> Result<Judged, NotJudged> {
    let badness = |judged: &Judged| {
        let assessed = judged.assessment.map(|a| (a.decision, 1.0 - a.probability_of_conformity));
        (assessed, -margin_in_u(judged, bound))
    };
    let mut missing: Option<NotJudged> = None;
    let mut found: Option<Judged> = None;
    for finding in findings {
        match finding {
            Err(why) => missing = Some(why),
            Ok(judged) => {
                if found.as_ref().is_none_or(|f| badness(&judged) > badness(f)) {
                    found = Some(judged);
                }
            }
        }
    }
    let fails =
        |judged: &Judged| judged.assessment.is_some_and(|a| a.decision == Decision::DoesNotConform);
    match (found, missing) {
        (Some(judged), None) => Ok(judged),
        (Some(judged), Some(_)) if fails(&judged) => Ok(judged),
        (_, Some(why)) => Err(why),
        (None, None) => Err(NotJudged("no capture of the unit".into())),
    }
}

/// How far inside the nearer limit the value lies, in standard uncertainties. Without
/// a bound the largest value is shown: that of the residual carrier is the worst.
fn margin_in_u(judged: &Judged, bound: Option<&Bound>) -> f64 {
    let Budget { value, u, .. } = judged.budget;
    let Some(bound) = bound else { return -value };
    let above = bound.lower.map_or(f64::INFINITY, |lower| value - lower);
    let below = bound.upper.map_or(f64::INFINITY, |upper| upper - value);
    above.min(below) / u.max(f64::MIN_POSITIVE)
}
