//! Readings of field over angle, and what is wrong with a set of them.

use serde::{Deserialize, Serialize};

use crate::survey::Components;

/// Four numbers are fitted; with fewer angles nothing tells how well they fit.
pub const LEAST_ANGLES: usize = 6;
/// Least part of a turn that tells the two lobes apart, degrees.
pub const LEAST_SPAN_DEG: f64 = 150.0;
/// Angles closer than this are one, degrees.
const SAME_DEG: f64 = 0.1;
/// Twice π and a little: a table of radians over a whole turn stays below.
const RADIANS: f64 = 6.5;
/// A field over this times the median of a turn: no law has more than 1.5.
const TOO_STRONG: f64 = 30.0;

/// The field at one angle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AngleReading {
    /// Angle as set, degrees.
    pub angle_deg: f64,
    /// Standard uncertainty of it, degrees.
    pub u_angle_deg: f64,
    /// RMS field: of a receiver with one axis along it, else the magnitude over
    /// three, A/m.
    pub field_a_per_m: f64,
    /// Standard uncertainty of it, the calibration and the angle left out, A/m.
    pub u_field_a_per_m: f64,
    /// The field along the receiver's three axes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub components: Option<Components>,
}

/// Why a set of readings gives no result. Rows count from 1 in the order given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AngleError {
    /// A quantity that is not a number, or infinite.
    #[error("row {row}: {quantity} is {value}, not a finite number")]
    NotFinite {
        /// The row.
        row: usize,
        /// The quantity.
        quantity: &'static str,
        /// Its value.
        value: f64,
    },
    /// A quantity that must be over zero and is not.
    #[error("row {row}: {quantity} is {value}, which must be over zero")]
    NotPositive {
        /// The row.
        row: usize,
        /// The quantity.
        quantity: &'static str,
        /// Its value.
        value: f64,
    },
    /// Too few different angles.
    #[error("{have} different angles, {LEAST_ANGLES} are needed")]
    TooFew {
        /// How many there are.
        have: usize,
    },
    /// All readings at one angle.
    #[error("all readings are at {0}°: nothing was turned")]
    OneAngle(f64),
    /// Degrees that are none.
    #[error("all angles lie between {least} and {most}: these look like radians")]
    Radians {
        /// The least.
        least: f64,
        /// The greatest.
        most: f64,
    },
    /// Too small a part of a turn.
    #[error("the angles span {span_deg:.0}° of a turn, {LEAST_SPAN_DEG}° are needed")]
    TooNarrow {
        /// What they span, degrees.
        span_deg: f64,
    },
    /// Fields that betray another unit.
    #[error(
        "row {row}: {field_a_per_m:e} A/m and {than} differ by a factor of {factor:.0}, which \
         turning cannot do"
    )]
    OtherUnit {
        /// The row.
        row: usize,
        /// Its field, A/m.
        field_a_per_m: f64,
        /// The larger over the smaller.
        factor: f64,
        /// What it was held against, in words.
        than: &'static str,
    },
    /// Some rows have components and others not.
    #[error("row {row}: has no components, while others have")]
    Mixed {
        /// The row.
        row: usize,
    },
    /// A component larger than the field.
    #[error(
        "row {row}: the components make {components_a_per_m:e} A/m, the field is {field_a_per_m:e} A/m"
    )]
    OtherMagnitude {
        /// The row.
        row: usize,
        /// Magnitude of the components, A/m.
        components_a_per_m: f64,
        /// The field, A/m.
        field_a_per_m: f64,
    },
    /// The same field at all angles.
    #[error("the field is the same at all angles: what was turned has no direction there")]
    NoCoupling,
    /// No minimum of χ².
    #[error("no law fits the readings")]
    NoFit,
    /// A share of the calibration that is none.
    #[error("the relative uncertainty of the calibration is {0}")]
    Calibration(f64),
}

impl AngleError {
    /// The row at fault, where it is one row's.
    pub fn row(&self) -> Option<usize> {
        match self {
            Self::NotFinite { row, .. }
            | Self::NotPositive { row, .. }
            | Self::OtherUnit { row, .. }
            | Self::Mixed { row }
            | Self::OtherMagnitude { row, .. } => Some(*row),
            _ => None,
        }
    }
}

/// What is wrong with `readings`, before anything is fitted.
///
/// # Errors
///
/// The first thing that is.
pub fn check(readings: &[AngleReading]) -> Result<(), AngleError> {
    (1..).zip(readings).try_for_each(|(row, reading)| check_numbers(row, reading))?;
    check_angles(readings)?;
    check_components(readings)?;
    check_units(readings)
}

