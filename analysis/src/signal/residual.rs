//! Carrier that a unit sends between its pulses.

use num_complex::Complex64;

use super::burst::wide;
use super::frontend::Frame;
use super::pulse::Pulse;

/// Power at a pulse's carrier and direction over that pulse's, noise deducted:
/// a Hann-windowed sum (against carriers elsewhere), projected on the pulse's
/// amplitude vector. `omega` in radians per sample, `noise` power per sample and axis.
pub(super) fn power_ratio(samples: &[Frame], omega: f64, pulse: &Pulse, noise: &[f64]) -> f64 {
    let length = samples.len() as f64;
    let strength: f64 = pulse.amplitude.iter().zip(noise).map(|(a, n)| a.norm_sqr() / n).sum();
    let turn = Complex64::from_polar(1.0, -omega);
    let mut phasor = Complex64::ONE;
    let (mut sum, mut weight, mut square) = (Complex64::ZERO, 0.0, 0.0);
    let step = std::f64::consts::PI / length;
    for (i, frame) in samples.iter().enumerate() {
        let hann = (step * (i as f64 + 0.5)).sin().powi(2);
        let along: Complex64 = (frame.iter().zip(&pulse.amplitude).zip(noise))
            .map(|((z, a), n)| wide(*z) * a.conj() / n)
            .sum();
        sum += along * phasor * hann;
        weight += hann;
        square += hann * hann;
        phasor *= turn;
    }
    (sum / (weight * strength)).norm_sqr() - square / (weight * weight) / strength
}
