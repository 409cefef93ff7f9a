//! The way that a unit's field leads a searcher.
//!
//! From where a unit is first heard its receiver tells the direction of the field along
//! the snow, and the searcher goes along it, to the side on which the field grows. That
//! way is a curve: it bends as the field lines do, and where the moment has turned away
//! it begins by leading past the unit. Within 3 m of it the slow search begins (common
//! practice, no source); from there the way is taken as straight.
//!
//! Not every way gets there. What a steep unit has of its field along the snow vanishes
//! at a place beside it, at 3/2 of the depth times what its moment has square to the snow
//! over what it has along it; lines from that side turn away before it. A way is followed
//! while the field grows.

use num_complex::Complex64;
use serde::Serialize;

use super::field_over_snow::FieldOverSnow;
use super::snow::{Laid, distance_m};

/// Where the slow search begins, m along the snow from the point square above the unit
/// (common practice, no source).
pub const SLOW_SEARCH_M: f64 = 3.0;
/// Length of a step, m.
const STEP_M: f64 = 0.1;
/// Least part of the field along the snow for a receiver to tell its direction.
const LEAST_PART: f64 = 0.05;
/// A field that has fallen to so much of its greatest is seen to fall: 1 dB.
const FALLEN: f64 = 0.89;
/// A way longer than so many straight lines, and this much more, is given up, m.
const LONGEST: (f64, f64) = (4.0, 50.0);

/// How a way ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// At the circle round the unit in which the slow search begins.
    SlowSearch,
    /// Where the field stands square to the snow and tells no direction.
    NoDirection,
    /// Where the field begins to fall though the slow search is not reached.
    FieldFalls,
    /// Given up: longer than anybody would go.
    TooLong,
}

impl End {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::SlowSearch => "slow search",
            Self::NoDirection => "no direction",
            Self::FieldFalls => "field falls",
            Self::TooLong => "too long",
        }
    }
}

/// A way along the field.
#[derive(Clone, Debug, PartialEq)]
pub struct SearchPath {
    /// Its points, from where the unit was first heard.
    pub points: Vec<Laid>,
    /// How it ends.
    pub end: End,
}

impl SearchPath {
    /// Its length, m.
    pub fn length_m(&self) -> f64 {
        self.points.windows(2).map(|pair| distance_m(pair[0], pair[1])).sum()
    }
}

/// The way to `unit` from `start`.
///
/// Runge and Kutta's fourth-order steps of 0.1 m. Accuracy: 1 cm of the length against
/// scipy's adaptive eighth-order integration (`tests/outside/scipy_paths.py`).
pub fn search_path(field: &FieldOverSnow, unit: usize, start: Laid) -> SearchPath {
    let goal = field.above(unit);
    let straight_m = distance_m(start, goal);
    let most = ((LONGEST.0 * straight_m + LONGEST.1) / STEP_M) as usize;
    let mut points = vec![start];
    if straight_m <= SLOW_SEARCH_M {
        return SearchPath { points, end: End::SlowSearch };
    }
    let Some(mut heading) = towards_more(field, unit, start) else {
        return SearchPath { points, end: End::NoDirection };
    };
    // The greatest field so far, and after how many points.
    let mut greatest = (field.magnitude(unit, start), 1);
    for _ in 0..most {
        let here = points[points.len() - 1];
        let Some((next, turned)) = step(field, unit, here, heading) else {
            return SearchPath { points, end: End::NoDirection };
        };
        if distance_m(next, goal) <= SLOW_SEARCH_M {
            points.push(onto_circle(here, next, goal));
            return SearchPath { points, end: End::SlowSearch };
        }
        points.push(next);
        heading = turned;
        let strength = field.magnitude(unit, next);
        if strength >= greatest.0 {
            greatest = (strength, points.len());
        } else if strength < FALLEN * greatest.0 {
            points.truncate(greatest.1);
            return SearchPath { points, end: End::FieldFalls };
        }
    }
    SearchPath { points, end: End::TooLong }
}

/// Unit vector of the field along the snow, on the side of `heading`: the long axis of
/// the ellipse that its two parts run round. `None` where there is too little of it.
fn along(field: &FieldOverSnow, unit: usize, at: Laid, heading: Option<Laid>) -> Option<Laid> {
    let h = field.field(unit, at);
    let (u, v): (Complex64, Complex64) = (h[0], h[1]);
    if u.norm().hypot(v.norm()) < LEAST_PART * h.norm() {
        return None;
    }
    let twice = (2.0 * (u * v.conj()).re).atan2(u.norm_sqr() - v.norm_sqr());
    let (sin, cos) = (0.5 * twice).sin_cos();
    let back = heading.is_some_and(|[u, v]| u * cos + v * sin < 0.0);
    Some(if back { [-cos, -sin] } else { [cos, sin] })
}

/// The direction along the field in which it grows.
fn towards_more(field: &FieldOverSnow, unit: usize, at: Laid) -> Option<Laid> {
    let ahead = along(field, unit, at, None)?;
    let there = |sign: f64| field.magnitude(unit, moved(at, ahead, 0.5 * sign * STEP_M));
    let sign = if there(1.0) >= there(-1.0) { 1.0 } else { -1.0 };
    Some([sign * ahead[0], sign * ahead[1]])
}

/// One step on, and the direction in which it went.
fn step(field: &FieldOverSnow, unit: usize, here: Laid, heading: Laid) -> Option<(Laid, Laid)> {
    let slope = |at: Laid| along(field, unit, at, Some(heading));
    let a = slope(here)?;
    let b = slope(moved(here, a, 0.5 * STEP_M))?;
    let c = slope(moved(here, b, 0.5 * STEP_M))?;
    let d = slope(moved(here, c, STEP_M))?;
    let mean = [0, 1].map(|i| (a[i] + 2.0 * (b[i] + c[i]) + d[i]) / 6.0);
    Some((moved(here, mean, STEP_M), mean))
}

