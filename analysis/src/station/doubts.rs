//! What a station file says that can be true but is worth a second look.

use crate::limits::{Bound, LimitSet, Quantity};
use crate::masking::Timing;
use crate::units;

use super::model::PlannedUnit;

/// Units nearer to each other than this are hard to tell apart with a probe, m (common
/// practice, no source).
const NEAR_M: f64 = 1.0;

/// A sentence about a line of a station file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// Line of the file, from 1.
    pub line: usize,
    /// What is doubtful about it.
    pub what: String,
}

/// That none of `sets` allows such a period.
pub(super) fn of_period(sets: &[LimitSet], timing: Timing) -> Option<String> {
    outside_all(sets, Quantity::Period, timing.period_s, "period", milliseconds)
}

/// That none of `sets` allows such an on time.
pub(super) fn of_on_time(sets: &[LimitSet], timing: Timing) -> Option<String> {
    outside_all(sets, Quantity::OnTime, timing.on_time_s, "on time", milliseconds)
}

/// That none of `sets` allows such a field at 10 m.
pub(super) fn of_field(sets: &[LimitSet], field_at_10_m_a_per_m: f64) -> Option<String> {
    let quantity = Quantity::Field { distance_m: 10.0 };
    outside_all(sets, quantity, field_at_10_m_a_per_m, "field at 10 m", units::field)
}

/// That another unit lies so near that a trainee will hardly tell the two apart.
pub(super) fn of_place(unit: &PlannedUnit, others: &[PlannedUnit]) -> Option<String> {
    let off_m = |other: &PlannedUnit| (unit.x_m - other.x_m).hypot(unit.y_m - other.y_m);
    let nearest = others.iter().min_by(|a, b| off_m(a).total_cmp(&off_m(b)))?;
    let near = off_m(nearest) < NEAR_M;
    near.then(|| {
        let off = units::significant(off_m(nearest), 2);
        format!("\"{}\" and \"{}\" lie {off} m from each other on the map", unit.name, nearest.name)
    })
}

fn milliseconds(time_s: f64) -> String {
    format!("{} ms", units::significant(1e3 * time_s, 4))
}

fn outside_all(
    sets: &[LimitSet],
    quantity: Quantity,
    value: f64,
    name: &str,
    shown: fn(f64) -> String,
) -> Option<String> {
    let bounds: Vec<(&str, &Bound)> = sets
        .iter()
        .filter_map(|set| set.bound(quantity).map(|bound| (set.name.as_str(), bound)))
        .collect();
    // A document that states no lower bound does not speak for weak units.
    let least = bounds.iter().filter_map(|(_, b)| b.lower).reduce(f64::min);
    let most = bounds.iter().filter_map(|(_, b)| b.upper).reduce(f64::max);
    if least.is_none_or(|least| value >= least) && most.is_none_or(|most| value <= most) {
        return None;
    }
    let allowed = |(set, b): &(&str, &Bound)| {
        let range = match (b.lower, b.upper) {
            (Some(least), Some(most)) => format!("{} to {}", shown(least), shown(most)),
            (Some(least), None) => format!("{} or more", shown(least)),
            (None, Some(most)) => format!("{} or less", shown(most)),
            (None, None) => "any".to_owned(),
        };
        format!("{set}: {range}")
    };
    let all: Vec<String> = bounds.iter().map(allowed).collect();
    Some(format!(
        "a {name} of {} is outside all published limits ({})",
        shown(value),
        all.join("; ")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::published;

    fn timing(period_s: f64, on_time_s: f64) -> Timing {
        Timing { period_s, on_time_s }
    }

    /// EN 300 718-1 allows 0.7 to 1.3 s, EN 282 0.5 to 1.3 s, both 70 ms or more.
    #[test]
    fn what_any_standard_allows_is_not_doubted() {
        let sets = published::all();
        assert_eq!(of_period(&sets, timing(0.55, 0.1)), None);
        assert_eq!(of_on_time(&sets, timing(1.0, 0.07)), None);
        assert_eq!(of_field(&sets, 0.6e-6), None);
        let said = of_period(&sets, timing(1.4, 0.1)).unwrap();
        assert!(said.contains("1400 ms") && said.contains("700 ms to 1300 ms"), "{said}");
        let said = of_on_time(&sets, timing(1.0, 0.06)).unwrap();
        assert!(said.contains("60 ms") && said.contains("70 ms or more"), "{said}");
        assert!(of_field(&sets, 0.3e-6).unwrap().contains("300 nA/m"));
    }
}
