//! The field at the distance of a limit, from that at the distance measured.

use nalgebra::{Matrix3, Vector3};

use super::contribution;
use super::heard::{Heard, NotJudged};
use super::setup::{Placement, Setup};
use super::tilt;
use crate::field::dipole;
use crate::signal::Calibration;
use crate::uncertainty::{Budget, Input, Inputs, propagate};

/// Half the length of an antenna, m (common practice, no source): a rod of poles
/// ± ℓ along its axis has a field 1 + 2 ℓ²/r² times that of a dipole on its axis.
const HALF_ANTENNA_M: f64 = 0.06;

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
    let mut parts: Vec<Part> = Vec::new();
    for capture in captures {
        parts.push(Part::add(capture, &mut inputs)?);
    }
    correlate_calibrations(&mut inputs, &parts)?;
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
    let carrier_hz = captures[0].transmitter.carrier_hz.value;
    let budget = propagate(&inputs, |x| {
        let square: f64 = parts.iter().map(|part| part.magnitude(x).powi(2)).sum();
        let influences = x[orientation] * x[antennas] * x[surroundings];
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

/// What one capture puts into the formula.
pub(super) struct Part {
    /// Place of the magnitude among the inputs.
    signal: usize,
    /// Places of the calibrations of the axes.
    factors: Vec<usize>,
    /// Field along each channel, relative to the magnitude.
    channels: Vector3<f64>,
    /// From channels to orthogonal components.
    orthogonal: Matrix3<f64>,
}

impl Part {
    pub(super) fn add(capture: &Heard<'_>, inputs: &mut Inputs) -> Result<Self, NotJudged> {
        let (transmitter, calibration) = (capture.transmitter, capture.calibration);
        let missing = |what: &str| NotJudged(format!("the capture is not calibrated: {what}"));
        let (Some(vector), Some(_)) =
            (&transmitter.field_vector_a_per_m, &calibration.field_per_count)
        else {
            return Err(missing("it has no field_per_count"));
        };
        let Some(u_rel) = &calibration.field_per_count_u_rel else {
            return Err(missing("it has no field_per_count_u_rel, the uncertainty"));
        };
        let signal = inputs.add(capture.signal("A/m", transmitter.amplitude)?);
        let mut factors = Vec::new();
        for (name, u) in AXES.iter().zip(u_rel) {
            let name = format!("{}, axis {name}", contribution::CALIBRATION);
            factors.push(inputs.add(Input::normal(name, "", 1.0, *u)?));
        }
        let rows = calibration.orthogonal();
        let orthogonal = Matrix3::from_fn(|i, j| rows[i][j]);
        let field = Vector3::from_fn(|i, _| vector.get(i).copied().unwrap_or(0.0));
        let into_channels =
            orthogonal.try_inverse().ok_or_else(|| missing("its axes lie in one plane"))?;
        let channels = into_channels * field / field.norm();
        Ok(Self { signal, factors, channels, orthogonal })
    }

    /// Count what the calibrations of the channels have in common as the measurement
    /// does.
    pub(super) fn correlate_common(
        &self,
        inputs: &mut Inputs,
        calibration: &Calibration,
    ) -> Result<(), NotJudged> {
        let common = calibration.field_per_count_u_common_rel.unwrap_or(0.0);
        let u_rel = calibration.field_per_count_u_rel.as_deref().unwrap_or(&[]);
        for (j, (second, u_second)) in self.factors.iter().zip(u_rel).enumerate() {
            for (first, u_first) in self.factors[..j].iter().zip(u_rel) {
                let product = u_first * u_second;
                if common > 0.0 && product > 0.0 {
                    inputs.correlate(*first, *second, (common * common / product).min(1.0))?;
                }
            }
        }
        Ok(())
    }

    /// Magnitude over the axes when each channel's calibration is off by its factor.
    pub(super) fn magnitude(&self, x: &[f64]) -> f64 {
        let factor = |j: usize| self.factors.get(j).map_or(1.0, |place| x[*place]);
        let off = Vector3::from_fn(|j, _| factor(j) * self.channels[j]);
        x[self.signal] * (self.orthogonal * off).norm()
    }
}

/// All axes and captures are calibrated against one reference field. Not every capture
/// says how much of the uncertainty comes from that: taken as all of it, which is the
/// careful side (JCGM 100, 5.2.5).
fn correlate_calibrations(inputs: &mut Inputs, parts: &[Part]) -> Result<(), NotJudged> {
    let all: Vec<usize> = parts.iter().flat_map(|p| p.factors.iter().copied()).collect();
    for (i, first) in all.iter().enumerate() {
        for second in &all[i + 1..] {
            inputs.correlate(*first, *second, 1.0)?;
        }
    }
    Ok(())
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