fn moved([u, v]: Laid, [along_u, along_v]: Laid, by_m: f64) -> Laid {
    [u + by_m * along_u, v + by_m * along_v]
}

/// Where the step from outside to inside crosses the circle of the slow search.
fn onto_circle(outside: Laid, inside: Laid, goal: Laid) -> Laid {
    let (mut low, mut high) = (0.0, 1.0);
    let at = |share: f64| [0, 1].map(|i| outside[i] + share * (inside[i] - outside[i]));
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        match distance_m(at(middle), goal) > SLOW_SEARCH_M {
            true => low = middle,
            false => high = middle,
        }
    }
    at(high)
}

#[cfg(test)]
mod tests {
    use super::super::field_over_snow::Space;
    use super::super::testing::{BOUNDS, station};
    use super::*;

    fn field(head: &str, unit: (f64, f64, f64, f64, f64)) -> FieldOverSnow {
        FieldOverSnow::new(&station(head, &[unit]), Space::Free, 1.0, &BOUNDS).unwrap()
    }

    /// The field of an upright unit points at it from everywhere.
    #[test]
    fn to_an_upright_unit_the_way_is_straight() {
        let field = field("", (2.0, -3.0, 1.2, 0.0, 90.0));
        for start in [[20.0, 5.0], [-14.0, 0.0], [2.0, 15.0]] {
            let path = search_path(&field, 0, start);
            assert_eq!(path.end, End::SlowSearch);
            let straight_m = distance_m(start, [2.0, -3.0]) - SLOW_SEARCH_M;
            assert!((path.length_m() - straight_m).abs() < 1e-3, "{}", path.length_m());
        }
    }

    /// In the plane of a flat dipole field lines are r = r0 sin²θ; from beside it, at
    /// 12 m, the line to the circle of 3 m is that curve.
    #[test]
    fn in_its_own_plane_the_way_is_the_dipoles_line() {
        let mut field = field("", (0.0, 0.0, 1e-9, 0.0, 0.0));
        // The receiver as deep as the unit, within a centimetre.
        field.height_m = 0.01;
        // Moment to the north: theta counts from there.
        let (from, to) = (80f64.to_radians(), (3f64 / 12.4).sqrt().asin());
        let r = |theta: f64| 12.4 * theta.sin().powi(2);
        let start = [r(from) * from.sin(), r(from) * from.cos()];
        let path = search_path(&field, 0, start);
        assert_eq!(path.end, End::SlowSearch);
        // ds² = dr² + r² dθ².
        let steps = 20_000;
        let width = (from - to) / f64::from(steps);
        let length: f64 = (0..steps)
            .map(|k| to + (f64::from(k) + 0.5) * width)
            .map(|t| 12.4 * t.sin() * (4.0 * t.cos().powi(2) + t.sin().powi(2)).sqrt() * width)
            .sum();
        // The terms of the wave bend it by some centimetres.
        assert!((path.length_m() / length - 1.0).abs() < 0.01, "{} {length}", path.length_m());
    }

    /// The field on the mirrored side is the mirrored field.
    #[test]
    fn ways_from_both_sides_of_a_flat_unit_are_alike() {
        let field = field("", (0.0, 0.0, 1.0, 0.0, 0.0));
        let east = search_path(&field, 0, [14.0, 5.0]);
        let west = search_path(&field, 0, [-14.0, 5.0]);
        assert_eq!(east.points.len(), west.points.len());
        for (a, b) in east.points.iter().zip(&west.points) {
            assert!((a[0] + b[0]).abs() < 1e-9 && (a[1] - b[1]).abs() < 1e-9);
        }
        assert!(east.length_m() > 1.1 * (14f64.hypot(5.0) - SLOW_SEARCH_M));
    }

    /// Tilted by 20° from the normal, the field along the snow vanishes at 3/2 · 2.2 m ·
    /// cot 20° = 9.1 m on one side: from there the way stops short of it.
    #[test]
    fn beside_a_steep_unit_the_way_ends_where_the_field_falls() {
        let field = field("", (0.0, 0.0, 1.2, 90.0, 70.0));
        let ends: Vec<(End, f64)> = [[16.0, 3.0], [-16.0, 3.0]]
            .iter()
            .map(|start| search_path(&field, 0, *start))
            .map(|p| (p.end, distance_m(p.points[p.points.len() - 1], [0.0; 2])))
            .collect();
        let reached = ends.iter().filter(|(end, _)| *end == End::SlowSearch).count();
        assert_eq!(reached, 1, "{ends:?}");
        let stopped = ends.iter().find(|(end, _)| *end != End::SlowSearch).unwrap();
        assert!((5.0..12.0).contains(&stopped.1), "{ends:?}");
    }

    /// A unit so deep that the ends of its field lines lie outside the circle: on its
    /// axis the field stands square to the snow at depth/√2 from above it.
    #[test]
    fn over_a_deep_unit_the_direction_ends_before_the_circle() {
        let field = field("", (0.0, 0.0, 7.0, 0.0, 0.0));
        let path = search_path(&field, 0, [0.5, 20.0]);
        assert_eq!(path.end, End::NoDirection);
        let [u, v] = path.points[path.points.len() - 1];
        assert!((u.hypot(v) - 8.0 / 2f64.sqrt()).abs() < 0.6, "{u}, {v}");
    }
}
