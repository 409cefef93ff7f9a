//! What is known at a moment, once a second.

use serde::Serialize;

use super::recent::{Now, Recent};
use crate::conformity::{Decision, Rule};
use crate::limits::LimitSet;
use crate::reading::Reading;
use crate::signal::{Calibration, Measurement, PulseCount, StreamFormat, Transmitter};
use crate::verification::{CalibrationDetail, Heard, verify};

/// A unit not heard for so long is no longer shown, s.
const GONE_S: f64 = 120.0;

/// Everything but single pulses and spectra.
#[derive(Clone, Debug, Serialize)]
pub struct State {
    /// True seconds from the first sample.
    pub at_s: f64,
    /// Peak of each axis since the last state, dBFS; none where there was nothing.
    pub level_dbfs: Vec<Option<f64>>,
    /// RMS noise density of each axis, A/m per √Hz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub noise_a_per_m_rthz: Option<Vec<f64>>,
    /// Gaps met.
    pub gaps: usize,
    /// Pulses that belong to no unit.
    pub stray_pulses: usize,
    /// Carriers that are always on, Hz.
    pub steady_carriers_hz: Vec<f64>,
    /// The units, in the order in which they were first heard.
    pub units: Vec<UnitHeard>,
}

/// One unit.
#[derive(Clone, Debug, Serialize)]
pub struct UnitHeard {
    /// A, B, … in the order in which they were first heard; a unit keeps its name.
    pub name: String,
    /// Numbers of its pulse trains.
    pub trains: Vec<usize>,
    /// Mean carrier since the start.
    pub carrier_hz: Reading,
    /// Mean period since the start.
    pub period_s: Reading,
    /// Mean time on since the start.
    pub on_time_s: Reading,
    /// Mean time off since the start.
    pub off_time_s: Reading,
    /// Carrier between the pulses over carrier on.
    pub residual_carrier_ratio: Reading,
    /// Counts of its pulses.
    pub pulses: PulseCount,
    /// RMS field of the last pulses, the calibration's uncertainty contained.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_a_per_m: Option<Reading>,
    /// The same in counts, where there is no calibration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amplitude_counts: Option<Reading>,
    /// Field vector of the last pulses up to its sign; of receivers with three axes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub vector: Option<[f64; 3]>,
    /// Seconds since its last pulse began; none where single pulses are not heard.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub silent_s: Option<f64>,
    /// How it lies to each of the limits that can be judged.
    pub limits: Vec<KeptLimit>,
    /// What a reader of the numbers must know.
    pub notes: Vec<String>,
}

/// One limit.
#[derive(Clone, Debug, Serialize)]
pub struct KeptLimit {
    /// What is bounded.
    pub quantity: &'static str,
    /// The decision.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    /// Why there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why_not: Option<String>,
}

/// What a state is made with.
pub(super) struct Basis<'a> {
    pub format: &'a StreamFormat,
    pub calibration: &'a Calibration,
    pub detail: &'a CalibrationDetail,
    pub limits: &'a LimitSet,
    pub recent: &'a Recent,
    pub clipped: bool,
}

impl Basis<'_> {
    /// The units of a measurement. `names` keeps the first train of each unit that was
    /// ever shown, in their order.
    pub(super) fn units(&self, measured: &Measurement, names: &mut Vec<usize>) -> Vec<UnitHeard> {
        let mut units: Vec<(usize, UnitHeard)> = (measured.transmitters.iter())
            .filter_map(|transmitter| {
                let now = self.recent.of(&transmitter.trains);
                let silent_s = now.map(|now| measured.duration_s - now.last_s);
                let first = *transmitter.trains.iter().min()?;
                let known = names.iter().position(|train| *train == first);
                if silent_s.is_some_and(|s| s > GONE_S) {
                    return None;
                }
                let number = known.unwrap_or_else(|| {
                    names.push(first);
                    names.len() - 1
                });
                Some((number, self.unit(number, transmitter, now, measured.duration_s)))
            })
            .collect();
        units.sort_by_key(|(number, _)| *number);
        units.into_iter().map(|(_, unit)| unit).collect()
    }

    fn unit(
        &self,
        number: usize,
        transmitter: &Transmitter,
        now: Option<Now>,
        duration_s: f64,
    ) -> UnitHeard {
        let own = now.map_or(transmitter.amplitude, |now| now.field);
        let is_calibrated = self.calibration.field_per_count.is_some();
        let u_calibration = transmitter.u_calibration_rel * own.value;
        let field = Reading::new(own.value, own.u.hypot(u_calibration));
        let whole = transmitter.field_vector_a_per_m.as_deref();
        let vector = match now {
            Some(now) => Some(now.vector),
            None => whole.and_then(|v| <[f64; 3]>::try_from(v).ok()),
        };
        UnitHeard {
            name: name(number),
            trains: transmitter.trains.clone(),
            carrier_hz: transmitter.carrier_hz,
            period_s: transmitter.period_s,
            on_time_s: transmitter.on_time_s,
            off_time_s: transmitter.off_time_s,
            residual_carrier_ratio: transmitter.residual_carrier_ratio,
            pulses: transmitter.pulses,
            field_a_per_m: is_calibrated.then_some(field),
            amplitude_counts: (!is_calibrated).then_some(field),
            vector: vector.filter(|_| self.format.axes == 3),
            silent_s: now.map(|now| (duration_s - now.last_s).max(0.0)),
            limits: self.kept_limits(transmitter, duration_s),
            notes: transmitter.notes.clone(),
        }
    }

    /// The limits that need no set-up: the field's need the distance, which nobody who
    /// only watches knows.
    fn kept_limits(&self, transmitter: &Transmitter, duration_s: f64) -> Vec<KeptLimit> {
        let heard = Heard {
            transmitter,
            calibration: self.calibration,
            detail: self.detail,
            axes: self.format.axes,
            duration_s,
            clipped: self.clipped,
        };
        let judged = verify(&[heard], None, self.limits, Rule::default());
        let bounded = judged.quantities.into_iter().filter(|q| q.bound.is_some());
        bounded
            .map(|q| {
                let (decision, why_not) = match q.finding {
                    Ok(judged) => (judged.assessment.map(|a| a.decision), None),
                    Err(why) => (None, Some(why.0)),
                };
                KeptLimit { quantity: q.quantity.name(), decision, why_not }
            })
            .collect()
    }
}

/// A, B, …, Z, AA, AB, …
fn name(number: usize) -> String {
    let letter = char::from(b'A' + (number % 26) as u8);
    match number / 26 {
        0 => letter.to_string(),
        before => format!("{}{letter}", name(before - 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::name;

    #[test]
    fn names_go_on_behind_z() {
        assert_eq!([0, 25, 26, 51, 52, 702].map(name), ["A", "Z", "AA", "AZ", "BA", "AAA"]);
    }
}
