//! What no limit forbids and experience fears.
//!
//! Thresholds are common practice, no source, unless one is given.

use serde::Serialize;

use super::heard::Heard;
use crate::limits::Bound;
use crate::over_time::{Point, Row, trend};
use crate::reading::Reading;
use crate::signal::CARRIER_HZ;
use crate::units;

/// A change beyond so many standard uncertainties is real.
const REAL: f64 = 3.0;
/// Changes of the carrier over a capture that a resonator should not show, Hz.
const CARRIER_CHANGE_HZ: f64 = 1.0;
/// Change of the field over a capture that speaks of battery or movement.
const FIELD_CHANGE: f64 = 0.02;
/// Carrier between the pulses that disturbs other receivers, amplitude ratio (−40 dB).
const RESIDUAL: f64 = 0.01;
/// Spread of single periods that search strategies of receivers stumble over, s.
const JITTER_S: f64 = 0.005;
/// Captures shorter than this, or with fewer pulses, say little, s.
pub const LEAST_DURATION_S: f64 = 20.0;
const LEAST_PULSES: usize = 15;
/// How long a drift is followed beyond the capture, s: a long search.
const AHEAD_S: f64 = 3600.0;

/// How a unit behaved over one capture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Behaviour {
    /// Change of the carrier from the first to the last second.
    pub carrier_change_hz: Reading,
    /// Relative change of the field over the capture; absent where it was too short.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_change_ratio: Option<Reading>,
    /// Standard deviation of the single periods.
    pub period_jitter_s: f64,
    /// What a person should know of it.
    pub notes: Vec<String>,
}

/// Behaviour of a unit over a capture; `rows` are its means over stretches of time.
pub fn behaviour(heard: &Heard<'_>, rows: &[Row]) -> Behaviour {
    let unit = heard.transmitter;
    let carrier_change_hz = unit.carrier_drift_hz_per_s.scaled(heard.duration_s);
    let field_change_ratio = field_change(heard, rows);
    let mut notes: Vec<String> = Vec::new();
    let found = unit.pulses.found;
    if heard.duration_s < LEAST_DURATION_S || found < LEAST_PULSES {
        notes.push(format!(
            "the capture is short ({:.0} s, {found} pulses): record for 60 s to judge a unit by",
            heard.duration_s
        ));
    }
    if is_real(carrier_change_hz, CARRIER_CHANGE_HZ) {
        let change = units::plus_minus(carrier_change_hz, "Hz");
        notes.push(format!("the carrier drifts: {change} over the capture"));
    }
    if let Some(change) = field_change_ratio.filter(|c| is_real(*c, FIELD_CHANGE)) {
        let verb = if change.value < 0.0 { "falls" } else { "rises" };
        let percent = units::plus_minus(change.scaled(100.0), "%");
        notes.push(format!(
            "the field {verb} over the capture ({percent}): weak batteries, or something moved"
        ));
    }
    let residual = unit.residual_carrier_ratio;
    if residual.u < 1.0 && is_real(residual, RESIDUAL) {
        notes.push(format!(
            "carrier between the pulses, {} of it (−{:.0} dB): it can confuse other receivers",
            units::plus_minus(residual.scaled(100.0), "%"),
            -20.0 * residual.value.log10()
        ));
    }
    if unit.period_jitter_s > JITTER_S {
        let jitter = units::significant(unit.period_jitter_s * 1e3, 2);
        notes.push(format!("the single periods spread by {jitter} ms (standard deviation)"));
    }
    notes.extend(unit.notes.iter().cloned());
    Behaviour {
        carrier_change_hz,
        field_change_ratio,
        period_jitter_s: unit.period_jitter_s,
        notes,
    }
}

/// Where the drift of a carrier crosses a limit of `bound`, in words: within the
/// capture, or in the hour after it if it goes on so.
pub fn leaves_band(heard: &Heard<'_>, bound: &Bound) -> Option<String> {
    let unit = heard.transmitter;
    let change = unit.carrier_drift_hz_per_s.scaled(heard.duration_s);
    if !is_real(change, CARRIER_CHANGE_HZ) {
        return None;
    }
    let ends = [-0.5, 0.5].map(|part| unit.carrier_hz.value + part * change.value);
    let is_outside = |hz: f64| {
        bound.lower.is_some_and(|lower| hz < lower) || bound.upper.is_some_and(|upper| hz > upper)
    };
    match ends.map(is_outside) {
        [false, true] => Some("the carrier drifts out of its band within the capture".into()),
        [true, false] => {
            Some("the carrier is outside its band at first, and drifts into it".into())
        }
        // The judgement says so.
        [true, true] => None,
        [false, false] => {
            let limit = if change.value > 0.0 { bound.upper } else { bound.lower };
            let after_s = (limit? - ends[1]) / unit.carrier_drift_hz_per_s.value;
            (after_s < AHEAD_S).then(|| {
                format!(
                    "if it drifts on like this, the carrier leaves its band {:.0} min after the \
                     capture: record until it has settled",
                    (after_s / 60.0).ceil()
                )
            })
        }
    }
}

/// The offset of a carrier from 457 kHz at each of `rows`.
pub fn carrier_offsets(rows: &[Row]) -> Vec<Point> {
    let offset = |r: &Row| Reading::new(r.carrier_hz.value - CARRIER_HZ, r.carrier_hz.u);
    rows.iter().map(|r| Point { at_s: r.at_s, value: offset(r) }).collect()
}

fn is_real(change: Reading, least: f64) -> bool {
    change.value.abs() > least.max(REAL * change.u)
}

fn field_change(heard: &Heard<'_>, rows: &[Row]) -> Option<Reading> {
    let points: Vec<Point> = rows.iter().map(|r| Point { at_s: r.at_s, value: r.field }).collect();
    let mean = heard.transmitter.amplitude.value;
    let found = trend(&points)?;
    let steps: f64 = found.jumps.iter().map(|j| j.size.value).sum();
    let slope = found.rate_per_s.scaled(heard.duration_s);
    Some(Reading::new(slope.value + steps, slope.u).scaled(1.0 / mean))
}
