//! When a unit leaves its limits.
//!
//! Times at which the line's confidence interval holds the limit: Fieller's set (J. R.
//! Stat. Soc. B 16 (1954) 175, quoted from memory) for where a line crosses a level. It is
//! an interval where the rate is beyond chance, and has an open end where it is not.

use super::trend::Trend;
use crate::reading::Reading;
use crate::uncertainty::coverage;

/// Probability that the set of times holds the true one.
pub const CONFIDENCE: f64 = 0.95;
/// A line says nothing of the future beyond so many times the time it was seen for.
pub const REACH: f64 = 3.0;

/// Which limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The least value allowed.
    Lower,
    /// The greatest.
    Upper,
}

/// What is to be expected of a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Leaving {
    /// It is passed already, with [`CONFIDENCE`] of a two-sided interval.
    Left,
    /// The interval holds the limit now: nobody can say.
    Open,
    /// It may be passed from then on.
    From {
        /// The first time at which the interval holds the limit, s.
        earliest_s: f64,
        /// When the line itself gets there, s; absent where it does not.
        expected_s: Option<f64>,
        /// When the interval has left the limit behind, s; absent where it never does.
        latest_s: Option<f64>,
    },
    /// Not before this time, s, up to which the line can be drawn on.
    NotBefore(f64),
}

/// What is to be expected of one limit on a quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forecast {
    /// Which one.
    pub side: Side,
    /// Its value.
    pub limit: f64,
    /// What.
    pub leaving: Leaving,
}

/// For each limit there is, as the last visit shows it and over no more than `horizon_s`
/// from now. Whether a limit is passed is what was measured, not what a line drawn on
/// says: times of [`Leaving::From`] may lie before `now_s`.
pub fn leaving(
    trend: &Trend,
    (lower, upper): (Option<f64>, Option<f64>),
    now_s: f64,
    horizon_s: f64,
) -> Vec<Forecast> {
    let last_s = trend.visits.last().map_or(now_s, |v| v.at_s);
    let span_s = last_s - trend.visits.first().map_or(last_s, |v| v.at_s);
    let from_s = last_s.min(now_s);
    let until_s = (now_s + horizon_s).min(last_s + REACH * span_s).max(from_s);
    let line = Line::seen_from(trend, from_s);
    let sides = [(Side::Lower, lower, 1.0), (Side::Upper, upper, -1.0)];
    let of = |(side, limit, sign): (Side, Option<f64>, f64)| {
        let limit = limit?;
        Some(Forecast { side, limit, leaving: line.passes(limit, sign, from_s, until_s) })
    };
    sides.into_iter().filter_map(of).collect()
}

/// The same of a last reading alone, where there is no line: whether a limit is passed.
pub fn passed(last: Reading, (lower, upper): (Option<f64>, Option<f64>)) -> Vec<Forecast> {
    let half = coverage::student_quantile(0.5 + 0.5 * CONFIDENCE, f64::INFINITY) * last.u;
    let sides = [(Side::Lower, lower, 1.0), (Side::Upper, upper, -1.0)];
    let of = |(side, limit, sign): (Side, Option<f64>, f64)| {
        let limit = limit?;
        let margin = sign * (last.value - limit);
        let leaving = if margin < -half { Leaving::Left } else { Leaving::Open };
        (margin <= half).then_some(Forecast { side, limit, leaving })
    };
    sides.into_iter().filter_map(of).collect()
}

/// a + b s, s from now, with half the width of its interval k √(var).
struct Line {
    a: f64,
    b: f64,
    /// k² times the variances of a and b and their covariance.
    aa: f64,
    bb: f64,
    ab: f64,
}

impl Line {
    fn seen_from(trend: &Trend, now_s: f64) -> Self {
        let k = coverage::student_quantile(0.5 + 0.5 * CONFIDENCE, trend.degrees_of_freedom);
        let (level, rate) = (trend.level(now_s), trend.rate_per_s);
        let k2 = k * k;
        Self {
            a: level.value,
            b: rate.value,
            aa: k2 * level.u * level.u,
            bb: k2 * rate.u * rate.u,
            ab: k2 * trend.level_with_rate(now_s),
        }
    }

    /// `sign` is 1 for a limit that the line must stay above, −1 below.
    fn passes(&self, limit: f64, sign: f64, now_s: f64, until_s: f64) -> Leaving {
        let margin = self.a - limit;
        if margin * margin <= self.aa {
            return Leaving::Open;
        }
        if sign * margin < 0.0 {
            return Leaving::Left;
        }
        // The interval holds the limit where A s² + 2 B s + C ≤ 0; C is over zero here.
        let (a, b, c) =
            (self.b * self.b - self.bb, self.b * margin - self.ab, margin * margin - self.aa);
        let root = (b * b - a * c).sqrt();
        // Both roots without a difference of near numbers; NaN where there is none.
        let q = -(b + root.copysign(b));
        let mut roots = [q / a, c / q];
        roots.sort_by(f64::total_cmp);
        let ahead = |s: &f64| *s > 0.0 && s.is_finite();
        match roots.into_iter().find(ahead) {
            Some(earliest) if now_s + earliest <= until_s => Leaving::From {
                earliest_s: now_s + earliest,
                expected_s: Some(-margin / self.b).filter(ahead).map(|s| now_s + s),
                // With a rate beyond chance the set ends at the greater root.
                latest_s: (a > 0.0).then_some(now_s + roots[1]),
            },
            _ => Leaving::NotBefore(until_s),
        }
    }
}
