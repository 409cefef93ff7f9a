//! Sections through the field of a unit found: field lines, and the readings
//! beside them.
//!
//! The upright section holds the unit and its moment's line, so the lines of a
//! dipole lie in it. The level one follows the plane of the coils, as a searcher
//! walks: its lines are those of the field's horizontal part. Both are of the found
//! dipole's static field in free space.

use nalgebra::Vector3;

use super::location::Location;
use super::readings::{Measured, PlacedReading};
use crate::field::dipole::static_coupling;
use crate::field::lines::{Frame, Plane, lines, lines_through};

/// Lines over the width of a level section.
const LINES: f64 = 26.0;
/// Lines leave the unit at angles from the moment so many degrees apart …
const APART_DEG: f64 = 3.0;
/// … on each side so many beside that along the moment.
const ON_EACH_SIDE: i32 = 15;
/// How far from the unit lines begin, m.
const BEGIN_M: f64 = 0.25;
/// Steps of lines, m.
const STEP_M: f64 = 0.02;
/// Room around what is shown, as a share of the readings' extent.
const ROOM: f64 = 0.08;

/// A measured vector in a section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Needle {
    /// Row of the reading, counted from 1.
    pub row: usize,
    /// Where in the section.
    pub at: Plane,
    /// Its part in the section over its magnitude, either end forward; none where
    /// the reading has no direction.
    pub part: Option<Plane>,
}

/// A section with its field lines and readings.
#[derive(Clone, Debug)]
pub struct Section {
    /// What is shown of it: along (m) and up or across (m).
    pub frame: Frame,
    /// The field lines.
    pub lines: Vec<Vec<Plane>>,
    /// The readings.
    pub needles: Vec<Needle>,
    /// How far from the section readings are shown, m.
    pub within_m: f64,
    /// Direction of the first coordinate, horizontal.
    pub along: Vector3<f64>,
    /// Place of the section's (0, 0); heights are true ones.
    pub origin_m: Vector3<f64>,
}

fn field(location: &Location, place: Vector3<f64>) -> Vector3<f64> {
    let offset = place - location.solution.position_m;
    static_coupling(offset.into()) * location.solution.moment_a_m2
}

/// About how far apart readings are, m.
fn spacing_m(readings: &[PlacedReading], location: &Location) -> f64 {
    let [long, wide, _] = location.coil_plane.spread_m;
    // An even spread over a side of s has a standard deviation of s/√12.
    (12.0 * long * wide.max(0.1 * long) / readings.len() as f64).sqrt()
}

impl Section {
    /// The upright section through the unit along its moment (along x if that
    /// stands upright): first coordinate metres from the unit, second height.
    pub fn upright(readings: &[PlacedReading], location: &Location) -> Self {
        let unit = location.solution.position_m;
        let moment = location.solution.moment_a_m2.normalize();
        let flat = Vector3::new(moment.x, moment.y, 0.0);
        let along = if flat.norm() > 0.05 { flat.normalize() } else { Vector3::x() };
        let across = Vector3::z().cross(&along);
        let origin_m = Vector3::new(unit.x, unit.y, 0.0);
        let within_m = 0.6 * spacing_m(readings, location);
        let near = |r: &PlacedReading| {
            (Vector3::from(r.place_m) - origin_m).dot(&across).abs() <= within_m
        };
        let at = |r: &PlacedReading| {
            let place = Vector3::from(r.place_m);
            [(place - origin_m).dot(&along), place.z]
        };
        let needles = needles(readings, near, at, |h| [h.dot(&along), h.z]);
        let extent = readings.iter().map(at).collect::<Vec<_>>();
        let depth = location.depth_vertical_m.value.max(0.3);
        let mut frame = around(&extent, ROOM);
        frame.low[1] = frame.low[1].min(unit.z - 0.6 * depth);
        frame.high[1] += 0.5 * depth + 0.3;
        let place = |[s, z]: Plane| origin_m + along * s + Vector3::z() * z;
        let direction = |p: Plane| {
            let h = field(location, place(p));
            [h.dot(&along), h.z]
        };
        let source = [0.0, unit.z];
        let axis = [moment.dot(&along), moment.z];
        let lines = dipole_lines(direction, square_around(frame), source, axis);
        Self { frame, lines, needles, within_m, along, origin_m }
    }

