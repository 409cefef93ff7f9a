//! A station's plan as a whole.

use super::above::{Above, above, on_the_snow};
use super::extent::extent;
use super::field_map::{FieldMap, Shares};
use super::field_over_snow::{FieldOverSnow, Space};
use super::first_heard::{Walk, walk};
use super::lanes::{Way, lanes};
use super::masking::{Masking, masking};
use crate::field::layered::GroundError;
use crate::limits::RECEIVER_THRESHOLD;
use crate::station::{Bounds, Station};

/// How a station is to be looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// RMS field from which on a unit is heard, A/m, over 0.
    pub threshold_a_per_m: f64,
    /// Height of a receiver carried over the snow, straight up, m, over 0.
    pub height_m: f64,
    /// Width of a lane, m, over 0.
    pub lane_width_m: f64,
    /// Which way lanes run.
    pub way: Way,
    /// What the field is computed in.
    pub space: Space,
    /// Points of the map along its longer side.
    pub points: usize,
}

impl Options {
    /// Height at which a receiver is carried on a search, m (common practice, no source).
    pub const HEIGHT_M: f64 = 1.0;
    /// Width of a lane on a training field, m (common practice, no source).
    pub const LANE_WIDTH_M: f64 = 20.0;

    /// As `station` is looked at where nobody says otherwise: over the ground it states,
    /// walked up first, heard from the least field that a receiver must hear.
    pub fn usual(station: &Station) -> Self {
        Self {
            threshold_a_per_m: RECEIVER_THRESHOLD.field_a_per_m,
            height_m: Self::HEIGHT_M,
            lane_width_m: Self::LANE_WIDTH_M,
            way: Way::Up,
            space: Space::of(station),
            points: 200,
        }
    }
}

/// Longest side of a field that is looked at, m: no training field is longer, and far
/// over ground the field is not known so well.
const LONGEST_M: f64 = 1000.0;

/// Why a station cannot be looked at.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// A ground whose numbers cannot be.
    #[error("{0}")]
    Ground(#[from] GroundError),
    /// A field that is too large.
    #[error("its field, as stated or round its units, is {0:.0} m long, more than {LONGEST_M} m")]
    TooLong(f64),
}

/// What a station will do to those who train on it.
pub struct Plan {
    /// As it was looked at.
    pub options: Options,
    /// The part of the map that is looked at.
    pub bounds: Bounds,
    /// Which units mask each other.
    pub masking: Masking,
    /// The field where a receiver is carried.
    pub field: FieldOverSnow,
    /// The same over the whole station.
    pub map: FieldMap,
    /// Shares of its area.
    pub shares: Shares,
    /// A walk in lanes.
    pub walk: Walk,
    /// The field where a receiver lies on the snow.
    pub on_the_snow: FieldOverSnow,
    /// The same just above each unit.
    pub above: Vec<Above>,
}

impl Plan {
    /// Look at `station`.
    ///
    /// # Errors
    ///
    /// A ground whose numbers cannot be, a field over a kilometre long.
    pub fn of(station: &Station, options: Options) -> Result<Self, PlanError> {
        let bounds = extent(station);
        let long_m = bounds.sides_m().into_iter().fold(0.0, f64::max);
        if long_m > LONGEST_M {
            return Err(PlanError::TooLong(long_m));
        }
        let field = FieldOverSnow::new(station, options.space, options.height_m, &bounds)?;
        let map = FieldMap::of(&field, &bounds, options.points);
        let corners = field.snow.corners(&bounds, options.height_m);
        let lanes = lanes(&corners, field.snow.downhill(), options.lane_width_m, options.way);
        let on_the_snow = on_the_snow(station, &bounds)?;
        Ok(Self {
            options,
            bounds,
            masking: masking(station, options.threshold_a_per_m),
            shares: map.shares(options.threshold_a_per_m),
            walk: walk(&field, lanes, options.threshold_a_per_m),
            above: (0..station.units.len()).map(|unit| above(&on_the_snow, unit)).collect(),
            field,
            map,
            on_the_snow,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::station;
    use super::*;

    #[test]
    fn a_field_that_is_none_is_refused() {
        let station = station("", &[(0.0, 0.0, 1.0, 0.0, 0.0), (4000.0, 0.0, 1.0, 0.0, 0.0)]);
        let error = Plan::of(&station, Options::usual(&station)).err();
        assert_eq!(error, Some(PlanError::TooLong(4030.0)));
    }

    /// One unit alone: nothing masks it, all that is heard is its own.
    #[test]
    fn one_unit_is_a_station_too() {
        let station = station("", &[(0.0, 0.0, 1.0, 0.0, 90.0)]);
        let plan = Plan::of(&station, Options { points: 30, ..Options::usual(&station) }).unwrap();
        assert!(plan.masking.pairs.is_empty() && plan.masking.share_of_time == 0.0);
        assert_eq!(plan.shares.units[0].heard, plan.shares.units[0].strongest);
        assert!(plan.walk.units[0].is_some() && plan.above.len() == 1);
    }
}
