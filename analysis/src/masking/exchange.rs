//! Which two units of a station had better change places.
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

    #[test]
    fn where_all_are_heard_no_exchange_helps() {
        let all = timings(&[1.0, 1.0005, 0.85, 1.15]);
        assert_eq!(best(&all, |_, _| true), None);
        assert_eq!(best(&[], |_, _| true), None);
    }
}
