//! From readings to visits.
//!
//! Readings of one day share what makes days differ: how the receiver was placed, the
//! temperature, the snow, the calibration. They are one visit, however many there are.

use super::series::{Event, Point};
use crate::reading::Reading;

/// Readings within this time of the first belong to one visit, s: twelve hours.
pub const TOGETHER_S: f64 = 12.0 * 3600.0;

/// What the readings of a visit come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Visit {
    /// Mean of their times, s.
    pub at_s: f64,
    /// Their weighted mean. Its uncertainty is that of a single one, since nobody knows
    /// how much of it they share (JCGM 100, 5.2.5), or what they scatter by where that
    /// is more.
    pub value: Reading,
    /// Mean temperature, °C, where known.
    pub temperature_c: Option<f64>,
    /// Number of readings.
    pub readings: usize,
}

/// Visits of `points`, which must be in order of time. What was done to the unit in
/// between parts two visits.
pub fn visits(points: &[Point], events: &[Event]) -> Vec<Visit> {
    let parted = |a: f64, b: f64| events.iter().any(|e| e.at_s > a && e.at_s <= b);
    let mut all = Vec::new();
    let mut from = 0;
    for to in 1..=points.len() {
        let goes_on = points.get(to).is_some_and(|next| {
            next.at_s - points[from].at_s < TOGETHER_S && !parted(points[to - 1].at_s, next.at_s)
        });
        if !goes_on {
            all.push(visit(&points[from..to]));
            from = to;
        }
    }
    all
}

fn visit(points: &[Point]) -> Visit {
    let count = points.len() as f64;
    let (mut weight, mut value, mut u) = (0.0, 0.0, 0.0);
    for p in points {
        let w = p.value.u.powi(-2);
        weight += w;
        value += w * (p.value.value - points[0].value.value);
        u += w * p.value.u;
    }
    let value = points[0].value.value + value / weight;
    let scatter: f64 = points.iter().map(|p| (p.value.value - value).powi(2)).sum();
    let of_mean = (scatter / (count * (count - 1.0).max(1.0))).sqrt();
    let warm: Vec<f64> = points.iter().filter_map(|p| p.temperature_c).collect();
    Visit {
        at_s: points[0].at_s + points.iter().map(|p| p.at_s - points[0].at_s).sum::<f64>() / count,
        value: Reading::new(value, (u / weight).max(of_mean)),
        temperature_c: (!warm.is_empty()).then(|| warm.iter().sum::<f64>() / warm.len() as f64),
        readings: points.len(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::series::EventKind;
    use super::*;

    const HOUR: f64 = 3600.0;

    fn point(at_s: f64, value: f64) -> Point {
        Point { at_s, value: Reading::new(value, 0.1), temperature_c: None }
    }

    #[test]
    fn a_day_is_one_visit_unless_something_was_done() {
        let points = [0.0, HOUR, 5.0 * HOUR, 30.0 * HOUR].map(|t| point(t, 1.0));
        let found = visits(&points, &[]);
        assert_eq!(found.iter().map(|v| v.readings).collect::<Vec<_>>(), [3, 1]);
        assert_eq!(found[0].at_s, 2.0 * HOUR);
        let event = Event { at_s: 2.0 * HOUR, kind: EventKind::Battery };
        assert_eq!(visits(&points, &[event]).len(), 3);
        assert!(visits(&[], &[event]).is_empty());
    }

    #[test]
    fn many_readings_of_a_day_are_no_better_than_one_but_may_be_worse() {
        let same: Vec<Point> = (0..9).map(|i| point(60.0 * f64::from(i), 5.0)).collect();
        let found = visits(&same, &[]);
        assert!((found[0].value.u - 0.1).abs() < 1e-12 && found[0].value.value == 5.0);
        let apart = [point(0.0, 4.0), point(60.0, 6.0)];
        assert!((visits(&apart, &[])[0].value.u - 1.0).abs() < 1e-12);
    }

    #[test]
    fn an_hourly_record_has_visits_too() {
        let points: Vec<Point> = (0..240).map(|i| point(HOUR * f64::from(i), 1.0)).collect();
        assert_eq!(visits(&points, &[]).len(), 20);
    }
}
