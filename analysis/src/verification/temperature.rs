//! A carrier over temperature: a resonator that leaves its band in the cold.
//!
//! A straight line through the mean carriers of captures at different
//! temperatures. Resonators bend, most below −10 °C, so beyond the temperatures
//! measured the line is a warning, not a finding.

use serde::Serialize;

use super::heard::Heard;
use crate::limits::Bound;
use crate::reading::Reading;
use crate::uncertainty::{Input, Inputs, propagate};

/// Temperatures closer together than this say nothing of the unit, °C.
const LEAST_SPAN_C: f64 = 5.0;

/// Standard uncertainty of a unit's temperature, read beside it, °C (common practice,
/// no source).
const U_TEMPERATURE_C: f64 = 1.0;

/// Where a unit must work, °C (EN 300 718-1, from memory).
const WORK_C: std::ops::RangeInclusive<f64> = -20.0..=45.0;

/// Where a unit is used or kept, °C: what lies beyond is nobody's concern.
const WEATHER_C: std::ops::RangeInclusive<f64> = -60.0..=80.0;

/// A mean carrier at a temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtTemperature {
    /// Temperature of the unit, °C.
    pub temperature_c: f64,
    /// Its carrier, Hz, with what is new in every capture: noise, repeatability and
    /// drift.
    pub carrier_hz: Reading,
    /// What the receiver's clock adds, the same in all captures, Hz.
    pub u_clock_hz: f64,
}

impl AtTemperature {
    /// The carrier of a capture made with the unit at `temperature_c`, °C.
    pub fn of(heard: &Heard<'_>, temperature_c: f64) -> Self {
        let Reading { value, u } = heard.carrier_of_this_capture();
        // Anywhere between its ends alike.
        let u_drift_hz = heard.half_drift_hz() / 3f64.sqrt();
        Self {
            temperature_c,
            carrier_hz: Reading::new(value, u.hypot(u_drift_hz)),
            u_clock_hz: heard.u_clock_hz(),
        }
    }
}

/// What the carrier does with temperature.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OverTemperature {
    /// Change of the carrier per degree.
    pub drift_hz_per_c: Reading,
    /// Lowest temperature measured at.
    pub from_c: f64,
    /// Highest temperature measured at.
    pub to_c: f64,
    /// Where the line leaves the band; absent without a bound on that side, for a
    /// change that is not beyond its uncertainty, and beyond −60 °C and 80 °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub leaves_band_below_c: Option<Reading>,
    /// Where it leaves the band in the heat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub leaves_band_above_c: Option<Reading>,
}

/// The line through `points`, and where it leaves `bound`. `None` for fewer than two
/// temperatures, or temperatures less than 5 °C apart.
///
/// The clock of the receiver is common to all captures: it moves the line, and
/// where it leaves the band, but not its slope.
pub fn over_temperature(
    points: &[AtTemperature],
    bound: Option<&Bound>,
) -> Option<OverTemperature> {
    let from_c = points.iter().map(|p| p.temperature_c).fold(f64::INFINITY, f64::min);
    let to_c = points.iter().map(|p| p.temperature_c).fold(f64::NEG_INFINITY, f64::max);
    if points.len() < 2 || to_c - from_c < LEAST_SPAN_C {
        return None;
    }
    // What a temperature is off counts as its share of the slope.
    let first = Line::through(points, 0.0);
    let line = Line::through(points, first.slope * U_TEMPERATURE_C);
    let u_clock_hz = points.iter().map(|p| p.u_clock_hz).fold(0.0, f64::max);
    let drift = Reading::new(line.slope, (line.scatter / line.spread).sqrt());
    let u_level_hz = (line.scatter / line.weight).sqrt().hypot(u_clock_hz);
    let level = Reading::new(line.level_hz, u_level_hz);
    let at = |limit: Option<f64>| leaves(limit?, line.middle_c, level, drift);
    let (lower, upper) = (bound.and_then(|b| b.lower), bound.and_then(|b| b.upper));
    let (cold, warm) = if line.slope > 0.0 { (lower, upper) } else { (upper, lower) };
    Some(OverTemperature {
        drift_hz_per_c: drift,
        from_c,
        to_c,
        leaves_band_below_c: at(cold),
        leaves_band_above_c: at(warm),
    })
}

/// Whether a unit must work at this temperature, °C.
pub fn must_work_at(temperature_c: f64) -> bool {
    WORK_C.contains(&temperature_c)
}

/// A straight line by weighted least squares.
struct Line {
    /// The weighted middle of the temperatures: there level and slope are independent.
    middle_c: f64,
    level_hz: f64,
    slope: f64,
    /// Sum of the weights, and of theirs times the squared distance from the middle.
    weight: f64,
    spread: f64,
    /// What the points scatter beyond their uncertainties: a bend, or a unit that had
    /// not reached its temperature. 1 where they do not.
    scatter: f64,
}

