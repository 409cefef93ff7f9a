//! The field at the distance of a limit, from that at the distance measured.

use nalgebra::{Matrix3, Vector3};

use super::contribution;
use super::heard::{Heard, NotJudged};
use super::setup::{Placement, Setup};
use super::tilt;
use crate::field::dipole;
use crate::uncertainty::{Budget, Input, Inputs, propagate};

/// Half the length of an antenna, m (common practice, no source): a rod of poles
/// ± ℓ along its axis has a field 1 + 2 ℓ²/r² times that of a dipole on its axis.
const HALF_ANTENNA_M: f64 = 0.06;

/// Greatest share of the field at 10 m that ground adds or takes. Computed with
/// empymod for a unit 1 m deep in 2 m of dry snow over soil of 100 Ω·m and a coil 1 m
/// above the snow, coplanar: 1.4 dB. What currents in the ground do to the near field
/// grows as the square of the distance.
const GROUND_AT_10_M: f64 = 0.175;

/// Names of the axes.
const AXES: [&str; 3] = ["x", "y", "z"];

/// RMS field on the axis of the unit's antenna at `target_m`, A/m, from one capture
/// with the antennas coaxial or coplanar, or from three captures in three directions.
///
/// H(target) = H · h_coaxial(target) / h(distance) with all three terms of the
/// dipole. In three directions square to each other the squares of the dipole's
/// field add up to h_coaxial² + 2 h_coplanar² however it lies, which takes the
/// place of h².
///
/// # Errors
///
/// No calibration, none with uncertainties, or a number of captures or of axes
/// that does not go with the placement.
pub fn field_at(target_m: f64, captures: &[Heard<'_>], setup: &Setup) -> Result<Budget, NotJudged> {
    let wanted = if setup.placement == Placement::ThreeDirections { 3 } else { 1 };
    if captures.len() != wanted {
        let what =
            format!("{wanted} captures are needed for this alignment, not {}", captures.len());
        return Err(NotJudged(what));
    }
    if setup.placement == Placement::ThreeDirections && captures.iter().any(|c| c.axes != 3) {
        let what = "fields in three directions need a receiver of three axes";
        return Err(NotJudged(what.into()));
    }
    if captures.iter().any(|c| c.clipped) {
        let what = "samples are at full scale: lower the gain or move away, and record again";
        return Err(NotJudged(what.into()));
    }
    let mut inputs = Inputs::new();
    let parts = calibrated(captures, &mut inputs)?;
    let distance = inputs.add(Input::normal(
        contribution::DISTANCE,
        "m",
        setup.distance_m,
        setup.u_distance_m,
    )?);
    let orientation = inputs.add(orientation(captures, setup)?);
    let antennas = 2.0 * (HALF_ANTENNA_M / setup.distance_m).powi(2);
    let antennas = inputs.add(Input::rectangular(contribution::ANTENNAS, "", 1.0, antennas)?);
    let surroundings =
        Input::normal(contribution::SURROUNDINGS, "", 1.0, setup.u_surroundings_rel)?;
    let surroundings = inputs.add(surroundings);
    let ground = GROUND_AT_10_M * (setup.distance_m / 10.0).powi(2);
    let ground = inputs.add(Input::rectangular(contribution::GROUND, "", 1.0, ground)?);
    let carrier_hz = captures[0].transmitter.carrier_hz.value;
    let budget = propagate(&inputs, |x| {
        let square: f64 = parts.iter().map(|part| part.magnitude(x).powi(2)).sum();
        let influences = x[orientation] * x[antennas] * x[surroundings] * x[ground];
        let here = of_unit_moment(setup.placement, x[distance], carrier_hz);
        square.sqrt() / influences / here * dipole::coaxial(1.0, target_m, carrier_hz)
    })?;
    Ok(budget)
}

/// What a moment of 1 A·m² makes of the readings at a distance.
fn of_unit_moment(placement: Placement, distance_m: f64, carrier_hz: f64) -> f64 {
    let coaxial = dipole::coaxial(1.0, distance_m, carrier_hz);
    let coplanar = dipole::coplanar(1.0, distance_m, carrier_hz);
    match placement {
        Placement::Coaxial => coaxial,
        Placement::Coplanar => coplanar,
        Placement::ThreeDirections => (coaxial.powi(2) + 2.0 * coplanar.powi(2)).sqrt(),
    }
}

/// Parts of all `captures`. One calibration of them all is one set of inputs.
fn calibrated(captures: &[Heard<'_>], inputs: &mut Inputs) -> Result<Vec<Part>, NotJudged> {
    let same = |pair: &[Heard<'_>]| {
        pair[0].calibration == pair[1].calibration && pair[0].detail == pair[1].detail
    };
    if captures.windows(2).all(same) {
        let Some(first) = captures.first() else { return Ok(Vec::new()) };
        let coils = Coils::add(first, inputs)?.with_angles(first, inputs)?;
        return captures.iter().map(|c| Part::add(c, coils.clone(), inputs)).collect();
    }
    let mut parts: Vec<Part> = Vec::new();
    for capture in captures {
        let coils = Coils::add(capture, inputs)?.with_angles(capture, inputs)?;
        parts.push(Part::add(capture, coils, inputs)?);
    }
    // Nothing says what one calibration has in common with another: all of it is the
    // careful side (JCGM 100, 5.2.5).
    let all: Vec<usize> = parts.iter().flat_map(|p| p.coils.factors.iter().copied()).collect();
    for (i, first) in all.iter().enumerate() {
        for second in &all[i + 1..] {
            inputs.correlate(*first, *second, 1.0)?;
        }
    }
    Ok(parts)
}

/// Places among the inputs of what a calibration says of the coils.
#[derive(Clone)]
pub(super) struct Coils {
    /// How far the scale of each is off, as a factor.
    factors: Vec<usize>,
    /// How far the angles between them are off, degrees, in the order of [`PAIRS`].
    angles: Vec<usize>,
}

/// Pairs of coils.
const PAIRS: [(usize, usize); 3] = [(0, 1), (0, 2), (1, 2)];

impl Coils {
    /// The scale of each coil, correlated by what they share.
    pub(super) fn add(capture: &Heard<'_>, inputs: &mut Inputs) -> Result<Self, NotJudged> {
        let calibration = capture.calibration;
        let Some(u_rel) = &calibration.field_per_count_u_rel else {
            return Err(not_calibrated("it has no field_per_count_u_rel, the uncertainty"));
        };
        let mut factors = Vec::new();
        for (axis, (name, u)) in AXES.iter().zip(u_rel).enumerate() {
            let name = format!("{}, axis {name}", contribution::CALIBRATION);
            let freedom = capture.detail.field_degrees_of_freedom(axis);
            let factor = Input::normal(name, "", 1.0, *u)?.with_degrees_of_freedom(freedom)?;
            factors.push(inputs.add(factor));
        }
        let common = calibration.field_per_count_u_common_rel.unwrap_or(0.0);
        for (i, j) in PAIRS.into_iter().filter(|(_, j)| *j < factors.len()) {
            let product = u_rel[i] * u_rel[j];
            if common > 0.0 && product > 0.0 {
                inputs.correlate(factors[i], factors[j], (common * common / product).min(1.0))?;
            }
        }
        Ok(Self { factors, angles: Vec::new() })
    }

    /// With the angles between three coils.
    fn with_angles(self, capture: &Heard<'_>, inputs: &mut Inputs) -> Result<Self, NotJudged> {
        if capture.axes != 3 {
            return Ok(self);
        }
        let add = |(i, j): (usize, usize)| -> Result<usize, NotJudged> {
            let name = format!("{} {} and {}", contribution::ANGLE, AXES[i], AXES[j]);
            let u_deg = capture.detail.u_angle_rad(i, j).to_degrees();
            Ok(inputs.add(Input::normal(name, "°", 0.0, u_deg)?))
        };
        let angles = PAIRS.into_iter().map(add).collect::<Result<_, _>>()?;
        Ok(Self { angles, ..self })
    }

    /// Field components for the `channels` of a perfect calibration and the inputs `x`.
    fn components(
        &self,
        x: &[f64],
        orthogonal: &Matrix3<f64>,
        channels: &Vector3<f64>,
    ) -> Vector3<f64> {
        let factor = |j: usize| self.factors.get(j).map_or(1.0, |place| x[*place]);
        let mut matrix = *orthogonal;
        for ((i, j), place) in PAIRS.into_iter().zip(&self.angles) {
            // The matrix is Γ^−½, Γ the cosines of the angles between the coils.
            let half = 0.5 * x[*place].to_radians();
            matrix[(i, j)] += half;
            matrix[(j, i)] += half;
        }
        matrix * Vector3::from_fn(|j, _| factor(j) * channels[j])
    }
}

fn not_calibrated(what: &str) -> NotJudged {
    NotJudged(format!("the capture is not calibrated: {what}; give --calibration"))
}

/// What one capture puts into the formula.
pub(super) struct Part {
    /// Place of the magnitude among the inputs.
    signal: usize,
    coils: Coils,
    /// Field along each channel, relative to the magnitude.
    channels: Vector3<f64>,
    /// From channels to orthogonal components.
    orthogonal: Matrix3<f64>,
}

impl Part {
    pub(super) fn add(
        capture: &Heard<'_>,
        coils: Coils,
        inputs: &mut Inputs,
    ) -> Result<Self, NotJudged> {
        let (transmitter, calibration) = (capture.transmitter, capture.calibration);
        let (Some(vector), Some(_)) =
            (&transmitter.field_vector_a_per_m, &calibration.field_per_count)
        else {
            return Err(not_calibrated("it has no field_per_count"));
        };
        let signal = inputs.add(capture.signal("A/m", transmitter.amplitude)?);
        let rows = calibration.orthogonal();
        let orthogonal = Matrix3::from_fn(|i, j| rows[i][j]);
        let field = Vector3::from_fn(|i, _| vector.get(i).copied().unwrap_or(0.0));
        let into_channels =
            orthogonal.try_inverse().ok_or_else(|| not_calibrated("its axes lie in one plane"))?;
        let channels = into_channels * field / field.norm();
        Ok(Self { signal, coils, channels, orthogonal })
    }

    /// Magnitude over the axes when each channel's calibration is off by its factor.
    pub(super) fn magnitude(&self, x: &[f64]) -> f64 {
        x[self.signal] * self.coils.components(x, &self.orthogonal, &self.channels).norm()
    }
}

fn orientation(captures: &[Heard<'_>], setup: &Setup) -> Result<Input, NotJudged> {
    let name = contribution::ORIENTATION;
    if setup.placement != Placement::ThreeDirections {
        let (mean, u) = tilt::factor(setup.placement, captures[0].axes, setup.u_tilt_rad);
        return Ok(Input::one_sided(name, "", mean, u)?);
    }
    // Directions that are off square change S = Σ cos²θ by δS, with variance
    // 4 σ² Σ cos²θ sin²θ. The sum of the squared fields goes as 3 + 3 S with S = 1,
    // so the field changes by δS / 4. A field gives its cos²θ by 1 + 3 cos²θ.
    let squares: Vec<f64> =
        captures.iter().map(|c| c.transmitter.amplitude.value.powi(2)).collect();
    let sum: f64 = squares.iter().sum();
    let spread: f64 = squares
        .iter()
        .map(|square| ((6.0 * square / sum - 1.0) / 3.0).clamp(0.0, 1.0))
        .map(|cos_square| cos_square * (1.0 - cos_square))
        .sum();
    Ok(Input::normal(name, "", 1.0, 0.5 * setup.u_tilt_rad * spread.sqrt())?)
}
