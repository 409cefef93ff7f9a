//! A survey over places: the field vector on a grid or along lines.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::kind::{Heard, Kind, check_zero_or_more, is_positive};
use super::plan::PlanError;
use super::state::{Refused, Survey};
use super::surveyed::NotTaken;
use crate::reading::Reading;

/// A survey over places.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Grid {
    /// What placing and holding the receiver adds to the uncertainty of each
    /// component, as a share of the field.
    pub u_placing_rel: f64,
}

/// A place in station coordinates, m, z up.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Along x.
    pub x_m: f64,
    /// Along y.
    pub y_m: f64,
    /// Up.
    pub z_m: f64,
}

impl Place {
    /// The place at x, y, z, to whole millimetres.
    pub fn at(position_m: [f64; 3]) -> Self {
        let [x_m, y_m, z_m] = position_m.map(|c| (c * 1e3).round() / 1e3);
        Self { x_m, y_m, z_m }
    }

    /// x, y, z.
    pub fn position_m(&self) -> [f64; 3] {
        [self.x_m, self.y_m, self.z_m]
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "x {} m, y {} m, z {} m", self.x_m, self.y_m, self.z_m)
    }
}

/// The field at a place, along the station's axes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlaceReading {
    /// The place.
    #[serde(flatten)]
    pub place: Place,
    /// RMS field along x, y, z, A/m; the sign of all three together is free.
    pub h_a_per_m: [f64; 3],
    /// Standard uncertainty of each, A/m; the calibration is not in it.
    pub u_a_per_m: f64,
}

/// The way over a rectangle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Way {
    /// To and fro: each row begins where the last one ended.
    #[default]
    Serpentine,
    /// Each row from the same side.
    Rows,
}

/// A rectangle of places at one height: rows along x, one after the other along y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rectangle {
    /// The corner of least x and y, m, and the height of all places.
    pub corner_m: [f64; 3],
    /// Extent along x and y, m; 0 along one of them is a line.
    pub size_m: [f64; 2],
    /// Greatest distance from place to place along x and y, m.
    pub spacing_m: [f64; 2],
    /// The way.
    pub way: Way,
}

/// Most places of a plan.
const MOST_PLACES: usize = 2000;
/// Farthest that a coordinate may be from the origin, m.
const FARTHEST_M: f64 = 1e4;

impl Rectangle {
    /// Its places in order, evenly spread.
    ///
    /// # Errors
    ///
    /// Numbers that make no rectangle, or too many places.
    pub fn places(&self) -> Result<Vec<Place>, PlanError> {
        let [across, up] = [0, 1].map(|axis| steps(self.size_m[axis], self.spacing_m[axis]));
        let (across, up) = (across?, up?);
        if (across + 1) * (up + 1) > MOST_PLACES {
            return Err(too_many());
        }
        let along = |axis: usize, i: usize, steps: usize| {
            self.corner_m[axis] + self.size_m[axis] * i as f64 / steps.max(1) as f64
        };
        let mut places = Vec::new();
        for row in 0..=up {
            let back = self.way == Way::Serpentine && row % 2 == 1;
            for i in 0..=across {
                let i = if back { across - i } else { i };
                let position_m = [along(0, i, across), along(1, row, up), self.corner_m[2]];
                places.push(Place::at(position_m));
            }
        }
        Ok(places)
    }
}

/// Places evenly spread over the line between two, at most `spacing_m` apart.
///
/// # Errors
///
/// Numbers that make no line, or too many places.
pub fn line(from_m: [f64; 3], to_m: [f64; 3], spacing_m: f64) -> Result<Vec<Place>, PlanError> {
    let squares = from_m.iter().zip(to_m).map(|(a, b)| (b - a).powi(2));
    let count = steps(squares.sum::<f64>().sqrt(), spacing_m)?;
    let at = |i: usize| {
        let share = i as f64 / count.max(1) as f64;
        Place::at(std::array::from_fn(|axis| from_m[axis] + share * (to_m[axis] - from_m[axis])))
    };
    Ok((0..=count).map(at).collect())
}

/// Steps of at most `spacing_m` over `length_m`.
fn steps(length_m: f64, spacing_m: f64) -> Result<usize, PlanError> {
    if !(is_positive(spacing_m) && length_m >= 0.0 && length_m.is_finite()) {
        return Err(PlanError::Steps(format!(
            "{length_m} m in steps of {spacing_m} m: lengths must be 0 or more, steps over zero"
        )));
    }
    let count = (length_m / spacing_m - 1e-6).ceil().max(0.0);
    if count < MOST_PLACES as f64 { Ok(count as usize) } else { Err(too_many()) }
}

fn too_many() -> PlanError {
    PlanError::Steps(format!("more than {MOST_PLACES} places: take wider steps"))
}

impl Kind for Grid {
    type Point = Place;
    type Reading = PlaceReading;

    fn check(&self) -> Result<(), Refused> {
        check_zero_or_more("u_placing_rel", self.u_placing_rel)
    }

    fn check_point(point: &Place) -> Result<(), PlanError> {
        let is_none = |c: &f64| c.is_nan() || c.abs() > FARTHEST_M;
        let wrong = point.position_m().into_iter().find(is_none);
        wrong.map_or(Ok(()), |c| Err(PlanError::Coordinate(c)))
    }