    /// The section along the plane of the coils: x and y.
    pub fn level(readings: &[PlacedReading], location: &Location) -> Self {
        let plane = &location.coil_plane;
        let at = |r: &PlacedReading| [r.place_m[0], r.place_m[1]];
        let needles = needles(readings, |_| true, at, |h| [h.x, h.y]);
        let frame = around(&readings.iter().map(at).collect::<Vec<_>>(), ROOM);
        let direction = |[x, y]: Plane| {
            let h = field(location, plane.place(x, y));
            [h.x, h.y]
        };
        let spacing = (frame.high[0] - frame.low[0]).max(frame.high[1] - frame.low[1]) / LINES;
        let lines = lines(direction, square_around(frame), spacing);
        let within_m = f64::INFINITY;
        Self { frame, lines, needles, within_m, along: Vector3::x(), origin_m: Vector3::zeros() }
    }

    /// Where the first coordinate points, in words.
    pub fn towards(&self) -> String {
        let degrees = self.along.y.atan2(self.along.x).to_degrees().round().rem_euclid(360.0);
        format!("towards {degrees}° from x to y")
    }

    /// Coordinates in an upright section of a place.
    pub fn upright_at(&self, place: &Vector3<f64>) -> Plane {
        [(place - self.origin_m).dot(&self.along), place.z]
    }
}

fn needles(
    readings: &[PlacedReading],
    near: impl Fn(&PlacedReading) -> bool,
    at: impl Fn(&PlacedReading) -> Plane,
    part: impl Fn(Vector3<f64>) -> Plane,
) -> Vec<Needle> {
    let shown = (1..).zip(readings).filter(|(_, r)| near(r));
    shown
        .map(|(row, r)| {
            let part = match r.field {
                Measured::Vector(h) => Some(part(Vector3::from(h).normalize())),
                Measured::NoHeading { .. } | Measured::Magnitude(_) => None,
            };
            Needle { row, at: at(r), part }
        })
        .collect()
}

/// A frame around points with some room.
fn around(points: &[Plane], room: f64) -> Frame {
    let bound = |i: usize, least: f64, pick: fn(f64, f64) -> f64| {
        points.iter().map(|p| p[i]).fold(least, pick)
    };
    let low = [0, 1].map(|i| bound(i, f64::INFINITY, f64::min));
    let high = [0, 1].map(|i| bound(i, f64::NEG_INFINITY, f64::max));
    let margin = room * (high[0] - low[0]).max(high[1] - low[1]).max(1.0);
    Frame { low: low.map(|v| v - margin), high: high.map(|v| v + margin) }
}

/// Lines through a dipole at `source` along `axis` (of length 1), begun near it at
/// equal angles; r = R sin²θ, so those square to it are small loops.
pub(crate) fn dipole_lines(
    direction: impl Fn(Plane) -> Plane,
    frame: Frame,
    source: Plane,
    axis: Plane,
) -> Vec<Vec<Plane>> {
    let begin = |degrees: f64, end: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let square = [-axis[1], axis[0]];
        [0, 1].map(|i| source[i] + BEGIN_M * (end * cos * axis[i] + sin * square[i]))
    };
    let near = |p: &Plane| (p[0] - source[0]).hypot(p[1] - source[1]) < BEGIN_M;
    let mut all: Vec<Vec<Plane>> = Vec::new();
    for step in -ON_EACH_SIDE..=ON_EACH_SIDE {
        for end in [1.0, -1.0] {
            let from = begin(APART_DEG * f64::from(step), end);
            let found = lines_through([from].into_iter(), &direction, frame, STEP_M, source);
            // A loop that comes home has both ends already.
            let is_home = found
                .iter()
                .any(|line| line.last().is_some_and(near) && line.first().is_some_and(near));
            all.extend(found);
            if is_home {
                break;
            }
        }
    }
    all
}

