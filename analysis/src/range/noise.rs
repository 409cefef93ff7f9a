//! The field that a signal must have to stand out of a site's noise.

use serde::Serialize;

/// A threshold made from noise.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct NoiseThreshold {
    /// Noise density, A/m/√Hz, as [`measure`](crate::signal) gives it.
    pub noise_a_per_m_rthz: f64,
    /// Noise bandwidth of the receiver, Hz.
    pub bandwidth_hz: f64,
    /// How far a signal must stand over the noise in that bandwidth, dB.
    pub over_noise_db: f64,
    /// The field that does, A/m.
    pub threshold_a_per_m: f64,
}

impl NoiseThreshold {
    /// density · √bandwidth · 10^(dB/20); all over 0 but the last.
    pub fn new(noise_a_per_m_rthz: f64, bandwidth_hz: f64, over_noise_db: f64) -> Self {
        let threshold_a_per_m =
            noise_a_per_m_rthz * bandwidth_hz.sqrt() * 10f64.powf(over_noise_db / 20.0);
        Self { noise_a_per_m_rthz, bandwidth_hz, over_noise_db, threshold_a_per_m }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 2 nA/m/√Hz in 100 Hz are 20 nA/m, ten times that is 20 dB over it.
    #[test]
    fn noise_in_its_bandwidth_and_some_decibels() {
        let threshold = NoiseThreshold::new(2e-9, 100.0, 20.0).threshold_a_per_m;
        assert!((threshold - 200e-9).abs() < 1e-18);
    }
}
