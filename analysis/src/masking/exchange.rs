//! Which two units of a station had better change places, or give way to a spare.
//!
//! Timing goes with the unit, and who hears which two at once goes with the place. Two
//! units whose pulses stay together for minutes do no harm at opposite ends of a field.

use super::{Pair, Timing};

/// Cost of two units that are heard at the same places never parting, s: as much as any
/// exercise lasts.
const AN_EXERCISE_S: f64 = 1200.0;

/// An exchange and what it does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exchange {
    /// Numbers of the two units.
    pub units: (usize, usize),
    /// Sum, over all pairs of units that are heard at one place, of the longest stretch
    /// in which each pulse of one is covered, before and after, s.
    pub before_s: f64,
    /// The same after the exchange.
    pub after_s: f64,
}

/// A spare put in a unit's place and what it does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Replacement {
    /// Number of the unit that goes.
    pub unit: usize,
    /// Number of the spare that comes.
    pub spare: usize,
    /// As of an [`Exchange`], s.
    pub before_s: f64,
    /// The same afterwards.
    pub after_s: f64,
}

/// The spare and the place for it that lower most what [`best`] lowers; `None` if none
/// lowers it by a second. `spares[s]` is the timing of spare s; the rest is as there.
pub fn best_spare(
    timings: &[Timing],
    spares: &[Timing],
    heard_together: impl Fn(usize, usize) -> bool,
) -> Option<Replacement> {
    let numbers = || 0..timings.len();
    let of_unit = |own: Timing, place: usize| -> f64 {
        let others = numbers().filter(|other| *other != place && heard_together(place, *other));
        others.map(|other| covered_s(own, timings[other])).sum()
    };
    let before_s = numbers().map(|unit| of_unit(timings[unit], unit)).sum::<f64>() / 2.0;
    let replaced = numbers().flat_map(|unit| {
        let without_s = before_s - of_unit(timings[unit], unit);
        let after = move |(spare, timing): (usize, &Timing)| Replacement {
            unit,
            spare,
            before_s,
            after_s: without_s + of_unit(*timing, unit),
        };
        spares.iter().enumerate().map(after).collect::<Vec<_>>()
    });
    replaced
        .min_by(|x, y| x.after_s.total_cmp(&y.after_s))
        .filter(|best| best.before_s - best.after_s > 1.0)
}

/// The exchange that lowers most the sum of the longest stretches of covered pulses over
/// pairs of units that can be heard at one place; `None` if none lowers it by a second.
///
/// `timings[u]` is that of unit u, which lies at place u; `heard_together(a, b)` says
/// whether units at the places a and b are heard at one place, and does not depend on
/// which unit lies there: ranges of practice units differ little.
pub fn best(timings: &[Timing], heard_together: impl Fn(usize, usize) -> bool) -> Option<Exchange> {
    let count = timings.len();
    let covered: Vec<Vec<f64>> =
        timings.iter().map(|a| timings.iter().map(|b| covered_s(*a, *b)).collect()).collect();
    let pairs = || (0..count).flat_map(|a| (a + 1..count).map(move |b| (a, b)));
    let heard = |(a, b): &(usize, usize)| heard_together(*a, *b);
    let before_s: f64 = pairs().filter(heard).map(|(a, b)| covered[a][b]).sum();
    // Only what the two have with others changes; they keep what they have with each other.
    let gained_s = |a: usize, b: usize| -> f64 {
        let others = (0..count).filter(|other| *other != a && *other != b);
        let gain = |other: usize| {
            let change = covered[b][other] - covered[a][other];
            let here = |place: usize| f64::from(u8::from(heard_together(place, other)));
            change * (here(a) - here(b))
        };
        others.map(gain).sum()
    };
    let swapped = pairs().map(|(a, b)| {
        let after_s = before_s + gained_s(a, b);
        Exchange { units: (a, b), before_s, after_s }
    });
    swapped
        .min_by(|x, y| x.after_s.total_cmp(&y.after_s))
        .filter(|best| best.before_s - best.after_s > 1.0)
}

/// The longer of the stretches that either suffers.
fn covered_s(a: Timing, b: Timing) -> f64 {
    let longest = |own, other| Pair { own, other }.longest_s();
    longest(a, b).max(longest(b, a)).min(AN_EXERCISE_S)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn timings(periods_s: &[f64]) -> Vec<Timing> {
        periods_s.iter().map(|period_s| Timing { period_s: *period_s, on_time_s: 0.1 }).collect()
    }

    /// Four in a row, neighbours heard together: the two alike go apart.
    #[test]
    fn units_alike_go_apart() {
        let all = timings(&[1.0, 1.0005, 0.85, 1.15]);
        let best = best(&all, |a, b| a.abs_diff(b) == 1).unwrap();
        assert!(best.before_s > 300.0 && best.after_s < 60.0, "{best:?}");
        let mut periods: Vec<f64> = all.iter().map(|t| t.period_s).collect();
        periods.swap(best.units.0, best.units.1);
        assert!(periods.windows(2).all(|p| (p[0] - p[1]).abs() > 0.01), "{periods:?}");
    }

    /// Where no exchange helps, a spare of another period does; one of the same does not.
    #[test]
    fn a_spare_takes_the_place_of_one_of_two_alike() {
        let all = timings(&[1.0, 1.0005, 0.85, 1.15]);
        let found = best_spare(&all, &timings(&[0.85, 1.3]), |_, _| true).unwrap();
        assert!(found.unit < 2 && found.spare == 1, "{found:?}");
        let mut then = all.clone();
        then[found.unit] = timings(&[1.3])[0];
        let pairs = (0..4).flat_map(|a| (a + 1..4).map(move |b| (a, b)));
        let sum: f64 = pairs.map(|(a, b)| covered_s(then[a], then[b])).sum();
        assert!((found.after_s - sum).abs() < 1e-9, "{found:?} {sum}");
        assert!(found.before_s > 300.0 && found.after_s < 60.0, "{found:?}");
        assert_eq!(best_spare(&all, &timings(&[1.0]), |_, _| true), None);
        assert_eq!(best_spare(&all, &[], |_, _| true), None);
        assert_eq!(best_spare(&all, &timings(&[1.3]), |_, _| false), None);
    }

    #[test]
    fn where_all_are_heard_no_exchange_helps() {
        let all = timings(&[1.0, 1.0005, 0.85, 1.15]);
        assert_eq!(best(&all, |_, _| true), None);
        assert_eq!(best(&[], |_, _| true), None);
    }
}
