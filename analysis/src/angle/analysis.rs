//! Everything that follows from a table of field over angle.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::departure::{Harmonic, harmonics};
use super::law::{self, Law, LawFit};
use super::moment::{CaseMoment, case_moment};
use super::readings::{AngleError, AngleReading};
use crate::field::constants::NOMINAL_CARRIER_HZ;
use crate::range::Alignment;
use crate::range::analysis::DB_PER_NEPER;
use crate::reading::Reading;
use crate::units;

/// No transmitter of the trade gives more than this beyond some decimetres, A/m;
/// common practice, no source.
const MUCH_A_PER_M: f64 = 0.1;
/// Least over greatest field of a dipole turned in place: a half.
const DIPOLE_DEPTH_DB: f64 = -6.0206;
/// χ² that comes by chance less often than this speaks against the law.
const UNLIKELY: f64 = 0.01;
/// Least cosine between the receiver's x axis and the line from the unit: 60°.
const LEAST_ALONG_X: f64 = 0.5;
/// A reading this far from the law, in units of its uncertainty, is named.
const FAR_OFF: f64 = 4.0;
/// A reading below this share of the strongest is held against the law of the others,
const WEAK: f64 = 0.01;
/// which must expect at least so many times as much for it to be another unit.
const OTHER_UNIT: f64 = 30.0;

/// What was turned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Turned {
    /// The unit, before a receiver that stays.
    #[default]
    Unit,
    /// The receiver, in the field of a unit that stays.
    Coil,
}

/// What is fitted over the angle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Coupling {
    /// The field as read: one axis, or the magnitude over three.
    Field,
    /// The magnitude of the component along one axis of the receiver.
    X,
    /// As X.
    Y,
    /// As X.
    Z,
}

impl Coupling {
    const COMPONENTS: [Self; 3] = [Self::X, Self::Y, Self::Z];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Field => "field",
            Self::X => "x component",
            Self::Y => "y component",
            Self::Z => "z component",
        }
    }
}

/// What to do with the readings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Options {
    /// What was turned.
    pub turned: Turned,
    /// The law, where it is not to be found.
    pub law: Option<Law>,
    /// Relative standard uncertainty of the field that all readings share, as that
    /// of their calibration; not contained in their own.
    pub u_calibration_rel: f64,
    /// Distance between the unit's and the coil's middle, m, for the moment in A·m².
    pub distance_m: Option<Reading>,
}

/// Results of a table of field over angle.
#[derive(Clone, Debug, Serialize)]
pub struct AngleAnalysis {
    /// What was turned.
    pub turned: Turned,
    /// What of the readings is fitted.
    pub coupling: Coupling,
    /// The law it follows.
    pub law: Law,
    /// Angle of the greatest coupling, −90 to 90: a turn of 180 degrees more is as good.
    pub misalignment_deg: Reading,
    /// The greatest field of a turn, A/m; the calibration is in its u.
    pub peak_a_per_m: Reading,
    /// What turning does not change, over the part that turns; its sign goes with
    /// `misalignment_deg`.
    pub leak_in_phase: Reading,
    /// What fills the nulls in quadrature, over the part that turns; there where the
    /// readings show it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub leak_in_quadrature: Option<Reading>,
    /// Both together: cross-axis leakage, what is left a quarter turn from the best
    /// angle over the part that turns.
    pub leakage_ratio: Reading,
    /// Least over greatest field of a turn, dB; absent for a law that has nulls. With
    /// three axes the calibration, taken as that of each axis by itself, is in its u.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub depth_db: Option<Reading>,
    /// The weakest reading over the greatest field, dB.
    pub weakest_reading_db: f64,
    /// χ² of the fit.
    pub chi_squared: f64,
    /// Readings less fitted parameters.
    pub degrees_of_freedom: usize,
    /// Probability of a χ² at least as large if the law and the uncertainties hold.
    pub chance: f64,
    /// χ² of the law before anything was added to it.
    pub law_chi_squared: f64,
    /// Harmonics of the square of coupling.
    pub harmonics: Vec<Harmonic>,
    /// Each reading less the law over its uncertainty, in the order given.
    pub residuals_u: Vec<f64>,
    /// The unit's moment in its case.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub moment: Option<CaseMoment>,
    /// The moment's magnitude, A·m², where the distance is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub moment_a_m2: Option<Reading>,
    /// Relative standard uncertainty shared by all readings.
    pub u_calibration_rel: f64,
    /// What a careful person would want to know about these results.
    pub notes: Vec<String>,
    /// The fit itself.
    #[serde(skip)]
    pub fit: LawFit,
    /// The readings as fitted: those of `coupling`.
    #[serde(skip)]
    pub fitted: Vec<AngleReading>,
}