    /// The components, their u that of noise together with the share for placing.
    fn reading(&self, point: &Place, heard: &Heard) -> Result<PlaceReading, NotTaken> {
        let field = heard.field_a_per_m()?;
        let components = heard.components()?.ok_or(NotTaken::OneAxis)?;
        Ok(PlaceReading {
            place: *point,
            h_a_per_m: components.h_a_per_m,
            u_a_per_m: components.u_a_per_m.hypot(self.u_placing_rel * field.value),
        })
    }

    fn is_sound(reading: &PlaceReading, point: &Place) -> bool {
        reading.place == *point
            && reading.h_a_per_m.iter().all(|h| h.is_finite())
            && is_positive(reading.u_a_per_m)
    }

    fn field_a_per_m(reading: &PlaceReading) -> Reading {
        let squares = reading.h_a_per_m.iter().map(|h| h * h);
        Reading::new(squares.sum::<f64>().sqrt(), reading.u_a_per_m)
    }
}

impl Survey<Grid> {
    /// The point of the strongest reading that counts, and its field, A/m.
    pub fn strongest(&self) -> Option<(usize, Reading)> {
        let fields = self.kept().map(|kept| (kept.taken.point, kept.taken.field()));
        fields.max_by(|a, b| a.1.value.total_cmp(&b.1.value))
    }
}

#[cfg(test)]
mod tests {
    use super::super::surveyed::tests::{heard, transmitter};
    use super::super::{Event, Plan, Setup};
    use super::*;

    fn rectangle(size_m: [f64; 2], spacing_m: [f64; 2], way: Way) -> Rectangle {
        Rectangle { corner_m: [1.0, 2.0, 0.1], size_m, spacing_m, way }
    }

    fn xy(places: &[Place]) -> Vec<(f64, f64)> {
        places.iter().map(|p| (p.x_m, p.y_m)).collect()
    }

    #[test]
    fn a_serpentine_never_walks_back_for_nothing() {
        let places = rectangle([2.0, 1.0], [1.0, 1.0], Way::Serpentine).places().unwrap();
        assert_eq!(
            xy(&places),
            [(1.0, 2.0), (2.0, 2.0), (3.0, 2.0), (3.0, 3.0), (2.0, 3.0), (1.0, 3.0)]
        );
        assert!(places.iter().all(|p| p.z_m == 0.1));
        let rows = rectangle([2.0, 1.0], [1.0, 1.0], Way::Rows).places().unwrap();
        assert_eq!(xy(&rows)[3], (1.0, 3.0));
        // Steps that do not fit are taken smaller, and a side of 0 is a line.
        let line = rectangle([2.0, 0.0], [0.75, 1.0], Way::Serpentine).places().unwrap();
        assert_eq!(xy(&line), [(1.0, 2.0), (1.667, 2.0), (2.333, 2.0), (3.0, 2.0)]);
    }

    #[test]
    fn lines_run_up_slopes() {
        let places = line([0.0, 0.0, 0.0], [3.0, 0.0, 1.5], 1.5).unwrap();
        let heights: Vec<f64> = places.iter().map(|p| p.z_m).collect();
        assert_eq!(heights, [0.0, 0.5, 1.0, 1.5]);
        assert_eq!(line([1.0; 3], [1.0; 3], 1.0).unwrap().len(), 1);
    }

    #[test]
    fn rectangles_that_are_none_are_refused() {
        for (size_m, spacing_m) in [
            ([8.0, 8.0], [0.0, 1.0]),
            ([8.0, 8.0], [-1.0, 1.0]),
            ([-8.0, 8.0], [1.0, 1.0]),
            ([8.0, f64::INFINITY], [1.0, 1.0]),
            ([800.0, 800.0], [0.1, 0.1]),
            ([50.0, 50.0], [1.0, 1.0]),
        ] {
            let places = rectangle(size_m, spacing_m, Way::Rows).places();
            assert!(matches!(places, Err(PlanError::Steps(_))), "{size_m:?} {spacing_m:?}");
        }
        let far = Plan::<Grid>::as_given(vec![Place::at([2e4, 0.0, 0.0])]);
        assert_eq!(far, Err(PlanError::Coordinate(2e4)));
    }

    #[test]
    fn one_axis_is_no_vector_and_placing_counts() {
        let plan = Plan::as_given(vec![Place::at([0.0; 3])]).unwrap();
        let kind = Grid { u_placing_rel: 0.03 };
        let mut survey = Survey::new(Setup { plan, kind, carrier_hz: None }).unwrap();
        let mut unit = transmitter(457e3, 1.0, 1e-6);
        let event = survey.take(1, &heard(vec![unit.clone()]), "a").unwrap();
        survey.apply(&event).unwrap();
        survey.apply(&Event::Kept { reading: 1 }).unwrap();
        let (point, field) = survey.strongest().unwrap();
        assert_eq!(point, 1);
        assert!((field.u / 1e-6 - 0.03f64.hypot(0.004)).abs() < 1e-9);
        unit.field_vector_a_per_m = Some(vec![1e-6]);
        let error = survey.take(1, &heard(vec![unit]), "a").unwrap_err().to_string();
        assert!(error.contains("one axis"), "{error}");
    }
}
