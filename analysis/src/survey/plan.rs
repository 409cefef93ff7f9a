//! Where readings are to be taken, and in which order.

use serde::{Deserialize, Serialize};

use super::distance::Distance;
use super::kind::Kind;

/// The points of a survey in the order in which they are due. The same place may
/// come more than once: the receiver is then placed there anew.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "", try_from = "Vec<K::Point>", into = "Vec<K::Point>")]
pub struct Plan<K: Kind = Distance>(Vec<K::Point>);

impl<K: Kind> Plan<K> {
    /// A plan of these points in this order.
    ///
    /// # Errors
    ///
    /// No point, or one that can be nowhere.
    pub fn as_given(points: Vec<K::Point>) -> Result<Self, PlanError> {
        points.iter().try_for_each(K::check_point)?;
        if points.is_empty() { Err(PlanError::Empty) } else { Ok(Self(points)) }
    }

    /// The points in order.
    pub fn points(&self) -> &[K::Point] {
        &self.0
    }
}

impl<K: Kind> TryFrom<Vec<K::Point>> for Plan<K> {
    type Error = PlanError;

    fn try_from(points: Vec<K::Point>) -> Result<Self, PlanError> {
        Self::as_given(points)
    }
}

impl<K: Kind> From<Plan<K>> for Vec<K::Point> {
    fn from(plan: Plan<K>) -> Self {
        plan.0
    }
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
    /// An angle that is none.
    #[error("an angle of {0}°: angles lie between −360° and 360°")]
    Angle(f64),
    /// A coordinate that is none.
    #[error("a place at {0} m: coordinates lie within 10 km of the origin")]
    Coordinate(f64),
    /// Steps that lead nowhere, or to too many points.
    #[error("{0}")]
    Steps(String),
    /// Text that names no place.
    #[error("\"{0}\" is no point such as 5, 2.5m or 5:coplanar")]
    NotAPoint(String),
}
