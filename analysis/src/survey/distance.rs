//! A survey over distance: where the receiver stands, and what it then reads.

use std::cmp::Ordering;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::comparison::Comparison;
use super::kind::{Heard, Kind, check_zero_or_more, is_positive};
use super::plan::{Plan, PlanError};
use super::state::{Refused, Survey};
use super::surveyed::NotTaken;
use crate::field::constants::NOMINAL_CARRIER_HZ;
use crate::range::fit::fit;
use crate::range::{
    Alignment, DipoleFit, FieldReading, OffsetChoice, Options, RangeAnalysis, RangeError, analyse,
    common_u_rel,
};
use crate::reading::Reading;

/// A survey over distance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Distance {
    /// Standard uncertainty of each stated distance, m.
    pub u_distance_m: f64,
}

/// A place of the receiver.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// Distance between the centres of the coils, m.
    pub distance_m: f64,
    /// How the receiver stands to the transmitter.
    pub alignment: Alignment,
}

impl Point {
    /// Nearest first; of two as near, coaxial first.
    pub fn by_nearness(&self, other: &Self) -> Ordering {
        self.distance_m.total_cmp(&other.distance_m).then(self.alignment.cmp(&other.alignment))
    }
}

impl fmt::Display for Point {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} m {}", self.distance_m, self.alignment)
    }
}

/// In which order the points of a plan come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    /// Nearest first: the strongest field shows at once whether the right unit
    /// is heard, and the fit has its lever before the noise matters.
    #[default]
    NearestFirst,
    /// As given.
    AsGiven,
}

impl Plan<Distance> {
    /// A plan of these points in that order.
    ///
    /// # Errors
    ///
    /// No point, or a distance that is not over zero.
    pub fn new(mut points: Vec<Point>, order: Order) -> Result<Self, PlanError> {
        if order == Order::NearestFirst {
            points.sort_by(Point::by_nearness);
        }
        Self::as_given(points)
    }
}

/// The point that a person wrote: a distance in m, with `m` behind it or not,
/// and after a colon the alignment when it is not `default`: `5`, `2.5m:coplanar`.
///
/// # Errors
///
/// Text that is no such point.
pub fn parse_point(text: &str, default: Alignment) -> Result<Point, PlanError> {
    let (distance, word) = match text.split_once(':') {
        Some((distance, word)) => (distance, Some(word)),
        None => (text, None),
    };
    let number = distance.trim();
    let number = number.strip_suffix('m').unwrap_or(number).trim_end();
    let not_a_point = || PlanError::NotAPoint(text.trim().to_owned());
    let distance_m: f64 = number.parse().map_err(|_| not_a_point())?;
    let alignment = word.map_or(Ok(default), |word| word.parse().map_err(|_| not_a_point()))?;
    Ok(Point { distance_m, alignment })
}

impl Kind for Distance {
    type Point = Point;
    type Reading = FieldReading;

    fn check(&self) -> Result<(), Refused> {
        check_zero_or_more("u_distance_m", self.u_distance_m)
    }

    fn check_point(point: &Point) -> Result<(), PlanError> {
        let distance_m = point.distance_m;
        if is_positive(distance_m) { Ok(()) } else { Err(PlanError::Distance(distance_m)) }
    }

    /// Magnitude over the axes. Its u is that from pulse to pulse together with
    /// that of the stated distance, 3 u(d)/d of the field by the near field's 1/r³.
    fn reading(&self, point: &Point, heard: &Heard) -> Result<FieldReading, NotTaken> {
        let field = heard.field_a_per_m()?;
        let by_distance = 3.0 * self.u_distance_m / point.distance_m * field.value;
        Ok(FieldReading {
            distance_m: point.distance_m,
            field_a_per_m: field.value,
            u_field_a_per_m: field.u.hypot(by_distance),
            alignment: point.alignment,
        })
    }

    fn is_sound(reading: &FieldReading, point: &Point) -> bool {
        let here = Point { distance_m: reading.distance_m, alignment: reading.alignment };
        here == *point && is_positive(reading.field_a_per_m) && is_positive(reading.u_field_a_per_m)
    }

    fn field_a_per_m(reading: &FieldReading) -> Reading {
        Reading::new(reading.field_a_per_m, reading.u_field_a_per_m)
    }
}

impl Survey<Distance> {
    /// A dipole fitted to the readings that count. It needs three of them, two
    /// at different distances in one alignment.
    ///
    /// # Errors
    ///
    /// What the readings lack.
    pub fn fit(&self) -> Result<DipoleFit, RangeError> {
        self.fit_without(None)
    }

