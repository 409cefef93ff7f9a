//! Everything that follows from readings at known places.

use nalgebra::{Matrix3, Matrix6, Vector3};

use super::ambiguity::rivals;
use super::candidates::candidates;
use super::fit::Solution;
use super::location::{
    Location, MOMENT_SIGN, NextReading, ReadingResidual, Rival, StrongestPoint, SurfaceFound, Truth,
};
use super::next_place::{next_place, u_position_m};
use super::notes;
use super::observation::computed;
use super::on_slope::OnSlope;
use super::readings::{LocateError, PlacedReading, check};
use super::strongest::strongest_point;
use super::surface::Surface;
use super::suspicion;
use crate::field::constants::NOMINAL_CARRIER_HZ;
use crate::field::dipole;
use crate::field::medium::{FreeSpace, Medium};
use crate::reading::Reading;

/// A place is loose when it is less certain than this in some direction, m.
const LOOSE_M: f64 = 0.05;
/// A slope of less than this many degrees falls nowhere in particular.
const LEVEL_DEG: f64 = 0.1;

/// What to do with the readings.
pub struct Options<'a> {
    /// What lies between unit and readings: a medium whose layers are level and
    /// whose surface is at height 0; they are laid along the snow as it slopes. Free
    /// space when `None`.
    pub ground: Option<&'a dyn Medium>,
    /// Carrier, Hz.
    pub frequency_hz: f64,
    /// Whether the receiver's heading is known, so that hx and hy mean something.
    pub heading_known: bool,
    /// Height of the coils over the snow, straight up, m.
    pub coil_height_m: f64,
    /// Relative standard uncertainty of the field that all readings share, as that
    /// of their calibration; not contained in their own.
    pub u_calibration_rel: f64,
    /// Where the unit really is, when that is known.
    pub true_position_m: Option<[f64; 3]>,
}

impl Default for Options<'_> {
    /// Free space at 457 kHz, heading known, coils on the snow.
    fn default() -> Self {
        Self {
            ground: None,
            frequency_hz: NOMINAL_CARRIER_HZ,
            heading_known: true,
            coil_height_m: 0.0,
            u_calibration_rel: 0.0,
            true_position_m: None,
        }
    }
}

impl Options<'_> {
    fn check(&self) -> Result<(), LocateError> {
        let options = [
            ("height of the coils", self.coil_height_m),
            ("relative uncertainty of the calibration", self.u_calibration_rel),
        ];
        let wrong = options.into_iter().find(|(_, v)| !(*v >= 0.0 && v.is_finite()));
        wrong.map_or(Ok(()), |(name, value)| Err(LocateError::Option { name, value }))
    }
}

/// The readings as the options have them be taken.
pub fn as_taken(readings: &[PlacedReading], options: &Options<'_>) -> Vec<PlacedReading> {
    let taken = |r: &PlacedReading| match options.heading_known {
        true => *r,
        false => PlacedReading { field: r.field.without_heading(), ..*r },
    };
    readings.iter().map(taken).collect()
}

/// Find the unit below `readings`.
///
/// # Errors
///
/// Readings that cannot give a place, or whose misfit betrays a fault of the
/// table; a senseless option: [`LocateError`].
pub fn analyse(readings: &[PlacedReading], options: &Options<'_>) -> Result<Location, LocateError> {
    options.check()?;
    let readings = as_taken(readings, options);
    check(&readings)?;
    let plane = Surface::through(&readings);
    with_medium(&plane, options, |ground, medium| {
        analysed(&readings, &plane, options, ground, medium)
    })
}

/// With the ground of the options, if there is one, laid along the snow under the plane
/// of the readings, and with what the field goes through.
pub(super) fn with_medium<T>(
    plane: &Surface,
    options: &Options<'_>,
    then: impl FnOnce(Option<&dyn Medium>, &dyn Medium) -> T,
) -> T {
    let free_space = FreeSpace { frequency_hz: options.frequency_hz };
    let snow = plane.clone().lowered(options.coil_height_m);
    let laid = options.ground.map(|ground| OnSlope::new(ground, &snow));
    let ground = laid.as_ref().map(|laid| laid as &dyn Medium);
    then(ground, ground.unwrap_or(&free_space))
}

