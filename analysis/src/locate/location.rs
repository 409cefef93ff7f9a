//! What is known of a buried unit.

use serde::Serialize;

use super::fit::Solution;
use super::surface::Surface;
use crate::reading::Reading;

/// The convention for the sign of a moment, which readings do not tell.
pub const MOMENT_SIGN: &str = "not known; the largest component is given as positive";

/// Place, lie and strength of a buried unit, from readings on the surface.
///
/// Standard uncertainties hold the stated ones of the readings, widened by
/// √(χ²/ν) where the readings scatter more than they say (never narrowed), and for
/// the moment what all readings share.
#[derive(Clone, Debug, Serialize)]
pub struct Location {
    /// Place of the unit, m.
    pub position_m: [Reading; 3],
    /// Its moment, A·m², up to an overall sign: see `moment_sign`.
    pub moment_a_m2: [Reading; 3],
    /// Covariance of x, y, z (m) and of the moment's x, y, z (A·m²), in this order.
    pub covariance: [[f64; 6]; 6],
    /// χ² of the fit.
    pub chi_squared: f64,
    /// Numbers read less the six unknowns.
    pub degrees_of_freedom: usize,
    /// Whether the readings allow another answer.
    pub ambiguous: bool,
    /// The next best answer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rival: Option<Rival>,
    /// And those after it, where the readings allow more than two.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub further_rivals: Vec<Rival>,
    /// How the sign of the moment was chosen.
    pub moment_sign: &'static str,
    /// Magnitude of the moment, A·m².
    pub moment_magnitude_a_m2: Reading,
    /// Angle between the moment's line and the normal of the surface, degrees.
    pub moment_tilt_deg: Reading,
    /// Coaxial field at 10 m that such a unit has in free space, A/m.
    pub field_at_10_m_a_per_m: Reading,
    /// Depth below the surface, straight down, m.
    pub depth_vertical_m: Reading,
    /// Depth below the surface along its normal, as one probes, m.
    pub depth_normal_m: Reading,
    /// The point on the surface where a probe square to it meets the unit, m.
    pub probe_point_m: [f64; 3],
    /// The surface that depths are counted from.
    pub surface: SurfaceFound,
    /// The strongest point of the field at the height of the coils.
    pub strongest_point: StrongestPoint,
    /// Where one more reading would help most.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_place: Option<NextReading>,
    /// Whether the place is known worse than to 5 cm or not for sure.
    pub loose: bool,
    /// By what the stated uncertainties were widened: max(1, √(χ²/ν)).
    pub u_widened_by: f64,
    /// Relative standard uncertainty that all readings share, contained in that of
    /// the moment.
    pub u_calibration_rel: f64,
    /// The place against the true one, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub truth: Option<Truth>,
    /// Each reading against the fit, in the order given.
    pub residuals: Vec<ReadingResidual>,
    /// What a careful person would want to know about these results.
    pub notes: Vec<String>,
    /// The fit itself, for drawing.
    #[serde(skip)]
    pub solution: Solution,
    /// The plane of the readings, for drawing.
    #[serde(skip)]
    pub coil_plane: Surface,
}

impl Location {
    /// Largest standard uncertainty of the place in any direction, m.
    pub fn u_position_m(&self) -> f64 {
        let place = self.solution.widened().fixed_view::<3, 3>(0, 0).into_owned();
        place.symmetric_eigenvalues().max().max(0.0).sqrt()
    }
}

/// A second answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rival {
    /// Place, m.
    pub position_m: [Reading; 3],
    /// Moment, A·m².
    pub moment_a_m2: [Reading; 3],
    /// χ² of it.
    pub chi_squared: f64,
    /// By how much that is more than that of the best.
    pub chi_squared_difference: f64,
    /// Depth along the normal of the surface, m.
    pub depth_normal_m: Reading,
}

/// The surface of the snow: the plane through the readings less the coil's height.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SurfaceFound {
    /// Height of the coils over the snow, m, straight up.
    pub coil_height_m: f64,
    /// Steepness, degrees.
    pub slope_deg: f64,
    /// Direction in which it falls, degrees from x towards y; `None` where level.
    pub falls_towards_deg: Option<f64>,
    /// RMS height of the readings over the plane, m.
    pub scatter_m: f64,
}

/// The strongest point of the field in the plane of the coils.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StrongestPoint {
    /// Where, m.
    pub place_m: [f64; 3],
    /// Field there, A/m.
    pub field_a_per_m: f64,
    /// Distance along that plane from the point square above the unit, m.
    pub offset_m: f64,
    /// Its horizontal direction from there, degrees from x towards y.
    pub towards_deg: f64,
    /// The offset over the unit's distance from that plane.
    pub share_of_depth: f64,
}

/// A place to measure next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextReading {
    /// Where the coils go, m.
    pub place_m: [f64; 3],
    /// Uncertainty of the place (root of the sum of squares over x, y, z) now, m.
    pub u_position_now_m: f64,
    /// The same expected with a reading there, m.
    pub u_position_then_m: f64,
}

/// How far off the place is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Truth {
    /// The true place, m.
    pub position_m: [f64; 3],
    /// Distance of the found place from it, m.
    pub off_m: f64,
    /// That distance in standard uncertainties (Mahalanobis): about √3 by chance.
    pub off_over_u: f64,
}

/// One reading against the fit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReadingResidual {
    /// Distance of the reading from the unit, m.
    pub distance_m: f64,
    /// The numbers read, A/m: x, y, z, or horizontal and vertical, or magnitude.
    pub measured_a_per_m: Vec<f64>,
    /// The same by the fit, with the sign that suits the measured ones.
    pub computed_a_per_m: Vec<f64>,
    /// Measured less computed of each, over its uncertainty.
    pub over_u: Vec<f64>,
}