impl Line {
    /// Through carriers that are each uncertain by `u_more_hz` besides their own.
    fn through(points: &[AtTemperature], u_more_hz: f64) -> Self {
        let weight = |p: &AtTemperature| p.carrier_hz.u.max(1e-6).hypot(u_more_hz).powi(-2);
        let total: f64 = points.iter().map(weight).sum();
        let mean = |of: fn(&AtTemperature) -> f64| {
            points.iter().map(|p| weight(p) * of(p)).sum::<f64>() / total
        };
        let (middle_c, level_hz) = (mean(|p| p.temperature_c), mean(|p| p.carrier_hz.value));
        let away = |p: &AtTemperature| p.temperature_c - middle_c;
        let spread: f64 = points.iter().map(|p| weight(p) * away(p).powi(2)).sum();
        let product = |p: &AtTemperature| weight(p) * away(p) * (p.carrier_hz.value - level_hz);
        let slope = points.iter().map(product).sum::<f64>() / spread;
        let left = |p: &AtTemperature| p.carrier_hz.value - level_hz - slope * away(p);
        let chi_squared: f64 = points.iter().map(|p| weight(p) * left(p).powi(2)).sum();
        let spare = points.len() as f64 - 2.0;
        let scatter = if spare > 0.0 { (chi_squared / spare).max(1.0) } else { 1.0 };
        Self { middle_c, level_hz, slope, weight: total, spread, scatter }
    }
}

/// Temperature at which the line meets `limit_hz`.
fn leaves(limit_hz: f64, middle_c: f64, level: Reading, drift: Reading) -> Option<Reading> {
    // Without a drift beyond chance there is nowhere to meet.
    if drift.value.abs() <= 3.0 * drift.u {
        return None;
    }
    let mut inputs = Inputs::new();
    let at = inputs.add(Input::normal("level", "Hz", level.value, level.u).ok()?);
    let slope = inputs.add(Input::normal("drift", "Hz/°C", drift.value, drift.u).ok()?);
    let budget = propagate(&inputs, |x| middle_c + (limit_hz - x[at]) / x[slope]).ok()?;
    WEATHER_C.contains(&budget.value).then(|| budget.reading())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Quantity;
    use crate::limits::published;

    fn points(slope: f64, u_clock_hz: f64) -> Vec<AtTemperature> {
        [20.0, 5.0, -10.0]
            .map(|temperature_c| AtTemperature {
                temperature_c,
                carrier_hz: Reading::new(457_000.0 + slope * (temperature_c - 20.0), 0.05),
                u_clock_hz,
            })
            .into()
    }

    #[test]
    fn a_falling_carrier_leaves_the_band_in_the_cold() {
        let set = published::named("en-300-718-1").unwrap();
        let bound = set.bound(Quantity::Carrier);
        let found = over_temperature(&points(2.0, 0.0), bound).unwrap();
        assert!((found.drift_hz_per_c.value - 2.0).abs() < 1e-9);
        // 457 000 at 20 °C, 80 Hz lower 40 °C below.
        let cold = found.leaves_band_below_c.unwrap();
        // By hand: 1 °C of each temperature, three of them about 5 °C: 1/√3 °C of the
        // level, and 25/√450 of the slope.
        let by_hand = (1.0f64 / 3.0 + 625.0 / 450.0).sqrt();
        assert!((cold.value + 20.0).abs() < 1e-6, "{cold:?}");
        assert!((cold.u / by_hand - 1.0).abs() < 0.01, "{cold:?}, by hand {by_hand}");
        let warm = found.leaves_band_above_c.unwrap();
        assert!((warm.value - 60.0).abs() < 1e-6, "{warm:?}");
        assert!(must_work_at(-19.9) && !must_work_at(warm.value));
        // A carrier that rises in the cold meets the upper limit there.
        let rising = over_temperature(&points(-2.0, 0.0), bound).unwrap();
        assert!((rising.leaves_band_below_c.unwrap().value + 20.0).abs() < 1e-6);
        // Half the slope leaves it at −60 °C and, out of all weather, at 100 °C.
        let slow = over_temperature(&points(0.99, 0.0), bound).unwrap();
        assert_eq!((slow.leaves_band_below_c, slow.leaves_band_above_c), (None, None));
        // The clock moves the meeting place: 2 Hz of it a degree.
        let clock = over_temperature(&points(2.0, 2.0), bound).unwrap();
        assert!((clock.leaves_band_below_c.unwrap().u / by_hand.hypot(1.0) - 1.0).abs() < 0.01);
        assert_eq!(clock.drift_hz_per_c, found.drift_hz_per_c);
    }

    #[test]
    fn no_drift_leaves_nowhere_and_one_temperature_says_nothing() {
        let flat = over_temperature(&points(0.001, 0.0), None).unwrap();
        assert_eq!((flat.leaves_band_below_c, flat.leaves_band_above_c), (None, None));
        assert_eq!(over_temperature(&points(1.0, 0.0)[..1], None), None);
        let mut close = points(1.0, 0.0);
        close.truncate(2);
        close[1].temperature_c = 17.0;
        assert_eq!(over_temperature(&close, None), None);
    }
}