fn check_numbers(row: usize, r: &AngleReading) -> Result<(), AngleError> {
    let finite = |quantity, value: f64| match value.is_finite() {
        true => Ok(()),
        false => Err(AngleError::NotFinite { row, quantity, value }),
    };
    let positive = |quantity, value: f64| {
        finite(quantity, value)?;
        if value > 0.0 { Ok(()) } else { Err(AngleError::NotPositive { row, quantity, value }) }
    };
    finite("angle_deg", r.angle_deg)?;
    positive("field_a_per_m", r.field_a_per_m)?;
    positive("u_field_a_per_m", r.u_field_a_per_m)?;
    finite("u_angle_deg", r.u_angle_deg)?;
    if r.u_angle_deg < 0.0 {
        return Err(AngleError::NotPositive { row, quantity: "u_angle_deg", value: r.u_angle_deg });
    }
    let Some(components) = &r.components else { return Ok(()) };
    components.h_a_per_m.iter().try_for_each(|h| finite("component", *h))?;
    positive("u_a_per_m", components.u_a_per_m)
}

fn check_angles(readings: &[AngleReading]) -> Result<(), AngleError> {
    let angles = || readings.iter().map(|r| r.angle_deg);
    let Some(first) = readings.first() else { return Err(AngleError::TooFew { have: 0 }) };
    let least = angles().fold(f64::INFINITY, f64::min);
    let most = angles().fold(f64::NEG_INFINITY, f64::max);
    let on_circle = sorted(angles().map(|a| a.rem_euclid(360.0)));
    let have = different(&on_circle);
    if readings.len() > 1 && most - least < SAME_DEG {
        return Err(AngleError::OneAngle(first.angle_deg));
    }
    // Seven steps of a degree are no survey, but 0 to 2π is a table.
    if least.abs().max(most.abs()) <= RADIANS && readings.len() >= LEAST_ANGLES {
        return Err(AngleError::Radians { least, most });
    }
    if have < LEAST_ANGLES {
        return Err(AngleError::TooFew { have });
    }
    let wrap = 360.0 - on_circle[on_circle.len() - 1] + on_circle[0];
    let widest = on_circle.windows(2).map(|w| w[1] - w[0]).fold(wrap, f64::max);
    let span_deg = 360.0 - widest;
    if span_deg < LEAST_SPAN_DEG { Err(AngleError::TooNarrow { span_deg }) } else { Ok(()) }
}

/// How many of sorted angles of a circle are different.
fn different(on_circle: &[f64]) -> usize {
    let steps = on_circle.windows(2).filter(|w| w[1] - w[0] >= SAME_DEG).count();
    let closes = match on_circle {
        [first, .., last] => 360.0 + first - last < SAME_DEG,
        _ => false,
    };
    steps + 1 - usize::from(closes && steps > 0)
}

fn check_components(readings: &[AngleReading]) -> Result<(), AngleError> {
    let has = |r: &AngleReading| r.components.is_some();
    if readings.iter().any(has)
        && let Some(row) = readings.iter().position(|r| !has(r))
    {
        return Err(AngleError::Mixed { row: row + 1 });
    }
    for (row, reading) in (1..).zip(readings) {
        let Some(c) = &reading.components else { continue };
        let components_a_per_m = c.h_a_per_m.iter().map(|h| h * h).sum::<f64>().sqrt();
        let apart = (components_a_per_m - reading.field_a_per_m).abs();
        // Noise, rounding, and a field that is not quite in one phase.
        let most = 0.05 * reading.field_a_per_m + 5.0 * c.u_a_per_m.max(reading.u_field_a_per_m);
        if apart > most {
            let field_a_per_m = reading.field_a_per_m;
            return Err(AngleError::OtherMagnitude { row, components_a_per_m, field_a_per_m });
        }
    }
    Ok(())
}

/// A reading that no turn can make so much stronger than the median.
fn check_units(readings: &[AngleReading]) -> Result<(), AngleError> {
    let fields = sorted(readings.iter().map(|r| r.field_a_per_m));
    let median = fields[fields.len() / 2];
    for (row, field_a_per_m) in (1..).zip(readings.iter().map(|r| r.field_a_per_m)) {
        let factor = field_a_per_m / median;
        if factor > TOO_STRONG {
            let than = "the median of the turn";
            return Err(AngleError::OtherUnit { row, field_a_per_m, factor, than });
        }
    }
    Ok(())
}

fn sorted(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted
}