/// Analyse readings.
///
/// # Errors
///
/// What [`check`](super::check) finds, a reading that betrays another unit, a
/// share of the calibration that is none, and readings that no law fits.
pub fn analyse(readings: &[AngleReading], options: &Options) -> Result<AngleAnalysis, AngleError> {
    let share = options.u_calibration_rel;
    if !(share >= 0.0 && share.is_finite()) {
        return Err(AngleError::Calibration(share));
    }
    super::check(readings)?;
    let coupling = choose(readings, options.turned);
    let fitted = of_coupling(readings, coupling);
    let law = match (options.law, coupling) {
        (Some(law), _) => Some(law),
        (None, Coupling::Field) if has_components(readings) => Some(Law::Dipole),
        (None, Coupling::Field) => None,
        (None, _) => Some(Law::Cosine),
    };
    check_weak(&fitted, law)?;
    let fit = fit_of(&fitted, law)?;
    let with_calibration =
        |r: Reading| Reading::new(r.value, r.u.hypot(r.value * options.u_calibration_rel));
    let moment = match options.turned {
        Turned::Unit => case_moment(readings, options.u_calibration_rel),
        Turned::Coil => None,
    };
    // Where greatest and least field lie on different axes, so do their calibrations.
    let apart = match (coupling, has_components(readings)) {
        (Coupling::Field, true) => {
            DB_PER_NEPER * std::f64::consts::SQRT_2 * options.u_calibration_rel
        }
        _ => 0.0,
    };
    let peak = fit.peak_a_per_m();
    let weakest = fitted.iter().map(|r| r.field_a_per_m).fold(f64::INFINITY, f64::min);
    let mut analysis = AngleAnalysis {
        turned: options.turned,
        coupling,
        law: fit.law,
        misalignment_deg: fit.misalignment_deg,
        peak_a_per_m: with_calibration(peak),
        leak_in_phase: fit.leak,
        leak_in_quadrature: fit.fill.filter(|_| fit.law == Law::Cosine),
        leakage_ratio: fit.leakage(),
        depth_db: fit.depth_db().map(|depth| Reading::new(depth.value, depth.u.hypot(apart))),
        weakest_reading_db: DB_PER_NEPER * (weakest / peak.value).ln(),
        chi_squared: fit.chi_squared,
        degrees_of_freedom: fit.degrees_of_freedom,
        chance: chance(fit.chi_squared, fit.degrees_of_freedom),
        law_chi_squared: fit.law_chi_squared,
        harmonics: harmonics(&fitted, &fit),
        residuals_u: fit
            .residuals_a_per_m
            .iter()
            .zip(&fit.u_readings_a_per_m)
            .map(|(r, u)| r / u)
            .collect(),
        moment_a_m2: moment
            .as_ref()
            .zip(options.distance_m)
            .map(|(m, distance_m)| magnitude(with_calibration(m.coplanar_a_per_m), distance_m)),
        moment,
        u_calibration_rel: options.u_calibration_rel,
        notes: Vec::new(),
        fit,
        fitted,
    };
    analysis.notes = notes(&analysis, options.law);
    Ok(analysis)
}

fn fit_of(readings: &[AngleReading], law: Option<Law>) -> Result<LawFit, AngleError> {
    law.map_or_else(|| law::fit_either(readings), |law| law::fit(readings, law))
}

fn has_components(readings: &[AngleReading]) -> bool {
    readings.iter().all(|r| r.components.is_some())
}

/// A receiver turned in place sees the same magnitude all round: then the component
/// that varies most is what turns.
fn choose(readings: &[AngleReading], turned: Turned) -> Coupling {
    if turned == Turned::Unit || !has_components(readings) {
        return Coupling::Field;
    }
    let varies = |coupling: &Coupling| {
        let fields = of_coupling(readings, *coupling).into_iter().map(|r| r.field_a_per_m);
        fields.clone().fold(0.0, f64::max) - fields.fold(f64::INFINITY, f64::min)
    };
    Coupling::COMPONENTS
        .into_iter()
        .max_by(|a, b| varies(a).total_cmp(&varies(b)))
        .unwrap_or(Coupling::Field)
}

/// The readings as those of what is fitted.
pub(crate) fn of_coupling(readings: &[AngleReading], coupling: Coupling) -> Vec<AngleReading> {
    let axis = Coupling::COMPONENTS.iter().position(|c| *c == coupling);
    let one = |r: &AngleReading| match (axis, r.components) {
        (Some(axis), Some(c)) => AngleReading {
            field_a_per_m: c.h_a_per_m[axis].abs().max(f64::MIN_POSITIVE),
            u_field_a_per_m: c.u_a_per_m,
            components: None,
            ..*r
        },
        _ => *r,
    };
    readings.iter().map(one).collect()
}

