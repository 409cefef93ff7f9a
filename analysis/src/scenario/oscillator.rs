//! The carrier of a unit, as the receiver's clock sees it.

use super::Unit;
use super::clock::Clock;
use crate::field::constants::NOMINAL_CARRIER_HZ;

/// The undisturbed oscillator of a unit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Oscillator {
    seen_offset_hz: f64,
    drift_hz_per_s: f64,
}

impl Oscillator {
    pub(super) fn new(unit: &Unit, clock: &Clock) -> Self {
        Self {
            seen_offset_hz: clock.seen_offset_hz(NOMINAL_CARRIER_HZ, unit.carrier_offset_hz),
            drift_hz_per_s: unit.carrier_drift_hz_per_s,
        }
    }

    /// A carrier that stays `offset_hz` from 457 kHz.
    pub(super) fn steady(offset_hz: f64, clock: &Clock) -> Self {
        Self {
            seen_offset_hz: clock.seen_offset_hz(NOMINAL_CARRIER_HZ, offset_hz),
            drift_hz_per_s: 0.0,
        }
    }

    /// Phase at true time `time_s` against the receiver's 457 kHz, cycles.
    pub(super) fn cycles(&self, time_s: f64) -> f64 {
        (self.seen_offset_hz + 0.5 * self.drift_hz_per_s * time_s) * time_s
    }
}