    /// All that follows from the readings that count, the calibration they share
    /// included.
    ///
    /// # Errors
    ///
    /// What the readings lack.
    pub fn analyse(&self) -> Result<RangeAnalysis, RangeError> {
        let readings: Vec<FieldReading> = self.kept().map(|kept| kept.taken.reading).collect();
        let u_calibration_rel = common_u_rel(&self.u_calibration_rel());
        analyse(&readings, &Options { u_calibration_rel, ..Options::default() })
    }

    /// The reading of that number beside the fit to all others that count;
    /// `None` while these give no fit.
    pub fn compare(&self, number: usize) -> Option<Comparison> {
        let reading = &self.reading(number)?.reading;
        self.fit_without(Some(number)).ok().map(|fit| Comparison::of(reading, &fit))
    }

    fn fit_without(&self, left_out: Option<usize>) -> Result<DipoleFit, RangeError> {
        let counts = self.kept().filter(|kept| Some(kept.number) != left_out);
        let readings: Vec<FieldReading> = counts.map(|kept| kept.taken.reading).collect();
        fit(&readings, OffsetChoice::Auto, NOMINAL_CARRIER_HZ)
    }
}

#[cfg(test)]
mod tests {
    use super::super::surveyed::tests::transmitter;
    use super::*;
    use crate::signal::Transmitter;
    use Alignment::{Coaxial, Coplanar};

    fn point(distance_m: f64, alignment: Alignment) -> Point {
        Point { distance_m, alignment }
    }

    #[test]
    fn points_as_people_write_them() {
        for (text, expected) in [
            ("5", point(5.0, Coaxial)),
            (" 2.5m ", point(2.5, Coaxial)),
            ("2.5 m:coplanar", point(2.5, Coplanar)),
            ("7: Coaxial", point(7.0, Coaxial)),
        ] {
            assert_eq!(parse_point(text, Coaxial), Ok(expected));
        }
        for wrong in ["", "m", "2,5", "5:", "5:axial", "5:coaxial:1"] {
            assert!(matches!(parse_point(wrong, Coaxial), Err(PlanError::NotAPoint(_))), "{wrong}");
        }
    }

    #[test]
    fn nearest_comes_first_unless_told_otherwise() {
        let given = vec![point(7.0, Coaxial), point(2.0, Coplanar), point(2.0, Coaxial)];
        let sorted = Plan::new(given.clone(), Order::NearestFirst).unwrap();
        assert_eq!(sorted.points(), [given[2], given[1], given[0]]);
        assert_eq!(Plan::new(given.clone(), Order::AsGiven).unwrap().points(), given);
    }

    #[test]
    fn plans_that_lead_nowhere_are_refused() {
        assert_eq!(Plan::<Distance>::as_given(Vec::new()), Err(PlanError::Empty));
        for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let plan = Plan::new(vec![point(1.0, Coaxial), point(wrong, Coaxial)], Order::AsGiven);
            assert!(matches!(plan, Err(PlanError::Distance(_))), "{wrong}");
        }
        assert!(serde_json::from_str::<Plan>("[]").is_err());
    }

    /// What a unit reads at 6 m.
    fn reading(u_distance_m: f64, of: &Transmitter) -> Result<FieldReading, NotTaken> {
        let heard = Heard { transmitter: of, noise_a_per_m_rthz: &[1e-9; 3] };
        Distance { u_distance_m }.reading(&point(6.0, Coaxial), &heard)
    }

    /// 2 cm in 6 m are 1 % of the field; the calibration's 5 % stand aside.
    #[test]
    fn u_is_noise_and_distance_without_the_calibration() {
        let of = transmitter(457e3, 1.0, 1e-6);
        let u_rel = |u_distance_m: f64| reading(u_distance_m, &of).unwrap().u_rel();
        assert!((u_rel(0.02) - 0.01_f64.hypot(0.004)).abs() < 1e-12);
        assert!((u_rel(0.0) - 0.004).abs() < 1e-12);
    }

    #[test]
    fn counts_without_calibration_and_senseless_fields_give_no_reading() {
        let mut of = transmitter(457e3, 1.0, 1e-6);
        of.field_a_per_m = None;
        assert_eq!(reading(0.01, &of), Err(NotTaken::NotCalibrated));
        let mut of = transmitter(457e3, 1.0, 1e-6);
        of.amplitude.u = f64::INFINITY;
        assert!(matches!(reading(0.01, &of), Err(NotTaken::NoField { .. })));
    }
}
