//! Where readings are to be taken, and in which order.

use std::cmp::Ordering;
use std::fmt;

use serde::{Deserialize, Serialize};

use crate::range::Alignment;

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

/// The points of a survey in the order in which they are due. The same place may
/// come more than once: the receiver is then placed there anew.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<Point>", into = "Vec<Point>")]
pub struct Plan(Vec<Point>);

impl Plan {
    /// A plan of these points.
    ///
    /// # Errors
    ///
    /// No point, or a distance that is not over zero.
    pub fn new(mut points: Vec<Point>, order: Order) -> Result<Self, PlanError> {
        let is_distance = |d: f64| d > 0.0 && d.is_finite();
        if let Some(wrong) = points.iter().find(|p| !is_distance(p.distance_m)) {
            return Err(PlanError::Distance(wrong.distance_m));
        }
        if points.is_empty() {
            return Err(PlanError::Empty);
        }
        if order == Order::NearestFirst {
            points.sort_by(Point::by_nearness);
        }
        Ok(Self(points))
    }

    /// The points in order.
    pub fn points(&self) -> &[Point] {
        &self.0
    }
}

impl TryFrom<Vec<Point>> for Plan {
    type Error = PlanError;

    fn try_from(points: Vec<Point>) -> Result<Self, PlanError> {
        Self::new(points, Order::AsGiven)
    }
}

impl From<Plan> for Vec<Point> {
    fn from(plan: Plan) -> Self {
        plan.0
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

/// What is wrong with a plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// Nowhere to go.
    #[error("the plan has no point")]
    Empty,
    /// A distance that is none.
    #[error("a distance of {0} m: distances must be over zero")]
    Distance(f64),
    /// Text that names no place.
    #[error("\"{0}\" is no point such as 5, 2.5m or 5:coplanar")]
    NotAPoint(String),
}

#[cfg(test)]
mod tests {
    use super::*;
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
        assert_eq!(Plan::new(Vec::new(), Order::AsGiven), Err(PlanError::Empty));
        for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let plan = Plan::new(vec![point(1.0, Coaxial), point(wrong, Coaxial)], Order::AsGiven);
            assert!(matches!(plan, Err(PlanError::Distance(_))), "{wrong}");
        }
        assert!(serde_json::from_str::<Plan>("[]").is_err());
    }
}
