//! All quantities of a unit, worst first.

use super::forecast::{Forecast, leaving, passed};
use super::quantity::Tracked;
use super::series::{Event, Point};
use super::standing::{Standing, standing};
use super::trend::{Trend, trend};
use crate::limits::LimitSet;
use crate::reading::Reading;
use crate::uncertainty::coverage;

/// One quantity of a unit as it was followed.
#[derive(Clone, Debug, PartialEq)]
pub struct Followed {
    /// Which one.
    pub quantity: Tracked,
    /// Its readings, those without an uncertainty left out.
    pub readings: usize,
    /// Readings left out because they state no uncertainty over zero.
    pub without_uncertainty: usize,
    /// The last reading.
    pub last: Point,
    /// What it does; absent where there are too few visits.
    pub trend: Option<Trend>,
    /// When it leaves its limits; without a trend those that the last reading has passed,
    /// or may have.
    pub forecasts: Vec<Forecast>,
    /// How it stands.
    pub standing: Standing,
}

/// Follow one quantity. `points` in order of time; nothing is known of it without any
/// that has an uncertainty.
pub fn follow(
    quantity: Tracked,
    points: &[Point],
    events: &[Event],
    limits: &LimitSet,
    (now_s, horizon_s): (f64, f64),
) -> Option<Followed> {
    let usable = |p: &&Point| p.value.u > 0.0 && p.value.u.is_finite() && p.value.value.is_finite();
    let known: Vec<Point> = points.iter().filter(usable).copied().collect();
    let last = *known.last()?;
    let trend = trend(&known, events, &quantity);
    let bounds = quantity.bounds(limits);
    let forecasts = trend
        .as_ref()
        .map_or_else(|| passed(last.value, bounds), |t| leaving(t, bounds, now_s, horizon_s));
    let standing = standing(trend.as_ref(), &forecasts, now_s);
    Some(Followed {
        quantity,
        readings: known.len(),
        without_uncertainty: points.len() - known.len(),
        last,
        trend,
        forecasts,
        standing,
    })
}

/// By how much the line changed between two times, and how likely chance makes as much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Later less earlier.
    pub by: Reading,
    /// Probability that chance makes as much.
    pub chance: f64,
}

impl Trend {
    /// What changed between two times, both within the time of the visits; `None` where
    /// the first is before all visits or there is none after it.
    pub fn change(&self, from_s: f64, to_s: f64) -> Option<Change> {
        let (first, last) = (self.visits.first()?.at_s, self.visits.last()?.at_s);
        let to_s = to_s.min(last);
        if from_s < first || to_s <= from_s {
            return None;
        }
        let by = self.difference(from_s, to_s);
        let chance = 2.0 * coverage::student_cdf(-(by.value / by.u).abs(), self.degrees_of_freedom);
        Some(Change { by, chance })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::Side;
    use crate::limits::published;

    /// Eight visits within a month, upwards by a tenth of a hertz a day: years later
    /// nobody knows, and nothing measured was ever beyond the limit.
    #[test]
    fn a_line_drawn_on_is_no_measurement() {
        let set = published::named(published::CURRENT).unwrap();
        let quantity = Tracked::named("carrier_hz").unwrap();
        let day_s = 86_400.0;
        let points: Vec<Point> = (0..8)
            .map(|i| {
                let days = 4.0 * f64::from(i);
                let value = Reading::new(457_070.0 + 0.1 * days, 0.05);
                Point { at_s: days * day_s, value, temperature_c: None }
            })
            .collect();
        let seen = |days: f64| follow(quantity, &points, &[], &set, (days * day_s, 1e9)).unwrap();
        assert!(matches!(seen(30.0).standing, Standing::DriftsOut(_)));
        let later = seen(1000.0);
        assert_eq!(later.standing, Standing::DriftsAcross);
        assert!(later.forecasts.iter().all(|f| f.leaving != crate::history::Leaving::Left));
    }

    /// Readings that agree to the last digit are known as well as they state.
    #[test]
    fn readings_all_alike_are_no_waves() {
        let set = published::named(published::CURRENT).unwrap();
        let quantity = Tracked::named("carrier_hz").unwrap();
        let point = |i: i32| {
            let value = Reading::new(457_060.0, 5.0);
            Point { at_s: 1e6 * f64::from(i), value, temperature_c: None }
        };
        let points: Vec<Point> = (0..8).map(point).collect();
        let trend = follow(quantity, &points, &[], &set, (8e6, 1e9)).unwrap().trend.unwrap();
        assert!(trend.level(4e6).u < 5.0, "{:?}", trend.level(4e6));
    }

    /// Two visits tell no trend, but a carrier far off is far off.
    #[test]
    fn few_readings_are_held_against_the_limits() {
        let set = published::named(published::CURRENT).unwrap();
        let quantity = Tracked::named("carrier_hz").unwrap();
        let with = |value: f64, u: f64| {
            let point =
                |at_s: f64| Point { at_s, value: Reading::new(value, u), temperature_c: None };
            let points = [point(0.0), point(1e6)];
            follow(quantity, &points, &[], &set, (2e6, 1e9)).unwrap()
        };
        assert_eq!(with(457_000.0, 1.0).standing, Standing::Unknown);
        assert_eq!(with(457_079.0, 1.0).standing, Standing::Open);
        let off = with(457_090.0, 1.0);
        assert_eq!((off.standing, off.forecasts[0].side), (Standing::Outside, Side::Upper));
        assert_eq!(with(456_900.0, 0.1).forecasts[0].side, Side::Lower);
        let nothing = [Point { at_s: 0.0, value: Reading::new(1.0, 0.0), temperature_c: None }];
        assert_eq!(follow(quantity, &nothing, &[], &set, (0.0, 1.0)), None);
    }
}
