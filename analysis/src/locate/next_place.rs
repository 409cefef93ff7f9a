//! A good place for one more reading.
//!
//! Over places on the surface, within the readings and a little beyond, the one
//! whose reading would leave the least uncertainty of the place (trace of its
//! covariance, the A-optimal choice); or, while two answers are left, the one
//! where they differ most. A further reading is taken to be as uncertain as those
//! there are: by ratio where the field is strong, and never below the least u.

use nalgebra::{Matrix6, Vector3};

use super::fit::{Solution, information};
use super::observation::{expected, residuals};
use super::readings::PlacedReading;
use super::surface::Surface;
use crate::field::medium::Medium;

/// Places along each side.
const SIDE: usize = 13;
/// How far beyond the readings, in their extent.
const BEYOND: f64 = 0.15;

/// A place to measure next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NextPlace {
    /// Where, m.
    pub place_m: Vector3<f64>,
    /// √ of the trace of the place's covariance that would then be left, m.
    pub u_position_m: f64,
}

/// √ of the trace of the place's part of a covariance: the RMS error of the place.
pub fn u_position_m(covariance: &Matrix6<f64>) -> f64 {
    (0..3).map(|i| covariance[(i, i)]).sum::<f64>().sqrt()
}

/// The best of the places on `plane`; `None` only where none tells anything.
pub fn next_place(
    readings: &[PlacedReading],
    plane: &Surface,
    medium: &dyn Medium,
    best: &Solution,
    rival: Option<&Solution>,
) -> Option<NextPlace> {
    let like = Like::of(readings)?;
    let known = best.widened().try_inverse()?;
    let judged = places(readings, plane).filter_map(|place_m| {
        let reading = like.at(place_m, best, medium);
        let added = information(best, medium, &reading) / best.excess_scatter;
        let u_position_m = u_position_m(&(known + added).try_inverse()?);
        let worth = match rival {
            Some(rival) => residuals(&reading, &rival.field(medium, place_m.into())).chi_squared(),
            None => -u_position_m,
        };
        (worth.is_finite() && u_position_m.is_finite())
            .then_some((worth, NextPlace { place_m, u_position_m }))
    });
    judged.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, next)| next)
}

/// What a further reading would be like.
struct Like {
    kind: super::readings::Measured,
    u_rel: f64,
    least_u_a_per_m: f64,
}

impl Like {
    fn of(readings: &[PlacedReading]) -> Option<Self> {
        let mut u_rel: Vec<f64> = readings.iter().map(PlacedReading::u_rel).collect();
        u_rel.sort_by(f64::total_cmp);
        Some(Self {
            kind: readings.first()?.field,
            u_rel: u_rel[u_rel.len() / 2],
            least_u_a_per_m: readings.iter().map(|r| r.u_a_per_m).fold(f64::INFINITY, f64::min),
        })
    }

    fn at(&self, place_m: Vector3<f64>, best: &Solution, medium: &dyn Medium) -> PlacedReading {
        let h = best.field(medium, place_m.into());
        let u_a_per_m = (self.u_rel * h.norm()).max(self.least_u_a_per_m);
        PlacedReading { place_m: place_m.into(), field: expected(self.kind, &h), u_a_per_m }
    }
}

fn places(readings: &[PlacedReading], plane: &Surface) -> impl Iterator<Item = Vector3<f64>> {
    let span = |axis: usize| {
        let along = || readings.iter().map(|r| r.place_m[axis]);
        (along().fold(f64::INFINITY, f64::min), along().fold(f64::NEG_INFINITY, f64::max))
    };
    let (x, y) = (span(0), span(1));
    let beyond = BEYOND * (x.1 - x.0).max(y.1 - y.0);
    let at = move |(low, high): (f64, f64), i: usize| {
        low - beyond + (high - low + 2.0 * beyond) * i as f64 / (SIDE - 1) as f64
    };
    (0..SIDE * SIDE).map(move |i| plane.place(at(x, i % SIDE), at(y, i / SIDE)))
}

#[cfg(test)]
mod tests {
    use super::super::fit::fit;
    use super::super::testing::{Invented, readings};
    use super::*;
    use crate::field::medium::FreeSpace;

    const SPACE: FreeSpace = FreeSpace { frequency_hz: 457e3 };

    /// A reading there does what was promised, and no other place does better.
    #[test]
    fn a_reading_there_narrows_the_place_as_promised() {
        let unit = Invented { a_side: 3, ..Invented::default() };
        let mut readings = readings(&unit);
        let surface = Surface::through(&readings);
        let start = (Vector3::from(unit.position_m), Vector3::from(unit.moment_a_m2));
        let before = fit(&readings, &surface, &SPACE, start.0, start.1).unwrap();
        let next = next_place(&readings, &surface, &SPACE, &before, None).unwrap();
        let promised = next.u_position_m / before.excess_scatter.sqrt();
        assert!(promised < 0.8 * u_position_m(&before.covariance));
        let h = before.field(&SPACE, next.place_m.into());
        readings.push(PlacedReading {
            place_m: next.place_m.into(),
            field: expected(readings[0].field, &h),
            u_a_per_m: 0.03 * h.norm(),
        });
        let after =
            fit(&readings, &surface, &SPACE, before.position_m, before.moment_a_m2).unwrap();
        let left = u_position_m(&after.covariance);
        assert!((left / promised - 1.0).abs() < 0.1, "{left} {promised}");
    }

    /// With two answers, the place is where they differ, not where one is finest.
    #[test]
    fn between_two_answers_the_place_is_where_they_differ() {
        let unit = Invented { a_side: 3, ..Invented::default() };
        let readings = readings(&unit);
        let surface = Surface::through(&readings);
        let start = (Vector3::from(unit.position_m), Vector3::from(unit.moment_a_m2));
        let best = fit(&readings, &surface, &SPACE, start.0, start.1).unwrap();
        let mut other = best.clone();
        other.position_m.y += 3.0;
        let next = next_place(&readings, &surface, &SPACE, &best, Some(&other)).unwrap();
        let difference = |place: Vector3<f64>| {
            let (a, b) = (best.field(&SPACE, place.into()), other.field(&SPACE, place.into()));
            (a.norm() / b.norm()).ln().abs()
        };
        assert!(difference(next.place_m) > difference(Vector3::new(0.0, 1.1, 0.0)) + 1.0);
    }
}
