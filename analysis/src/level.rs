//! How close samples come to full scale.

use num_complex::Complex;

/// Peak level of each axis since it was last asked for.
#[derive(Clone, Debug)]
pub struct PeakMeter {
    full_scale_counts: f64,
    /// Largest squared magnitude of each axis.
    peaks: Vec<f64>,
}

impl PeakMeter {
    /// A meter for samples of `axes` channels, interleaved, in which a complex
    /// magnitude of `full_scale_counts` is 0 dBFS.
    pub fn new(axes: usize, full_scale_counts: f64) -> Self {
        Self { full_scale_counts, peaks: vec![0.0; axes] }
    }

    /// Take samples, interleaved by axis.
    pub fn push<T: Copy + Into<f64>>(&mut self, samples: &[Complex<T>]) {
        for frame in samples.chunks_exact(self.peaks.len()) {
            for (peak, sample) in self.peaks.iter_mut().zip(frame) {
                let (i, q): (f64, f64) = (sample.re.into(), sample.im.into());
                *peak = peak.max(i * i + q * q);
            }
        }
    }

    /// The largest magnitude of each axis in dBFS, −∞ for nothing but zeros,
    /// and begin anew.
    pub fn take_dbfs(&mut self) -> Vec<f64> {
        let full_scale = self.full_scale_counts.powi(2);
        self.peaks
            .iter_mut()
            .map(|peak| 10.0 * (std::mem::take(peak) / full_scale).log10())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn level_is_that_of_the_strongest_sample_of_each_axis() {
        let mut meter = PeakMeter::new(3, 20_000.0);
        let axis = |re, im| Complex::new(re, im);
        meter.push(&[axis(12_000, -16_000), axis(0, 200), axis(0, 0)]);
        meter.push(&[axis(1, 1), axis(2000, 0), axis(0, 0)]);
        let levels = meter.take_dbfs();
        assert!(levels[0].abs() < 1e-12, "3-4-5 triangle at full scale: {}", levels[0]);
        assert!((levels[1] + 20.0).abs() < 1e-12, "a tenth is −20 dB: {}", levels[1]);
        assert_eq!(levels[2], f64::NEG_INFINITY);
        assert_eq!(meter.take_dbfs(), [f64::NEG_INFINITY; 3], "it begins anew");
    }

    #[test]
    fn the_ends_of_the_range_do_not_overflow() {
        let mut meter = PeakMeter::new(1, 32_767.0);
        meter.push(&[Complex::new(i16::MIN, i16::MIN)]);
        assert!((meter.take_dbfs()[0] - 3.01).abs() < 0.01);
    }
}
