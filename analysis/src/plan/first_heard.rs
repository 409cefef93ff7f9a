//! Where a station's units are first heard on a walk, and where their fields then lead.

use serde::Serialize;

use super::field_over_snow::FieldOverSnow;
use super::lanes::Lanes;
use super::search_path::{End, SLOW_SEARCH_M, SearchPath, search_path};
use super::snow::{Laid, distance_m};

/// How far apart the walk is looked at, m; then halved down to a millimetre.
const STRIDE_M: f64 = 0.25;
const HALVINGS: usize = 8;

/// A walk in lanes and what it meets.
#[derive(Clone, Debug, PartialEq)]
pub struct Walk {
    /// The lanes.
    pub lanes: Lanes,
    /// Its length along the snow, m, ways from lane to lane included.
    pub length_m: f64,
    /// Of each unit, in the order of the station; `None` for one that is never heard.
    pub units: Vec<Option<FirstHeard>>,
}

/// Where a unit is first heard and how one gets to it from there.
#[derive(Clone, Debug, PartialEq)]
pub struct FirstHeard {
    /// The place on the snow.
    pub at: Laid,
    /// Number of the lane, from 1; on the way to the next one it is still this.
    pub lane: usize,
    /// What was walked until then, m.
    pub after_m: f64,
    /// Field of the unit there, A/m: the threshold, or more where the walk begins or
    /// where a corner is taken.
    pub field_a_per_m: f64,
    /// Distance to the unit in space, m.
    pub distance_m: f64,
    /// Straight along the snow to the point square above the unit, m.
    pub straight_m: f64,
    /// The way along the field, to the circle of the slow search.
    pub path: SearchPath,
    /// How far from the point square above the unit it ends, m.
    pub end_from_unit_m: f64,
}

impl FirstHeard {
    /// Length of the way along the field and on from the circle straight to the point
    /// square above the unit, m; `None` where the field does not lead there.
    pub fn way_m(&self) -> Option<f64> {
        let rest_m = self.straight_m.min(SLOW_SEARCH_M);
        (self.path.end == End::SlowSearch).then(|| self.path.length_m() + rest_m)
    }
}

/// What a person reads of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FirstHeardSummary {
    /// Place on the map, m.
    pub x_m: f64,
    /// Place on the map, m.
    pub y_m: f64,
    /// As of [`FirstHeard`].
    pub lane: usize,
    /// As of [`FirstHeard`].
    pub after_m: f64,
    /// As of [`FirstHeard`].
    pub field_a_per_m: f64,
    /// As of [`FirstHeard`].
    pub distance_m: f64,
    /// As of [`FirstHeard`].
    pub straight_m: f64,
    /// As of [`FirstHeard::way_m`].
    pub along_field_m: Option<f64>,
    /// How the way along the field ends.
    pub end: End,
    /// How far from the point square above the unit it ends, m.
    pub end_from_unit_m: f64,
}

impl FirstHeard {
    /// In places of the map.
    pub fn summary(&self, field: &FieldOverSnow) -> FirstHeardSummary {
        let [x_m, y_m] = field.on_map(self.at);
        FirstHeardSummary {
            x_m,
            y_m,
            lane: self.lane,
            after_m: self.after_m,
            field_a_per_m: self.field_a_per_m,
            distance_m: self.distance_m,
            straight_m: self.straight_m,
            along_field_m: self.way_m(),
            end: self.path.end,
            end_from_unit_m: self.end_from_unit_m,
        }
    }
}

/// The walk along `lanes` by a person whose receiver has three axes and hears a unit
/// from `threshold_a_per_m` on.
pub fn walk(field: &FieldOverSnow, lanes: Lanes, threshold_a_per_m: f64) -> Walk {
    let corners = lanes.corners();
    let lengths = corners.windows(2).map(|pair| distance_m(pair[0], pair[1]));
    let length_m = lengths.sum();
    let heard = |unit: usize| {
        let (after_m, at, leg) =
            first(&corners, |at| field.magnitude(unit, at) >= threshold_a_per_m)?;
        let path = search_path(field, unit, at);
        let end = path.points[path.points.len() - 1];
        Some(FirstHeard {
            at,
            lane: leg / 2 + 1,
            after_m,
            field_a_per_m: field.magnitude(unit, at),
            distance_m: field.distance_m(unit, at),
            straight_m: distance_m(at, field.above(unit)),
            end_from_unit_m: distance_m(end, field.above(unit)),
            path,
        })
    };
    let units = (0..field.units()).map(heard).collect();
    Walk { lanes, length_m, units }
}

