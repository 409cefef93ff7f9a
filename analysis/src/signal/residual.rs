//! Carrier that a unit sends between its pulses.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::burst::{Burst, along, over_noise, wide};
use super::frontend::Frame;
use super::pulse::Pulse;
use super::stretch::Stretch;

/// It is measured in windows of this length,
const WINDOW_S: f64 = 0.1;
const MOST_WINDOWS: usize = 4;
/// kept clear of all pulses' edges.
const CLEAR_S: f64 = 0.02;
/// A steady carrier this close may be what the unit leaks.
const LEAK_HZ: f64 = 1.0;

/// Power ratios, with their times in seconds, in the quiet windows between two
/// pulses of a train. The span of `stretch` begins at `start_s`.
pub(super) fn between(
    stretch: &Stretch,
    before: &Pulse,
    after: &Pulse,
    rate_hz: f64,
    start_s: f64,
) -> Vec<(f64, f64)> {
    let from_s = before.off_s + CLEAR_S;
    let windows = ((after.on_s - CLEAR_S - from_s) / WINDOW_S) as usize;
    let omega = TAU * before.offset_hz / rate_hz;
    let noise = stretch.noise_per_sample();
    let steady = stretch.steady.as_bursts(stretch.span.len(), &noise);
    let far = |b: &&Burst| (b.omega - omega).abs() > TAU * LEAK_HZ / rate_hz;
    let others: Vec<&Burst> = steady.iter().filter(far).collect();
    let (clear, length) = (CLEAR_S * rate_hz, (WINDOW_S * rate_hz) as usize);
    let window = |w: usize| {
        let at_s = from_s + w as f64 * WINDOW_S;
        let first = (at_s - start_s) * rate_hz;
        let last = first + length as f64;
        let free = |b: &Burst| b.off + clear < first || b.on - clear > last;
        if first < 0.0 || !stretch.taken.iter().chain(&stretch.open).all(free) {
            return None;
        }
        let first = first as usize;
        let mut samples = stretch.raw.get(first..first + length)?.to_vec();
        for other in &others {
            other.moved(-(first as f64)).apply(&mut samples, stretch.template(), -1.0);
        }
        Some((at_s, power_ratio(&samples, omega, before, &noise)))
    };
    (0..windows.min(MOST_WINDOWS)).filter_map(window).collect()
}

/// Power at a pulse's carrier and direction over that pulse's, noise deducted:
/// a Hann-windowed sum (against carriers elsewhere), projected on the pulse's
/// amplitude vector. `omega` in radians per sample, `noise` power per sample and axis.
fn power_ratio(samples: &[Frame], omega: f64, pulse: &Pulse, noise: &[f64]) -> f64 {
    let length = samples.len() as f64;
    let strength = over_noise(&pulse.amplitude, noise);
    let turn = Complex64::from_polar(1.0, -omega);
    let mut phasor = Complex64::ONE;
    let (mut sum, mut weight, mut square) = (Complex64::ZERO, 0.0, 0.0);
    let step = std::f64::consts::PI / length;
    for (i, frame) in samples.iter().enumerate() {
        let hann = (step * (i as f64 + 0.5)).sin().powi(2);
        sum += along(&pulse.amplitude, &frame.map(wide), noise) * phasor * hann;
        weight += hann;
        square += hann * hann;
        phasor *= turn;
    }
    (sum / (weight * strength)).norm_sqr() - square / (weight * weight) / strength
}
