//! What a quantity does with temperature.

use super::Point;
use crate::line::Line;
use crate::reading::Reading;

/// Temperatures that were noted at times, straight lines between them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TemperatureCourse {
    /// Time (s) and temperature (°C), in order of time.
    noted: Vec<(f64, f64)>,
}

impl TemperatureCourse {
    /// From times (s) and temperatures (°C), in any order.
    pub fn new(mut noted: Vec<(f64, f64)>) -> Self {
        noted.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { noted }
    }

    /// Temperature (°C) at this time (s); nothing is said of times before the first
    /// note or after the last.
    pub fn at(&self, at_s: f64) -> Option<f64> {
        let after = self.noted.partition_point(|n| n.0 < at_s);
        let (t1, c1) = *self.noted.get(after)?;
        if t1 == at_s {
            return Some(c1);
        }
        let (t0, c0) = *self.noted.get(after.checked_sub(1)?)?;
        Some(c0 + (c1 - c0) * (at_s - t0) / (t1 - t0))
    }
}

/// Less warming and cooling (°C, from the coldest to the warmest) shows nothing.
pub const LEAST_SPAN_C: f64 = 2.0;

/// Change of a quantity per °C: the slope of a straight line through values at
/// temperatures (°C), by weighted least squares, its uncertainty from the scatter about
/// the line where that is more than the values' own (Birge's ratio, Phys. Rev. 40 (1932)
/// 207, quoted from memory). `None` for fewer than five values or less than
/// [`LEAST_SPAN_C`] between them.
///
/// A resonator's curve is no line over tens of °C, and runs late behind the air when it
/// warms fast: both are in the scatter, and so in the uncertainty.
pub fn per_degree(points: &[(f64, Point)]) -> Option<Reading> {
    let temperatures = || points.iter().map(|p| p.0);
    let (low, high) = temperatures().fold((f64::MAX, f64::MIN), |s, c| (s.0.min(c), s.1.max(c)));
    if points.len() < 5 || high - low < LEAST_SPAN_C {
        return None;
    }
    let mut line = Line::default();
    for (celsius, p) in points {
        line.add(*celsius, p.value.value, p.value.u.powi(-2));
    }
    let birge = (line.residual() / (points.len() - 2) as f64).max(1.0);
    Some(Reading::new(line.slope(), (birge / line.spread()).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_notes_and_nowhere_else() {
        let course = TemperatureCourse::new(vec![(100.0, -5.0), (0.0, 5.0), (200.0, -5.0)]);
        assert_eq!(course.at(0.0), Some(5.0));
        assert_eq!(course.at(50.0), Some(0.0));
        assert_eq!(course.at(150.0), Some(-5.0));
        assert_eq!(course.at(200.0), Some(-5.0));
        assert_eq!((course.at(-1.0), course.at(201.0)), (None, None));
        assert_eq!(TemperatureCourse::default().at(0.0), None);
    }

    #[test]
    fn slope_with_the_scatter_of_a_bent_curve() {
        let point = |c: f64, value: f64| (c, Point { at_s: 0.0, value: Reading::new(value, 0.1) });
        let line: Vec<_> =
            (0..20).map(|i| f64::from(i) - 10.0).map(|c| point(c, 457_000.0 + 0.4 * c)).collect();
        let slope = per_degree(&line).unwrap();
        assert!((slope.value - 0.4).abs() < 1e-9);
        // σ / √Σ(c − c̄)², c = 20 equal steps: Σ = n (n² − 1) / 12 = 665.
        assert!((slope.u - 0.1 / 665f64.sqrt()).abs() < 1e-12);
        let bent: Vec<_> = line.iter().map(|(c, _)| point(*c, 0.4 * c + 0.1 * c * c)).collect();
        assert!(per_degree(&bent).unwrap().u > 10.0 * slope.u);
    }

    #[test]
    fn too_little_says_nothing() {
        let point = |c: f64| (c, Point { at_s: 0.0, value: Reading::new(1.0, 0.1) });
        assert_eq!(per_degree(&[0.0, 1.0, 2.0, 3.0].map(point)), None);
        assert_eq!(per_degree(&[0.0, 0.1, 0.2, 0.3, 0.4, 0.5].map(point)), None);
    }
}