fn analysed(
    readings: &[PlacedReading],
    plane: &Surface,
    options: &Options<'_>,
    ground: Option<&dyn Medium>,
    medium: &dyn Medium,
) -> Result<Location, LocateError> {
    let free_space = FreeSpace { frequency_hz: options.frequency_hz };
    let found = candidates(readings, plane, &free_space, ground);
    let bad = found.first().is_none_or(|best| suspicion::is_bad(readings, medium, best));
    let chi_squared = found.first().map_or(f64::INFINITY, |best| best.chi_squared);
    if bad {
        suspicion::explain(readings, plane, &free_space, chi_squared)?;
    }
    let best = found.first().ok_or(LocateError::NoFit)?;
    let mut location = described(readings, plane, options, medium, &found);
    location.notes = notes::notes(readings, plane, &location);
    if bad {
        location.notes.extend(suspicion::remarks(readings, plane, &free_space, best));
    }
    Ok(location)
}

fn described(
    readings: &[PlacedReading],
    plane: &Surface,
    options: &Options<'_>,
    medium: &dyn Medium,
    found: &[Solution],
) -> Location {
    let solution = signed(&found[0]);
    let covariance = with_common(&solution, options.u_calibration_rel);
    let surface = plane.clone().lowered(options.coil_height_m);
    let rivals: Vec<_> =
        rivals(found).into_iter().map(|(other, lead)| (signed(other), lead)).collect();
    let strongest = strongest(&solution, plane, medium);
    let moment = magnitude(&solution.moment_a_m2, &covariance);
    let per_moment = dipole::coaxial(1.0, 10.0, options.frequency_hz);
    let position = solution.position_m;
    let now = u_position_m(&solution.widened());
    // Advice, and some thousand couplings: free space will do.
    let free_space = FreeSpace { frequency_hz: options.frequency_hz };
    let next = next_place(readings, plane, &free_space, &solution, rivals.first().map(|r| &r.0));
    let mut described = rivals.iter().map(|(other, lead)| described_rival(other, *lead, &surface));
    let mut location = Location {
        position_m: readings_of(&position, &covariance, 0),
        moment_a_m2: readings_of(&solution.moment_a_m2, &covariance, 3),
        covariance: std::array::from_fn(|i| std::array::from_fn(|j| covariance[(i, j)])),
        chi_squared: solution.chi_squared,
        degrees_of_freedom: solution.degrees_of_freedom,
        ambiguous: !rivals.is_empty(),
        rival: described.next(),
        further_rivals: described.collect(),
        moment_sign: MOMENT_SIGN,
        moment_magnitude_a_m2: moment,
        moment_tilt_deg: tilt_deg(&solution.moment_a_m2, &covariance, &surface),
        field_at_10_m_a_per_m: moment.scaled(per_moment),
        depth_vertical_m: depth(&solution, &surface),
        depth_normal_m: depth(&solution, &surface).scaled(surface.normal().z),
        probe_point_m: surface.foot(&position).into(),
        surface: described_surface(&surface, options.coil_height_m),
        strongest_point: strongest,
        next_place: next.map(|next| NextReading {
            place_m: next.place_m.into(),
            u_position_now_m: now,
            u_position_then_m: next.u_position_m,
        }),
        loose: false,
        u_widened_by: solution.excess_scatter.sqrt(),
        u_calibration_rel: options.u_calibration_rel,
        truth: options.true_position_m.map(|truth| against(&solution, truth)),
        residuals: residuals(readings, medium, &solution),
        notes: Vec::new(),
        solution,
        coil_plane: plane.clone(),
    };
    location.loose = location.ambiguous || location.u_position_m() > LOOSE_M;
    location
}

/// The same solution with the moment's sign by convention: largest component
/// positive.
fn signed(solution: &Solution) -> Solution {
    if solution.moment_a_m2[solution.moment_a_m2.iamax()] > 0.0 {
        return solution.clone();
    }
    let turned = Matrix6::from_diagonal(&nalgebra::Vector6::new(1.0, 1.0, 1.0, -1.0, -1.0, -1.0));
    Solution {
        moment_a_m2: -solution.moment_a_m2,
        covariance: turned * solution.covariance * turned,
        ..solution.clone()
    }
}

/// The widened covariance, with a relative uncertainty that all fields share: it
/// scales the moment and leaves the place alone.
fn with_common(solution: &Solution, u_rel: f64) -> Matrix6<f64> {
    let mut covariance = solution.widened();
    let moment = solution.moment_a_m2 * u_rel;
    let shared: Matrix3<f64> = moment * moment.transpose();
    for i in 0..3 {
        for j in 0..3 {
            covariance[(3 + i, 3 + j)] += shared[(i, j)];
        }
    }
    covariance
}

fn readings_of(values: &Vector3<f64>, covariance: &Matrix6<f64>, first: usize) -> [Reading; 3] {
    std::array::from_fn(|i| {
        Reading::new(values[i], covariance[(first + i, first + i)].max(0.0).sqrt())
    })
}

