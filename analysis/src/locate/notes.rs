//! What a careful person would want to know about a place found.

use super::location::Location;
use super::readings::{Measured, PlacedReading, repeats};
use super::surface::Surface;
use crate::range::analysis::unbelievable;
use crate::units;

/// Readings that scatter so much about a plane are on no plane, m RMS.
const ROUGH_M: f64 = 0.1;
/// Readings nearer than this to the unit see more than a dipole, m.
const TOO_NEAR_M: f64 = 0.3;
/// Below so many of its uncertainties a reading is weak.
const WEAK_U: f64 = 3.0;
/// Scatter over the stated uncertainty worth a word.
const SCATTERED: f64 = 1.4;
/// A depth that no probe reaches, m.
const UNREACHABLE_M: f64 = 10.0;

/// Notes on what was found, `plane` being that of the readings.
pub fn notes(readings: &[PlacedReading], plane: &Surface, found: &Location) -> Vec<String> {
    let all = [
        unbelievable(found.field_at_10_m_a_per_m.value),
        too_deep(found),
        scattered(found),
        above_the_snow(found),
        outside(readings, found),
        above_or_below(readings, plane),
        one_line(readings, plane),
        rough(plane),
        plane.across_unknown.then(|| {
            "the readings lie along a line: the slope across it is not known and taken as level, \
             give or take 18°; a second line beside it would tell"
                .into()
        }),
        repeated(readings),
        weak(readings),
        too_near(found),
    ];
    all.into_iter().flatten().collect()
}

fn too_deep(found: &Location) -> Option<String> {
    let depth_m = found.depth_vertical_m.value;
    (depth_m > UNREACHABLE_M).then(|| {
        format!(
            "DO NOT USE: a depth of {} m is beyond any probe; check that places are in m",
            units::significant(depth_m, 3)
        )
    })
}

fn scattered(found: &Location) -> Option<String> {
    (found.u_widened_by > SCATTERED).then(|| {
        format!(
            "readings scatter {:.1} times their stated uncertainty about the fit; the stated u \
             of the results is widened by as much",
            found.u_widened_by
        )
    })
}

fn above_the_snow(found: &Location) -> Option<String> {
    (found.depth_vertical_m.value < 0.0)
        .then(|| "the unit would lie above the snow: check the height of the coils".into())
}

/// A place beyond all readings rests on one side of its field only.
fn outside(readings: &[PlacedReading], found: &Location) -> Option<String> {
    let beyond = |axis: usize| {
        let place = found.position_m[axis].value;
        let (mut below, mut above) = (true, true);
        for reading in readings {
            below &= place < reading.place_m[axis];
            above &= place > reading.place_m[axis];
        }
        below || above
    };
    let line = readings.iter().map(|r| r.place_m[1]).all(|y| y == readings[0].place_m[1])
        || readings.iter().map(|r| r.place_m[0]).all(|x| x == readings[0].place_m[0]);
    (!line && (beyond(0) || beyond(1)))
        .then(|| "the unit lies outside the readings: measure on its other sides too".into())
}

/// Without signs between components a plane of readings is a mirror.
fn above_or_below(readings: &[PlacedReading], plane: &Surface) -> Option<String> {
    let vectors = readings.iter().any(|r| matches!(r.field, Measured::Vector(_)));
    (!vectors && plane.scatter_m < 0.01 * plane.spread_m[0]).then(|| {
        "all readings lie in one plane: such readings cannot tell a unit below it from one as far \
         above; it is taken to be buried"
            .into()
    })
}

/// Along one line without directions left and right look alike, and other answers
/// come near.
fn one_line(readings: &[PlacedReading], plane: &Surface) -> Option<String> {
    let vectors = readings.iter().any(|r| matches!(r.field, Measured::Vector(_)));
    (!vectors && plane.across_unknown).then(|| {
        "readings along one line without directions leave several answers close to one another: \
         do not dig by them, measure along a second line"
            .into()
    })
}

fn rough(plane: &Surface) -> Option<String> {
    (plane.scatter_m > ROUGH_M).then(|| {
        format!(
            "the places of the readings scatter by {} m about a plane: depths are counted from \
             that plane",
            units::significant(plane.scatter_m, 2)
        )
    })
}

fn repeated(readings: &[PlacedReading]) -> Option<String> {
    let repeats = repeats(readings);
    let (first, second) = repeats.first()?;
    let more = match repeats.len() {
        1 => String::new(),
        count => format!(", and {} more pairs", count - 1),
    };
    Some(format!("rows {first} and {second} are of one place{more}: taken as repeats"))
}

fn weak(readings: &[PlacedReading]) -> Option<String> {
    let rows: Vec<String> = (1..)
        .zip(readings)
        .filter(|(_, r)| r.field.magnitude() < WEAK_U * r.u_a_per_m)
        .map(|(row, _)| row.to_string())
        .collect();
    (!rows.is_empty()).then(|| {
        format!(
            "weaker than three times their uncertainty, and of little worth: row{} {}",
            if rows.len() == 1 { "" } else { "s" },
            rows.join(", ")
        )
    })
}

fn too_near(found: &Location) -> Option<String> {
    let nearest_m = found.residuals.iter().map(|r| r.distance_m).fold(f64::INFINITY, f64::min);
    (nearest_m < TOO_NEAR_M).then(|| {
        format!(
            "the nearest reading is {} m from the unit, where a coil is more than a dipole: \
             place and moment may be off by more than their u",
            units::significant(nearest_m, 2)
        )
    })
}
