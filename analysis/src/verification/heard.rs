//! One unit as one capture has it.

use super::contribution;
use super::detail::CalibrationDetail;
use crate::reading::Reading;
use crate::signal::{CARRIER_HZ, Calibration, TOO_WEAK, Transmitter};
use crate::uncertainty::{Budget, Input, Inputs, UncertaintyError, propagate};

/// Greatest clock error that a capture can state, ppm: what is assumed of times
/// (not of the carrier) when the clock is not calibrated.
const WORST_CLOCK_PPM: f64 = 1000.0;

/// Standard uncertainty of a time on or off by the placement of its edges, beyond noise
/// and scatter, s: where a strong signal leaves nothing else, samples at 8 kHz of edges
/// of unknown shape that last up to 3 ms. The test of the whole chain
/// (`verifications.rs`) shows it.
const U_EDGES_S: f64 = 45e-6;

/// Why a quantity was not judged, for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotJudged(pub String);

impl From<UncertaintyError> for NotJudged {
    fn from(error: UncertaintyError) -> Self {
        Self(error.to_string())
    }
}

/// One unit in one capture.
#[derive(Clone, Copy, Debug)]
pub struct Heard<'a> {
    /// As measured.
    pub transmitter: &'a Transmitter,
    /// What the capture's counts and seconds mean.
    pub calibration: &'a Calibration,
    /// How well that is known beyond its standard uncertainties.
    pub detail: &'a CalibrationDetail,
    /// Coils of the receiver.
    pub axes: usize,
    /// Length of the capture, s.
    pub duration_s: f64,
    /// Samples were at full scale, so that the field is read too low.
    pub clipped: bool,
}

impl Heard<'_> {
    /// Whether the uncertainties of the measurement are good enough to judge by.
    pub(super) fn judgeable(&self) -> Result<(), NotJudged> {
        if self.transmitter.notes.iter().any(|note| note == TOO_WEAK) {
            let what = "the signal is too weak for single pulses: measure closer";
            return Err(NotJudged(what.into()));
        }
        Ok(())
    }

    /// Carrier over the capture, Hz: its mean. Not judged without a calibrated clock.
    pub fn carrier(&self) -> Result<Budget, NotJudged> {
        let Some(u_ppm) = self.u_clock_ppm() else {
            let why =
                "the receiver's clock is not calibrated: its offset and uncertainty are needed";
            return Err(NotJudged(why.into()));
        };
        let mut inputs = Inputs::new();
        let signal = inputs.add(self.signal("Hz", self.carrier_of_this_capture())?);
        let clock = inputs.add(self.clock(u_ppm)?);
        let drift =
            inputs.add(Input::rectangular(contribution::DRIFT, "Hz", 0.0, self.half_drift_hz())?);
        Ok(propagate(&inputs, |x| (x[signal] + x[drift]) * (1.0 + 1e-6 * x[clock]))?)
    }

    /// How far the carrier is from its mean at the ends of the capture, Hz: what is
    /// judged is the unit, which has no single carrier while it drifts. A drift
    /// within its uncertainty is none.
    pub(super) fn half_drift_hz(&self) -> f64 {
        let drift = self.transmitter.carrier_drift_hz_per_s;
        let real = drift.value.abs() > 3.0 * drift.u;
        if real { 0.5 * drift.value.abs() * self.duration_s } else { 0.0 }
    }

    /// Mean time on, s.
    pub fn on_time(&self) -> Result<Budget, NotJudged> {
        self.time(self.transmitter.on_time_s, U_EDGES_S)
    }

    /// Mean time off, s.
    pub fn off_time(&self) -> Result<Budget, NotJudged> {
        self.time(self.transmitter.off_time_s, U_EDGES_S)
    }

    /// Mean period, s.
    pub fn period(&self) -> Result<Budget, NotJudged> {
        // From the first to the last rising edge.
        let periods = self.transmitter.pulses.expected.saturating_sub(1).max(1) as f64;
        self.time(self.transmitter.period_s, U_EDGES_S * std::f64::consts::SQRT_2 / periods)
    }

    /// Carrier between the pulses over carrier on.
    pub fn residual_carrier(&self) -> Result<Budget, NotJudged> {
        let ratio = self.transmitter.residual_carrier_ratio;
        if ratio.u >= 1.0 {
            return Err(NotJudged("no quiet time between the pulses to measure it in".into()));
        }
        let mut inputs = Inputs::new();
        let signal = inputs.add(self.signal("", ratio)?);
        Ok(propagate(&inputs, |x| x[signal])?)
    }

    /// The carrier with what is new in every capture, Hz: noise and repeatability.
    pub(super) fn carrier_of_this_capture(&self) -> Reading {
        self.transmitter.carrier_hz.without(self.u_clock_hz())
    }

    /// What the receiver's clock adds to the uncertainty of carriers, Hz.
    pub(super) fn u_clock_hz(&self) -> f64 {
        CARRIER_HZ * self.u_clock_ppm().unwrap_or(0.0) * 1e-6
    }

    /// Degrees of freedom of what the scatter of the pulses is the base of: those
    /// about a line, and the four observations that noise theory counts for.
    pub(super) fn degrees_of_freedom(&self) -> f64 {
        self.transmitter.pulses.found as f64 + 2.0
    }

    /// The part of a reading that comes from noise and from pulse to pulse.
    pub(super) fn signal(
        &self,
        unit: &'static str,
        reading: Reading,
    ) -> Result<Input, UncertaintyError> {
        Input::observed(contribution::SIGNAL, unit, reading, self.degrees_of_freedom())
    }

    /// The receiver's clock with its standard uncertainty.
    pub(super) fn clock(&self, u_ppm: f64) -> Result<Input, UncertaintyError> {
        let freedom = self.detail.clock_degrees_of_freedom.unwrap_or(f64::INFINITY);
        Input::normal(contribution::CLOCK, "ppm", 0.0, u_ppm)?.with_degrees_of_freedom(freedom)
    }

    pub(super) fn u_clock_ppm(&self) -> Option<f64> {
        self.calibration.clock_offset_ppm?;
        self.calibration.clock_offset_u_ppm
    }

    /// A time whose edges are placed to `u_edges_s`.
    fn time(&self, measured: Reading, u_edges_s: f64) -> Result<Budget, NotJudged> {
        let known_ppm = self.u_clock_ppm();
        let u_clock = measured.value * known_ppm.unwrap_or(0.0) * 1e-6;
        let mut inputs = Inputs::new();
        let signal = inputs.add(self.signal("s", measured.without(u_clock))?);
        let clock = inputs.add(match known_ppm {
            Some(u_ppm) => self.clock(u_ppm)?,
            None => Input::rectangular(contribution::CLOCK, "ppm", 0.0, WORST_CLOCK_PPM)?,
        });
        let edges = inputs.add(Input::normal(contribution::EDGES, "s", 0.0, u_edges_s)?);
        Ok(propagate(&inputs, |x| (x[signal] + x[edges]) / (1.0 + 1e-6 * x[clock]))?)
    }
}
