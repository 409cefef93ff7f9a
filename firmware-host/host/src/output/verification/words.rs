//! Quantities, limits and decisions in words.

use coilrig_analysis::conformity::Rule;
use coilrig_analysis::limits::{Bound, LimitSet, Quantity};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units;
use coilrig_analysis::verification::{JudgedQuantity, Placement, Setup};

/// Coverage probability of the expanded uncertainties shown.
pub const COVERAGE: f64 = 0.95;

/// Why a unit is undecided whose quantities all conform.
pub const UNDECIDED_TOGETHER: &str = "Each quantity conforms in each capture, but together they could be wrong more often than the \
     risk allows: lower the uncertainties.";

/// Unit that people read a quantity in, and how many SI units it is. `about` is
/// a value to choose the prefix of a field by, A/m.
fn people_unit(quantity: Quantity, about: f64) -> (&'static str, f64) {
    match quantity {
        Quantity::Carrier => ("Hz", 1.0),
        Quantity::OnTime | Quantity::OffTime | Quantity::Period => ("ms", 1e-3),
        Quantity::Field { .. } if about > 1e-4 => ("mA/m", 1e-3),
        Quantity::Field { .. } => ("µA/m", 1e-6),
        Quantity::ResidualCarrier => ("%", 0.01),
    }
}

/// SI unit of a quantity, 1 for a ratio.
pub fn si_unit(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Carrier => "Hz",
        Quantity::OnTime | Quantity::OffTime | Quantity::Period => "s",
        Quantity::Field { .. } => "A/m",
        Quantity::ResidualCarrier => "1",
    }
}

/// A value with its expanded uncertainty: `457061.3 ± 1.8 Hz`.
pub fn value(quantity: Quantity, value: f64, expanded_u: f64) -> String {
    let (unit, factor) = people_unit(quantity, value);
    units::plus_minus(Reading::new(value, expanded_u).scaled(1.0 / factor), unit)
}

/// A value to the last digit that its expanded uncertainty leaves, alone: `457061.3 Hz`.
pub fn value_alone(quantity: Quantity, of: f64, expanded_u: f64) -> String {
    let text = value(quantity, of, expanded_u);
    match text.split_once(" ± ") {
        Some((number, _)) => format!("{number} {}", people_unit(quantity, of).0),
        None => text,
    }
}

/// A bound: `456920 to 457080 Hz`, `70 ms or more`.
pub fn limits(bound: &Bound) -> String {
    let (unit, factor) = people_unit(bound.quantity, bound.lower.or(bound.upper).unwrap_or(0.0));
    // A carrier needs all its digits; the others have three at most.
    let digits = if bound.quantity == Quantity::Carrier { 8 } else { 3 };
    let text = |value: f64| units::significant(value / factor, digits);
    match (bound.lower, bound.upper) {
        (Some(lower), Some(upper)) => format!("{} to {} {unit}", text(lower), text(upper)),
        (Some(lower), None) => format!("{} {unit} or more", text(lower)),
        (None, Some(upper)) => format!("{} {unit} or less", text(upper)),
        (None, None) => "none".into(),
    }
}

/// A probability in per cent, never as 0 % or 100 %.
pub fn probability(p: f64) -> String {
    match 100.0 * p {
        p if p > 99.99 => "> 99.99 %".into(),
        p if p < 0.01 => "< 0.01 %".into(),
        p if p > 99.0 => format!("{p:.2} %"),
        p => format!("{p:.1} %"),
    }
}

/// A lower bound of a probability in per cent, rounded down, never 100 %.
pub fn at_least(p: f64) -> String {
    format!("{:.2} %", (1e4 * p.min(0.9999)).floor() / 100.0)
}

/// What is decided of a quantity.
pub fn decision(judged: &JudgedQuantity) -> String {
    match (&judged.finding, &judged.bound) {
        (Err(_), _) => "not judged".into(),
        (Ok(found), Some(_)) => {
            found.assessment.map(|a| a.decision.to_string()).unwrap_or_default()
        }
        (Ok(_), None) => "no limit".into(),
    }
}

/// The rule and its risk.
pub fn rule(rule: Rule) -> String {
    let percent = |p: f64| units::significant(100.0 * p, 4);
    format!(
        "Rule (JCGM 106): a quantity conforms when it lies within its limits with a probability of \
         {} % or more, does not conform when with {} % or less, and is undecided between; a unit \
         conforms when all its quantities do in all captures, and do so together. The risk that a \
         decision is wrong is {} % at most.",
        percent(1.0 - rule.risk()),
        percent(rule.risk()),
        percent(rule.risk())
    )
}

/// How the unit stood.
pub fn setup(setup: &Setup) -> String {
    let placement = match setup.placement {
        Placement::Coaxial => "coaxial",
        Placement::Coplanar => "coplanar",
        Placement::ThreeDirections => "in three directions",
    };
    format!(
        "{} {placement}, antennas aligned to {}°, surroundings {} % (standard uncertainties)",
        units::plus_minus(Reading::new(setup.distance_m, setup.u_distance_m), "m"),
        units::significant(setup.u_tilt_rad.to_degrees(), 2),
        units::significant(100.0 * setup.u_surroundings_rel, 2)
    )
}

/// What limits are, and what to know of them.
pub fn about(set: &LimitSet) -> String {
    let mut text = set.title.clone();
    if let Some(note) = &set.note {
        text += &format!(" ({note})");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_as_people_write_them() {
        let bound = |quantity, lower, upper| Bound {
            quantity,
            lower,
            upper,
            source: String::new(),
            from_memory: false,
        };
        let carrier = bound(Quantity::Carrier, Some(456_920.0), Some(457_080.0));
        assert_eq!(limits(&carrier), "456920 to 457080 Hz");
        assert_eq!(limits(&bound(Quantity::OnTime, Some(0.07), None)), "70 ms or more");
        assert_eq!(limits(&bound(Quantity::Period, Some(0.7), Some(1.3))), "700 to 1300 ms");
        let field = |distance_m, lower, upper| bound(Quantity::Field { distance_m }, lower, upper);
        assert_eq!(limits(&field(10.0, Some(0.5e-6), Some(2.2387e-6))), "0.5 to 2.24 µA/m");
        assert_eq!(limits(&field(10.0, None, Some(2.2387e-6))), "2.24 µA/m or less");
        assert_eq!(limits(&field(1.0, Some(0.5e-3), Some(2.16e-3))), "0.5 to 2.16 mA/m");
    }

    #[test]
    fn probabilities_are_never_certain() {
        let texts = [1.0, 0.9975, 0.95, 0.5, 0.0].map(probability);
        assert_eq!(texts, ["> 99.99 %", "99.75 %", "95.0 %", "50.0 %", "< 0.01 %"]);
    }

    #[test]
    fn lower_bounds_are_rounded_down() {
        assert_eq!([1.0, 0.99629, 0.5].map(at_least), ["99.99 %", "99.62 %", "50.00 %"]);
    }

    #[test]
    fn values_with_their_expanded_uncertainty() {
        assert_eq!(value(Quantity::Carrier, 457_061.31, 1.79), "457061.3 ± 1.8 Hz");
        let field = Quantity::Field { distance_m: 10.0 };
        assert_eq!(value(field, 0.5156e-6, 0.04e-6), "0.516 ± 0.040 µA/m");
        assert_eq!(value(Quantity::ResidualCarrier, 0.0299, 0.0003), "2.990 ± 0.030 %");
        assert_eq!(value_alone(Quantity::Carrier, 457_061.31, 1.79), "457061.3 Hz");
    }
}