/// A square that holds a frame with a quarter of its side around: charts to scale
/// show more than the frame.
fn square_around(Frame { low, high }: Frame) -> Frame {
    let half = 0.75 * (high[0] - low[0]).max(high[1] - low[1]);
    let middle = [0, 1].map(|i| (low[i] + high[i]) / 2.0);
    Frame { low: middle.map(|m| m - half), high: middle.map(|m| m + half) }
}

/// Magnitude of the field over the plane of the coils.
#[derive(Clone, Debug)]
pub struct SurfaceMap {
    /// What is to be shown of it at least.
    pub frame: Frame,
    /// x of the columns, m.
    pub x_m: Vec<f64>,
    /// y of the rows, m.
    pub y_m: Vec<f64>,
    /// Field of each row and column, A/m.
    pub field_a_per_m: Vec<Vec<f64>>,
}

/// Columns of a map.
const COLUMNS: usize = 181;

impl SurfaceMap {
    /// The map over the readings and a little beyond, and over the unit.
    pub fn of(readings: &[PlacedReading], location: &Location) -> Self {
        let unit = location.solution.position_m;
        let mut places: Vec<Plane> =
            readings.iter().map(|r| [r.place_m[0], r.place_m[1]]).collect();
        places.push([unit.x, unit.y]);
        let frame = around(&places, ROOM);
        let Frame { low, high } = square_around(frame);
        let step = (high[0] - low[0]).max(high[1] - low[1]) / (COLUMNS - 1) as f64;
        let along = |i: usize| -> Vec<f64> {
            let count = ((high[i] - low[i]) / step).round() as usize + 1;
            (0..count).map(|k| low[i] + step * k as f64).collect()
        };
        let (x_m, y_m) = (along(0), along(1));
        let row = |y: &f64| {
            x_m.iter().map(|x| field(location, location.coil_plane.place(*x, *y)).norm()).collect()
        };
        let field_a_per_m = y_m.iter().map(row).collect();
        Self { frame, x_m, y_m, field_a_per_m }
    }
}

#[cfg(test)]
mod tests {
    use super::super::analysis::{Options, analyse};
    use super::super::testing::{Invented, readings};
    use super::*;

    /// Needles of good readings lie along the lines nearest to them.
    #[test]
    fn needles_lie_along_the_field_of_the_section() {
        let readings = readings(&Invented::default());
        let location = analyse(&readings, &Options::default()).unwrap();
        let upright = Section::upright(&readings, &location);
        assert!(upright.lines.len() > 10 && upright.needles.len() >= 6);
        for needle in &upright.needles {
            let [s, z] = needle.part.unwrap();
            let place =
                upright.origin_m + upright.along * needle.at[0] + Vector3::z() * needle.at[1];
            let h = field(&location, place);
            let flat = [h.dot(&upright.along), h.z];
            let sine = (s * flat[1] - z * flat[0]) / (s.hypot(z) * flat[0].hypot(flat[1]));
            // Readings up to a metre beside the section see another field near the unit.
            assert!(sine.abs() < 0.5, "row {}: {sine}", needle.row);
        }
        let level = Section::level(&readings, &location);
        assert_eq!(level.needles.len(), 36);
    }

    #[test]
    fn the_map_is_strongest_at_the_strongest_point() {
        let readings = readings(&Invented::default());
        let location = analyse(&readings, &Options::default()).unwrap();
        let map = SurfaceMap::of(&readings, &location);
        let all = map.field_a_per_m.iter().enumerate();
        let cells = all.flat_map(|(j, row)| row.iter().enumerate().map(move |(i, h)| (*h, i, j)));
        let (h, i, j) = cells.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
        let best = &location.strongest_point;
        assert!((map.x_m[i] - best.place_m[0]).hypot(map.y_m[j] - best.place_m[1]) < 0.1);
        assert!((h / best.field_a_per_m - 1.0).abs() < 0.01);
    }
}