/// A reading far below the law of the strong ones: nulls are where the law has them.
fn check_weak(readings: &[AngleReading], law: Option<Law>) -> Result<(), AngleError> {
    let strongest = readings.iter().map(|r| r.field_a_per_m).fold(0.0, f64::max);
    let is_weak = |r: &AngleReading| r.field_a_per_m < WEAK * strongest;
    if !readings.iter().any(is_weak) {
        return Ok(());
    }
    let strong: Vec<AngleReading> = readings.iter().filter(|r| !is_weak(r)).copied().collect();
    let Ok(fit) = fit_of(&strong, law) else { return Ok(()) };
    for (row, r) in (1..).zip(readings).filter(|(_, r)| is_weak(r)) {
        let factor = fit.field_at(r.angle_deg).value / r.field_a_per_m;
        if factor > OTHER_UNIT && factor * r.field_a_per_m > 0.1 * strongest {
            return Err(AngleError::OtherUnit {
                row,
                field_a_per_m: r.field_a_per_m,
                factor,
                than: "what the others lead to expect",
            });
        }
    }
    Ok(())
}

/// Probability of χ² at least as large.
fn chance(chi_squared: f64, degrees_of_freedom: usize) -> f64 {
    ChiSquared::new(degrees_of_freedom as f64).map_or(1.0, |chi| chi.sf(chi_squared))
}

/// Moment of a unit that makes `coplanar` beside itself.
fn magnitude(coplanar: Reading, distance_m: Reading) -> Reading {
    let one = Alignment::Coplanar.field_a_per_m(1.0, distance_m.value, NOMINAL_CARRIER_HZ);
    let u_rel = coplanar.u_rel().hypot(3.0 * distance_m.u_rel());
    Reading::new(coplanar.value / one, coplanar.value / one * u_rel)
}

fn notes(of: &AngleAnalysis, stated: Option<Law>) -> Vec<String> {
    let mut notes = Vec::new();
    if stated.is_none() && of.coupling == Coupling::Field && !has_components(&of.fitted) {
        notes.push(format!(
            "the {} law fits better than the other; state the law where it is known",
            of.law
        ));
    }
    if of.chance < UNLIKELY {
        notes.push(format!(
            "the readings scatter more about the law than they should: χ² of {} for {} degrees of \
             freedom; all uncertainties are widened for it",
            units::significant(of.chi_squared, 3),
            of.degrees_of_freedom
        ));
    }
    for (reading, off) in of.fitted.iter().zip(&of.residuals_u).filter(|(_, r)| r.abs() > FAR_OFF) {
        notes.push(format!(
            "the reading at {}° lies {} times its uncertainty from the law: look at it again",
            reading.angle_deg,
            units::significant(off.abs(), 2)
        ));
    }
    for harmonic in of.harmonics.iter().filter(|h| h.order != 2 && h.stands_out()) {
        notes.push(format!(
            "harmonic {} of the square stands out: {}",
            harmonic.order,
            match harmonic.order {
                4 => "metal or another coil near by?",
                _ => "what turns may not turn about its own middle, so that the distance changes",
            }
        ));
    }
    if of.law == Law::Dipole
        && let (Some(fill), Some(depth)) = (of.fit.fill, of.depth_db)
        && (depth.value - DIPOLE_DEPTH_DB).abs() > 2.0 * depth.u
    {
        // cos ψ = a cos(θ − θ0) with a = 1/(√3 q) where the moment is out of the plane.
        let in_plane = Law::Dipole.fill() / fill.value;
        notes.push(if in_plane < 1.0 {
            format!(
                "greatest and least field are less than 6.02 dB apart: a moment {}° out of the \
                 plane of turning, or a receiver not in that plane, would do that",
                units::significant(in_plane.acos().to_degrees(), 2)
            )
        } else {
            "greatest and least field are more than 6.02 dB apart: no dipole in free space does \
             that; look for metal, and for a distance that changes"
                .into()
        });
    }
    if of.peak_a_per_m.value > MUCH_A_PER_M {
        notes.push("fields over 100 mA/m: is the table in A/m?".into());
    }
    match &of.moment {
        Some(moment) if chance(moment.departure_chi_squared, 3) < UNLIKELY => notes.push(
            "the vectors are not quite those of a dipole turned square to the line to the \
             receiver: azimuth and elevation are off by more than they say"
                .into(),
        ),
        Some(moment) if moment.line_of_sight[0] < LEAST_ALONG_X => notes.push(
            "the receiver's x axis did not point away from the unit: the sign of the elevation is \
             not known"
                .into(),
        ),
        Some(_) => {}
        None if of.turned == Turned::Unit => notes.push(
            "without the three components one turn tells where the moment points across the axis \
             of turning, and nothing of its part along it; a turn about another axis of the case, \
             or three axes, would"
                .into(),
        ),
        None => {}
    }
    notes
}
