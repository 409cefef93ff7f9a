//! One keyed burst of carrier, as measured.

use num_complex::Complex64;

use super::shape::Shape;

/// A pulse. Times are in nominal seconds from the first sample of the capture
/// (gaps counted), amplitudes in counts, both before calibration.
#[derive(Clone, Debug, PartialEq)]
pub struct Pulse {
    /// Number of the pulse in the capture, in order of detection.
    pub id: u64,
    /// Half-amplitude point of the rising edge, s.
    pub on_s: f64,
    /// Half-amplitude point of the falling edge, s.
    pub off_s: f64,
    /// Standard uncertainty of each edge from noise alone, s.
    pub u_edge_s: f64,
    /// Durations of the two edges, each as that of a linear ramp, s. Right on
    /// average; noise can make a single one negative.
    pub edge_s: [f64; 2],
    /// Carrier minus 457 kHz, by the receiver's own clock, Hz.
    pub offset_hz: f64,
    /// Standard uncertainty of `offset_hz` from noise alone (Rife and Boorstyn 1974).
    pub u_offset_hz: f64,
    /// Complex RMS amplitude per axis at the middle of the pulse, counts.
    pub amplitude: [Complex64; 3],
    /// Noise power that each entry of `amplitude` carries: E|error|², counts².
    pub amplitude_noise: [f64; 3],
    /// Energy over noise density, summed over the axes.
    pub energy_to_noise: f64,
    /// Another transmitter's pulse was on at the same time.
    pub overlapped: bool,
    /// How it departs from a plain burst.
    pub(crate) shape: Option<Box<Shape>>,
}

impl Pulse {
    /// Length between the half-amplitude points, s.
    pub fn on_time_s(&self) -> f64 {
        self.off_s - self.on_s
    }

    /// Squared magnitude over the axes, counts².
    pub fn power(&self) -> f64 {
        self.amplitude.iter().map(Complex64::norm_sqr).sum()
    }

    /// Cosine of the angle between this amplitude vector and another, by
    /// magnitude: 1 for the same direction whatever the phase.
    pub fn alignment(&self, other: &[Complex64; 3]) -> f64 {
        let product: Complex64 = self.amplitude.iter().zip(other).map(|(a, b)| a * b.conj()).sum();
        let power: f64 = other.iter().map(Complex64::norm_sqr).sum();
        let norm = (self.power() * power).sqrt();
        if norm > 0.0 { product.norm() / norm } else { 0.0 }
    }

    /// Magnitude in the unit of `to_field`, free of noise bias, and its
    /// standard uncertainty from noise.
    pub(crate) fn magnitude(&self, to_field: &[[f64; 3]; 3]) -> (f64, f64) {
        let field: [Complex64; 3] = std::array::from_fn(|i| {
            (0..3).map(|j| self.amplitude[j] * to_field[i][j]).sum::<Complex64>()
        });
        let power: f64 = field.iter().map(Complex64::norm_sqr).sum();
        let noise = |row: &[f64; 3]| -> f64 {
            row.iter().zip(&self.amplitude_noise).map(|(g, n)| g * g * n).sum()
        };
        let total: f64 = to_field.iter().map(noise).sum();
        // Half of the noise along the vector is in phase with it and moves the
        // magnitude to first order; the rest only adds power.
        let along: f64 = (0..3)
            .map(|j| {
                let g: Complex64 = (0..3).map(|i| field[i].conj() * to_field[i][j]).sum();
                g.norm_sqr() * self.amplitude_noise[j]
            })
            .sum::<f64>()
            / (2.0 * power);
        ((power - (total - along)).max(0.25 * power).sqrt(), along.sqrt())
    }
}
