//! A numeric oscillator: 32-bit phase, sine table, linear interpolation.
//!
//! Amplitude 2¹⁵. Error at most 1.02 units (−90 dB of the carrier) at every
//! phase: half a unit each from the table and the interpolation, and 0.15 by
//! which a chord runs under its arc.

use crate::{ADC_RATE_HZ, TUNED_HZ, design};

/// Bits of amplitude: the peak is 2¹⁵.
pub(crate) const AMPLITUDE_BITS: u32 = 15;

const TABLE_BITS: u32 = 10;
const TABLE: [i32; (1 << TABLE_BITS) + 1] = {
    let mut table = [0; (1 << TABLE_BITS) + 1];
    let mut place = 0;
    while place < table.len() {
        let turn = place as f64 / (1 << TABLE_BITS) as f64;
        let sine = design::sin(core::f64::consts::TAU * turn);
        table[place] = design::round(sine * (1 << AMPLITUDE_BITS) as f64);
        place += 1;
    }
    table
};

/// What the tuned frequency advances by from one ADC frame to the next, in
/// 2⁻³² turns, whole turns dropped: sampling folds them away.
const STEP: u32 = {
    let folded_hz = (TUNED_HZ % ADC_RATE_HZ) as u64;
    (((folded_hz << 32) + ADC_RATE_HZ as u64 / 2) / ADC_RATE_HZ as u64) as u32
};

const QUARTER_TURN: u32 = 1 << 30;

/// The phase of the tuned frequency.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Oscillator {
    phase: u32,
}

impl Oscillator {
    /// Cosine and sine now, then one ADC frame on.
    pub(crate) fn next(&mut self) -> (i32, i32) {
        let pair = (sine(self.phase.wrapping_add(QUARTER_TURN)), sine(self.phase));
        self.phase = self.phase.wrapping_add(STEP);
        pair
    }

    /// Pass over ADC frames that were lost.
    pub(crate) fn skip(&mut self, frames: u64) {
        self.phase = self.phase.wrapping_add(STEP.wrapping_mul(frames as u32));
    }
}

fn sine(phase: u32) -> i32 {
    const FRACTION_BITS: u32 = 16;
    let place = (phase >> (32 - TABLE_BITS)) as usize;
    let fraction = (phase << TABLE_BITS >> (32 - FRACTION_BITS)) as i32;
    let (here, next) = (TABLE[place], TABLE[place + 1]);
    here + (((next - here) * fraction + (1 << (FRACTION_BITS - 1))) >> FRACTION_BITS)
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    #[test]
    fn sine_is_good_to_the_stated_error_at_every_phase() {
        let mut worst = 0.0f64;
        for phase in (0..=u32::MAX).step_by(10_007) {
            let turn = phase as f64 / 4_294_967_296.0;
            let exact = (core::f64::consts::TAU * turn).sin() * 32_768.0;
            worst = worst.max((sine(phase) as f64 - exact).abs());
        }
        assert!(worst < 1.02, "{worst}");
    }

    #[test]
    fn frequency_is_the_folded_one_within_the_stated_rounding() {
        let hz = STEP as f64 / 4_294_967_296.0 * ADC_RATE_HZ as f64;
        assert!((hz - 73_000.0 + 15e-6).abs() < 1e-6, "{hz}");
    }

    #[test]
    fn skipping_is_the_same_as_running() {
        let (mut run, mut skipped) = (Oscillator::default(), Oscillator::default());
        for _ in 0..12_345 {
            run.next();
        }
        skipped.skip(12_345);
        assert_eq!(run.next(), skipped.next());
    }
}