/// u of a quantity with this gradient over the moment.
fn u_by_moment(gradient: &Vector3<f64>, covariance: &Matrix6<f64>) -> f64 {
    let block = covariance.fixed_view::<3, 3>(3, 3);
    gradient.dot(&(block * gradient)).max(0.0).sqrt()
}

fn magnitude(moment: &Vector3<f64>, covariance: &Matrix6<f64>) -> Reading {
    Reading::new(moment.norm(), u_by_moment(&moment.normalize(), covariance))
}

/// Angle between the line of the moment and the normal, 0 to 90 degrees.
fn tilt_deg(moment: &Vector3<f64>, covariance: &Matrix6<f64>, surface: &Surface) -> Reading {
    let (normal, direction) = (surface.normal(), moment.normalize());
    let cos = direction.dot(&normal);
    // The direction in which the moment tilts; any one where it does not.
    let aside = (normal - direction * cos)
        .try_normalize(1e-9)
        .unwrap_or_else(|| Vector3::x().cross(&direction).normalize());
    let u = u_by_moment(&(aside / moment.norm()), covariance);
    Reading::new(cos.abs().min(1.0).acos(), u).scaled(1f64.to_degrees())
}

/// Depth straight down, with the uncertainty of place and surface.
fn depth(solution: &Solution, surface: &Surface) -> Reading {
    let at = solution.position_m;
    let gradient = Vector3::new(surface.rise[0], surface.rise[1], -1.0);
    let covariance = solution.widened().fixed_view::<3, 3>(0, 0).into_owned();
    let u_place = gradient.dot(&(covariance * gradient)).max(0.0).sqrt();
    let height_m = surface.height_m(at.x, at.y);
    Reading::new(height_m - at.z, u_place.hypot(surface.u_height_m(at.x, at.y)))
}

fn described_rival(other: &Solution, lead: f64, surface: &Surface) -> Rival {
    let covariance = other.widened();
    Rival {
        position_m: readings_of(&other.position_m, &covariance, 0),
        moment_a_m2: readings_of(&other.moment_a_m2, &covariance, 3),
        chi_squared: other.chi_squared,
        chi_squared_difference: lead,
        depth_normal_m: depth(other, surface).scaled(surface.normal().z),
    }
}

fn described_surface(surface: &Surface, coil_height_m: f64) -> SurfaceFound {
    let slope_deg = surface.slope_deg();
    let [x, y] = surface.rise;
    let falls_towards_deg = (slope_deg > LEVEL_DEG).then(|| azimuth_deg(-x, -y));
    SurfaceFound { coil_height_m, slope_deg, falls_towards_deg, scatter_m: surface.scatter_m }
}

/// Degrees from x towards y, 0 to 360.
fn azimuth_deg(x: f64, y: f64) -> f64 {
    y.atan2(x).to_degrees().rem_euclid(360.0)
}

fn strongest(solution: &Solution, plane: &Surface, medium: &dyn Medium) -> StrongestPoint {
    let place = strongest_point(solution, plane, medium);
    let foot = plane.foot(&solution.position_m);
    let off = place - foot;
    StrongestPoint {
        place_m: place.into(),
        field_a_per_m: solution.field(medium, place.into()).norm(),
        offset_m: off.norm(),
        towards_deg: azimuth_deg(off.x, off.y),
        share_of_depth: off.norm() / (foot - solution.position_m).norm(),
    }
}

fn against(solution: &Solution, truth: [f64; 3]) -> Truth {
    let off = solution.position_m - Vector3::from(truth);
    let place = solution.widened().fixed_view::<3, 3>(0, 0).into_owned();
    let squared = place.try_inverse().map_or(f64::NAN, |inverse| off.dot(&(inverse * off)));
    Truth { position_m: truth, off_m: off.norm(), off_over_u: squared.sqrt() }
}

