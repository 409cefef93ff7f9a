//! Plans of surveys as they are stated on the page.

use coilrig_analysis::angle::Turned;
use coilrig_analysis::range::Alignment;
use coilrig_analysis::reading::Reading;
use coilrig_analysis::survey::{
    Angle, Distance, Grid, Order, Plan, Rectangle, Setup, Way, parse_point,
};
use serde::Deserialize;

use crate::error::{Error, Result};
use crate::surveying::{U_ANGLE_DEG, U_DISTANCE_M, U_PLACING_REL};

/// Most places of a grid that is stated on a page.
const MOST_PLACES: f64 = 400.0;

/// What to begin.
#[derive(Debug, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Begun {
    /// Field over distance.
    Distance(DistancePlan),
    /// Coupling over angle.
    Angle(AnglePlan),
    /// Field vectors over a rectangle.
    Grid(GridPlan),
}

/// Distances.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DistancePlan {
    /// As on the command line: 2,3,5,5:coplanar,7.
    distances: String,
    /// Where it is not stated with a distance.
    alignment: Alignment,
}

/// A whole turn.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AnglePlan {
    step_deg: f64,
    turned: Turned,
    /// For the moment in A·m².
    #[serde(default)]
    distance_m: Option<f64>,
}

/// A rectangle.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GridPlan {
    size_m: [f64; 2],
    spacing_m: [f64; 2],
    /// Height of the coils.
    height_m: f64,
}

fn senseless(error: impl std::fmt::Display) -> Error {
    Error::usage(error.to_string(), "correct the plan")
}

impl DistancePlan {
    /// The set-up of the survey.
    ///
    /// # Errors
    ///
    /// Distances that are none.
    pub fn setup(&self) -> Result<Setup<Distance>> {
        let points = self.distances.split(',').map(|text| parse_point(text, self.alignment));
        let points = points.collect::<std::result::Result<_, _>>().map_err(senseless)?;
        let plan = Plan::new(points, Order::NearestFirst).map_err(senseless)?;
        Ok(Setup { plan, kind: Distance { u_distance_m: U_DISTANCE_M }, carrier_hz: None })
    }
}

impl AnglePlan {
    /// The set-up of the survey.
    ///
    /// # Errors
    ///
    /// Steps that make no turn.
    pub fn setup(&self) -> Result<Setup<Angle>> {
        let plan = Plan::<Angle>::steps(0.0, 360.0, self.step_deg).map_err(senseless)?;
        let kind = Angle {
            turned: self.turned,
            u_angle_deg: U_ANGLE_DEG,
            distance_m: self.distance_m.map(|value| Reading::new(value, U_DISTANCE_M)),
        };
        Ok(Setup { plan, kind, carrier_hz: None })
    }
}

impl GridPlan {
    /// The set-up of the survey.
    ///
    /// # Errors
    ///
    /// A rectangle that is none, or one with more places than anybody walks.
    pub fn setup(&self) -> Result<Setup<Grid>> {
        let places: f64 =
            (0..2).map(|i| (self.size_m[i] / self.spacing_m[i]).floor() + 1.0).product();
        if places.is_nan() || places > MOST_PLACES {
            return Err(senseless(format!("{places} places are more than {MOST_PLACES}")));
        }
        let corner_m = [0.0, 0.0, self.height_m];
        let Self { size_m, spacing_m, .. } = *self;
        let rectangle = Rectangle { corner_m, size_m, spacing_m, way: Way::Serpentine };
        let plan = rectangle.places().and_then(Plan::as_given).map_err(senseless)?;
        Ok(Setup { plan, kind: Grid { u_placing_rel: U_PLACING_REL }, carrier_hz: None })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn begun(json: &str) -> std::result::Result<usize, String> {
        let plan: Begun = serde_json::from_str(json).map_err(|e| e.to_string())?;
        let count = match &plan {
            Begun::Distance(plan) => plan.setup().map(|s| s.plan.points().len()),
            Begun::Angle(plan) => plan.setup().map(|s| s.plan.points().len()),
            Begun::Grid(plan) => plan.setup().map(|s| s.plan.points().len()),
        };
        count.map_err(|e| e.to_string())
    }

    #[test]
    fn plans_of_the_page_are_those_of_the_command() {
        let distance = r#"{"kind":"distance","distances":"2,3,5:coplanar","alignment":"coaxial"}"#;
        assert_eq!(begun(distance), Ok(3));
        assert_eq!(begun(r#"{"kind":"angle","step_deg":30,"turned":"unit"}"#), Ok(12));
        let grid = r#"{"kind":"grid","size_m":[4,2],"spacing_m":[2,2],"height_m":0.5}"#;
        assert_eq!(begun(grid), Ok(6));
        for wrong in [
            r#"{"kind":"distance","distances":"","alignment":"coaxial"}"#,
            r#"{"kind":"distance","distances":"2","alignment":"sideways"}"#,
            r#"{"kind":"angle","step_deg":0,"turned":"unit"}"#,
            r#"{"kind":"grid","size_m":[1e9,1e9],"spacing_m":[1,1],"height_m":0}"#,
            r#"{"kind":"grid","size_m":[4,2],"spacing_m":[0,2],"height_m":0}"#,
            r#"{"kind":"walk"}"#,
        ] {
            assert!(begun(wrong).is_err(), "{wrong}");
        }
    }
}
