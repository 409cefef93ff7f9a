//! All the places that readings allow: fits from every promising start.
//!
//! Readings without signs have a second valley close by the first: tilted the
//! other way, on the other side of the strongest point, a unit looks much alike.
//! So the best of the fits is followed by others from there: that twin, and every
//! other moment that its place allows. Readings along a line or two hardly tell how
//! far to the side of them a unit lies: from there the unit is turned about the line.

use nalgebra::Vector3;

use super::fit::{Solution, fit};
use super::readings::{Measured, PlacedReading};
use super::start::{Grid, Start, moments_at, starts};
use super::strongest::strongest_point;
use super::surface::Surface;
use crate::field::medium::Medium;

/// Solutions nearer to each other than this, squared and in units of their
/// uncertainty, are one.
const SAME: f64 = 25.0;
/// Places no nearer than this are different whatever the uncertainty says, m.
const SAME_PLACE_M: f64 = 0.001;
/// Solutions to fit anew in the true medium, at most …
const REFINED: usize = 2;
/// … and those only that the ground may lift: χ² over χ²/ν of the best.
const LIFTED: f64 = 20.0;
/// Fits of readings without signs: readings times fits, and bounds of it.
const READINGS_FITTED: usize = 900;
const LEAST_FITS: usize = 10;
const MOST_FITS: usize = 60;
/// Readings lie along a line where they spread less than this share of their length to
/// the side.
const LINE: f64 = 0.3;
/// Angles about a line to begin from, a step apart, degrees.
const AROUND_DEG: [f64; 11] = [-75., -60., -45., -30., -15., 0., 15., 30., 45., 60., 75.];
/// … so many times as far off it as the best answer.
const AROUND_TIMES: [f64; 3] = [0.8, 1.0, 1.25];
/// Fits from there, at most.
const AROUND_FITS: usize = 24;
/// A fit so much worse than the best is no candidate: χ² over χ²/ν of the best.
const HOPELESS: f64 = 40.0;

/// The different minima of χ², the best first; none when no fit settles.
///
/// The search runs in `free_space`; what it finds is fitted anew in `medium` where
/// that is given.
pub fn candidates(
    readings: &[PlacedReading],
    surface: &Surface,
    free_space: &dyn Medium,
    medium: Option<&dyn Medium>,
) -> Vec<Solution> {
    let begun = beginnings(readings, &Grid::below(readings, surface));
    let mut found = refit(readings, surface, free_space, begun.into_iter());
    if let Some(best) = found.iter().min_by(|a, b| a.chi_squared.total_cmp(&b.chi_squared)) {
        let others = look_alikes(readings, surface, free_space, best);
        found.extend(refit(readings, surface, free_space, others.into_iter()));
    }
    let found = different(found);
    let Some(medium) = medium else { return found };
    let may_win =
        |s: &&Solution| s.chi_squared - found[0].chi_squared <= LIFTED * found[0].excess_scatter;
    let near = found.iter().take_while(may_win).take(REFINED);
    let begun = near.map(|s| (s.position_m, s.moment_a_m2));
    different(refit(readings, surface, medium, begun))
}

/// Where fits begin. Without signs each valley is tried with all moments that its
/// place allows, the more of them the fewer readings there are to tell them apart.
fn beginnings(readings: &[PlacedReading], grid: &Grid) -> Vec<(Vector3<f64>, Vector3<f64>)> {
    let mut begun = starts(readings, grid);
    if has_no_signs(readings) {
        let moments = |s: &Start| moments_at(readings, s.position_m);
        let others: Vec<Start> = begun.iter().flat_map(moments).collect();
        begun.extend(others);
        begun.sort_by(|a, b| a.misfit.total_cmp(&b.misfit));
        begun.truncate((READINGS_FITTED / readings.len()).clamp(LEAST_FITS, MOST_FITS));
    }
    begun.iter().map(Start::pair).collect()
}

fn has_no_signs(readings: &[PlacedReading]) -> bool {
    readings.iter().any(|r| !matches!(r.field, Measured::Vector(_)))
}

/// The twin of a solution, and the other moments at its place unless the readings
/// are vectors, which leave no choice.
fn look_alikes(
    readings: &[PlacedReading],
    surface: &Surface,
    free_space: &dyn Medium,
    best: &Solution,
) -> Vec<(Vector3<f64>, Vector3<f64>)> {
    let normal = surface.normal();
    let aside = surface.foot(&best.position_m) - strongest_point(best, surface, free_space);
    let leaning = best.moment_a_m2 - normal * (2.0 * best.moment_a_m2.dot(&normal));
    let mut others = vec![(best.position_m - 2.0 * aside, leaning)];
    if has_no_signs(readings) {
        let moments = moments_at(readings, best.position_m);
        others.extend(moments.iter().map(Start::pair));
        others.extend(around_the_line(readings, surface, best));
    }
    others
}

/// Where a unit as far from the middle of readings along a line could lie as well.
fn around_the_line(
    readings: &[PlacedReading],
    surface: &Surface,
    best: &Solution,
) -> Vec<(Vector3<f64>, Vector3<f64>)> {
    let [long, wide, _] = surface.spread_m;
    if wide > LINE * long {
        return Vec::new();
    }
    let (normal, along) = (surface.normal(), surface.along);
    let across = normal.cross(&along);
    let off = best.position_m - Vector3::from(surface.middle_m);
    let distance_m = off.dot(&across).hypot(off.dot(&normal));
    let at = |times: f64, degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let place = (across * sin - normal * cos) * (times * distance_m);
        Vector3::from(surface.middle_m) + along * off.dot(&along) + place
    };
    let places =
        AROUND_TIMES.iter().flat_map(|times| AROUND_DEG.iter().map(|deg| at(*times, *deg)));
    let mut starts: Vec<Start> = places.flat_map(|place| moments_at(readings, place)).collect();
    starts.sort_by(|a, b| a.misfit.total_cmp(&b.misfit));
    starts.iter().take(AROUND_FITS).map(Start::pair).collect()
}

fn refit(
    readings: &[PlacedReading],
    surface: &Surface,
    medium: &dyn Medium,
    from: impl Iterator<Item = (Vector3<f64>, Vector3<f64>)>,
) -> Vec<Solution> {
    from.filter_map(|(place, moment)| fit(readings, surface, medium, place, moment)).collect()
}

/// Each minimum once, in order of χ², those without hope left out.
fn different(mut found: Vec<Solution>) -> Vec<Solution> {
    found.sort_by(|a, b| a.chi_squared.total_cmp(&b.chi_squared));
    let mut kept: Vec<Solution> = Vec::new();
    for solution in found {
        let hopeless = kept.first().is_some_and(|best| {
            solution.chi_squared - best.chi_squared > HOPELESS * best.excess_scatter
        });
        let known = kept.iter().any(|other| {
            (solution.position_m - other.position_m).norm() < SAME_PLACE_M
                || other.distance_squared(&solution) < SAME
        });
        if !hopeless && !known {
            kept.push(solution);
        }
    }
    kept
}