fn residuals(
    readings: &[PlacedReading],
    medium: &dyn Medium,
    solution: &Solution,
) -> Vec<ReadingResidual> {
    let off = solution.residuals(readings, medium);
    let with = readings.iter().zip(off);
    with.map(|(reading, residuals)| ReadingResidual {
        distance_m: (Vector3::from(reading.place_m) - solution.position_m).norm(),
        measured_a_per_m: reading.field.to_vec(),
        computed_a_per_m: computed(reading, &solution.field(medium, reading.place_m)).to_vec(),
        over_u: residuals.values().to_vec(),
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Invented, readings};
    use super::*;

    #[test]
    fn the_sign_is_by_convention_and_the_covariance_turns_with_it() {
        let unit = Invented { moment_a_m2: [1e-3, -5e-3, 2e-3], ..Invented::default() };
        let location = analyse(&readings(&unit), &Options::default()).unwrap();
        let moment = location.moment_a_m2.map(|m| m.value);
        assert!(moment[1] > 4.5e-3 && moment[0] < 0.0 && moment[2] < 0.0, "{moment:?}");
        let same = analyse(
            &readings(&Invented { moment_a_m2: [-1e-3, 5e-3, -2e-3], ..unit }),
            &Options::default(),
        )
        .unwrap();
        // The errors have the other sign too, in the last digits only.
        let off = (same.covariance[0][4] / location.covariance[0][4] - 1.0).abs();
        assert!(off < 0.5, "{off}");
    }

    #[test]
    fn depth_on_a_slope_is_less_along_the_normal() {
        let rise = 35f64.to_radians().tan();
        let unit = Invented { rise, position_m: [0.3, 0.2, -1.4], ..Invented::default() };
        let options = Options { coil_height_m: 0.2, ..Options::default() };
        let location = analyse(&readings(&unit), &options).unwrap();
        let vertical = 1.4 + 0.2 * rise - 0.2;
        let found = location.depth_vertical_m;
        assert!((found.value - vertical).abs() < 3.5 * found.u, "{found:?} {vertical}");
        let ratio = location.depth_normal_m.value / found.value;
        assert!((ratio - 35f64.to_radians().cos()).abs() < 1e-9);
        assert!((location.surface.slope_deg - 35.0).abs() < 1e-6);
        assert!((location.surface.falls_towards_deg.unwrap() - 270.0).abs() < 1e-6);
        let probe = Vector3::from(location.probe_point_m);
        let distance = (probe - location.solution.position_m).norm();
        assert!((distance / location.depth_normal_m.value - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_calibration_widens_the_moment_and_leaves_the_place() {
        let readings = readings(&Invented::default());
        let plain = analyse(&readings, &Options::default()).unwrap();
        let options = Options { u_calibration_rel: 0.05, ..Options::default() };
        let shared = analyse(&readings, &options).unwrap();
        assert_eq!(plain.position_m, shared.position_m);
        let (a, b) = (plain.moment_magnitude_a_m2, shared.moment_magnitude_a_m2);
        assert!((b.u_rel() / a.u_rel().hypot(0.05) - 1.0).abs() < 1e-9);
    }

    /// u three times too small: widened to what the scatter shows.
    #[test]
    fn stated_uncertainties_that_are_too_small_are_widened() {
        let mut readings = readings(&Invented { a_side: 8, ..Invented::default() });
        let honest = analyse(&readings, &Options::default()).unwrap();
        readings.iter_mut().for_each(|r| r.u_a_per_m /= 1.8);
        let bold = analyse(&readings, &Options::default()).unwrap();
        assert!((bold.u_widened_by / 1.8 - 1.0).abs() < 0.15, "{}", bold.u_widened_by);
        let ratio = bold.position_m[2].u / honest.position_m[2].u;
        assert!((ratio - 1.0).abs() < 0.15, "{ratio}");
    }

    #[test]
    fn rows_in_another_unit_and_a_mirrored_plan_are_refused_by_name() {
        let mut mixed = readings(&Invented::default());
        mixed[4].field = mixed[4].field.scaled(1000.0);
        let error = analyse(&mixed, &Options::default()).unwrap_err();
        let LocateError::UnitMixUp { rows, large, .. } = &error else { panic!("{error}") };
        assert_eq!((rows.as_slice(), *large), (&[5][..], true));

        for way in super::super::plan_axes::WRONG_WAYS {
            let wrong = way.of(&readings(&Invented::default())).unwrap();
            let error = analyse(&wrong, &Options::default()).unwrap_err();
            assert!(matches!(error, LocateError::Axes { .. }), "{error}");
        }
    }

    #[test]
    fn a_row_that_does_not_fit_is_named() {
        let mut readings = readings(&Invented::default());
        readings[8].place_m[0] += 1.5;
        let location = analyse(&readings, &Options::default()).unwrap();
        assert!(
            location.notes.iter().any(|n| n.contains("row 9 does not fit")),
            "{:?}",
            location.notes
        );
    }

    #[test]
    fn options_without_sense_are_refused() {
        let readings = readings(&Invented::default());
        for wrong in [
            Options { coil_height_m: -0.1, ..Options::default() },
            Options { u_calibration_rel: f64::NAN, ..Options::default() },
        ] {
            assert!(matches!(analyse(&readings, &wrong), Err(LocateError::Option { .. })));
        }
    }
}