/// The first place along a line of which `heard` is true: what was walked until then,
/// the place, the piece of the line.
fn first(corners: &[Laid], heard: impl Fn(Laid) -> bool) -> Option<(f64, Laid, usize)> {
    let mut walked_m = 0.0;
    for (leg, pair) in corners.windows(2).enumerate() {
        let length_m = distance_m(pair[0], pair[1]);
        let at = |m: f64| [0, 1].map(|i| pair[0][i] + m / length_m * (pair[1][i] - pair[0][i]));
        let strides = (length_m / STRIDE_M).ceil().max(1.0) as usize;
        let stride_m = length_m / strides as f64;
        if leg == 0 && heard(pair[0]) {
            return Some((0.0, pair[0], 0));
        }
        let place = (1..=strides).map(|k| k as f64 * stride_m).find(|m| heard(at(*m)));
        if let Some(found_m) = place {
            let (mut low, mut high) = (found_m - stride_m, found_m);
            for _ in 0..HALVINGS {
                let middle = 0.5 * (low + high);
                if heard(at(middle)) { high = middle } else { low = middle }
            }
            return Some((walked_m + high, at(high), leg));
        }
        walked_m += length_m;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::field_over_snow::Space;
    use super::super::lanes::{Way, lanes};
    use super::super::testing::{BOUNDS, station};
    use super::*;

    fn walked(units: &[(f64, f64, f64, f64, f64)], width_m: f64) -> (FieldOverSnow, Walk) {
        let station = station("", units);
        let field = FieldOverSnow::new(&station, Space::Free, 1.0, &BOUNDS).unwrap();
        let corners = field.snow.corners(&BOUNDS, 1.0);
        let lanes = lanes(&corners, [0.0, -1.0], width_m, Way::Up);
        let walk = walk(&field, lanes, 80e-9);
        (field, walk)
    }

    /// One lane up the middle, 20 m south of an upright unit to 20 m north: heard 18.3 m
    /// before it, straight ahead.
    #[test]
    fn a_unit_ahead_is_heard_at_its_range() {
        let (field, walk) = walked(&[(0.0, 4.0, 1.0, 0.0, 90.0)], 60.0);
        assert!((walk.length_m - 40.0).abs() < 1e-9);
        let heard = walk.units[0].as_ref().unwrap();
        assert!((heard.straight_m - 18.25).abs() < 0.1, "{}", heard.straight_m);
        assert!((heard.after_m - (24.0 - heard.straight_m)).abs() < 1e-6);
        assert!((heard.field_a_per_m / 80e-9 - 1.0).abs() < 1e-3);
        assert!((heard.way_m().unwrap() - heard.straight_m).abs() < 1e-3);
        assert!((heard.distance_m - heard.straight_m.hypot(2.0)).abs() < 1e-9);
        assert_eq!(heard.lane, 1);
        assert!((heard.summary(&field).y_m - heard.at[1]).abs() < 1e-12);
    }

    #[test]
    fn a_unit_too_far_from_every_lane_is_not_heard() {
        let (_, walk) = walked(&[(29.0, 0.0, 1.0, 0.0, 90.0), (9.0, 0.0, 1.0, 0.0, 90.0)], 60.0);
        assert!(walk.units[0].is_none() && walk.units[1].is_some());
        let (_, walk) = walked(&[(29.0, 0.0, 1.0, 0.0, 90.0)], 20.0);
        assert_eq!(walk.units[0].as_ref().unwrap().lane, 3);
    }

    #[test]
    fn what_is_heard_from_the_beginning_takes_no_walk() {
        let (_, walk) = walked(&[(0.0, -15.0, 1.0, 0.0, 90.0)], 60.0);
        let heard = walk.units[0].as_ref().unwrap();
        assert_eq!(heard.after_m, 0.0);
        assert!(heard.field_a_per_m > 80e-9);
    }
}
