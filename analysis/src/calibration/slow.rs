//! Samples about 457 kHz at a slow rate: turned so that 457 kHz of the
//! receiver's clock stands at 0 Hz, then averaged over blocks of a millisecond or
//! a little less.
//!
//! An average over R samples is the plainest low-pass there is. What it does to a
//! carrier is known exactly ([`Slow::droop`]); white noise stays white with its
//! density as it was. Other carriers far off fold in, weakened by 13 dB and
//! more: they show as lines of their own.

use std::f64::consts::{PI, TAU};

use num_complex::{Complex32, Complex64};

use crate::signal::{CARRIER_HZ, StreamFormat};

/// Slow samples have at least this rate, and less than twice it.
const LEAST_RATE_HZ: f64 = 1000.0;
/// Nothing is won by more, and memory is lost.
const LONGEST_S: f64 = 1800.0;

/// One slow sample of all axes, those that are not there 0.
pub(super) type Frame = [Complex64; 3];

/// A stretch of slow samples without a gap.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    /// Time of its first sample from the start of the capture, nominal, s.
    pub(super) start_s: f64,
    /// Its samples.
    pub(super) frames: Vec<Frame>,
}

/// Slow samples of a capture, or of several captures of one receiver.
#[derive(Clone, Debug)]
pub struct Slow {
    format: StreamFormat,
    /// Samples averaged into one.
    block: usize,
    /// Whole stretches so far, the open one last.
    stretches: Vec<Stretch>,
    sum: Frame,
    /// Samples in `sum`.
    summed: usize,
    /// Samples per axis so far, missing ones included.
    samples: u64,
    kept: usize,
}

impl Slow {
    /// For a stream of this shape, which must be one that can be analysed.
    pub fn new(format: StreamFormat) -> Self {
        Self {
            format,
            block: (format.sample_rate_hz / LEAST_RATE_HZ).floor().max(1.0) as usize,
            stretches: vec![Stretch { start_s: 0.0, frames: Vec::new() }],
            sum: [Complex64::ZERO; 3],
            summed: 0,
            samples: 0,
            kept: 0,
        }
    }

    /// Channels.
    pub(super) fn axes(&self) -> usize {
        self.format.axes
    }

    /// Slow samples a nominal second.
    pub(super) fn rate_hz(&self) -> f64 {
        self.format.sample_rate_hz / self.block as f64
    }

    /// Samples interleaved by axis, whole frames.
    pub fn push(&mut self, samples: &[Complex32]) {
        let shift = (CARRIER_HZ - self.format.tuned_hz) / self.format.sample_rate_hz;
        // From the sample's number, so that rounding does not add up.
        let start = (shift * self.samples as f64).fract();
        let mut phasor = Complex64::cis(-TAU * start);
        let turn = Complex64::cis(-TAU * shift);
        for frame in samples.chunks_exact(self.format.axes) {
            for (sum, z) in self.sum.iter_mut().zip(frame) {
                *sum += Complex64::new(z.re.into(), z.im.into()) * phasor;
            }
            phasor *= turn;
            self.samples += 1;
            self.summed += 1;
            if self.summed == self.block {
                self.keep();
            }
        }
    }

    fn keep(&mut self) {
        let frame = std::mem::replace(&mut self.sum, [Complex64::ZERO; 3]);
        self.summed = 0;
        if self.kept as f64 >= LONGEST_S * self.rate_hz() {
            return;
        }
        if let Some(stretch) = self.stretches.last_mut() {
            stretch.frames.push(frame.map(|z| z / self.block as f64));
            self.kept += 1;
        }
    }

    /// `missing` samples per axis were lost here; 0 where another capture begins.
    pub fn gap(&mut self, missing: u64) {
        self.sum = [Complex64::ZERO; 3];
        self.summed = 0;
        self.samples += missing;
        let start_s = self.samples as f64 / self.format.sample_rate_hz;
        self.stretches.push(Stretch { start_s, frames: Vec::new() });
    }

    /// Stretches without a gap.
    pub(super) fn stretches(&self) -> &[Stretch] {
        &self.stretches
    }

    /// What the average leaves of a carrier's amplitude `offset_hz` from 457 kHz.
    pub(super) fn droop(&self, offset_hz: f64) -> f64 {
        let half = PI * offset_hz / self.format.sample_rate_hz;
        let whole = half * self.block as f64;
        if whole.abs() < 1e-9 { 1.0 } else { whole.sin() / (self.block as f64 * half.sin()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_carrier_keeps_frequency_phase_and_the_amplitude_of_the_droop() {
        let format = StreamFormat { sample_rate_hz: 20_000.0, tuned_hz: 455_000.0, axes: 1 };
        let mut slow = Slow::new(format);
        let offset_hz = 123.0;
        let samples: Vec<Complex32> = (0..40_000)
            .map(|n| {
                let cycles = (2000.0 + offset_hz) * n as f64 / 20_000.0;
                let z = Complex64::cis(TAU * cycles.fract()) * 700.0;
                Complex32::new(z.re as f32, z.im as f32)
            })
            .collect();
        samples.chunks(777).for_each(|piece| slow.push(piece));
        let frames = &slow.stretches()[0].frames;
        assert_eq!(frames.len(), 2000);
        let turn = Complex64::cis(TAU * offset_hz / slow.rate_hz());
        for pair in frames.windows(2) {
            assert!((pair[1][0] / pair[0][0] - turn).norm() < 1e-5);
        }
        assert!((frames[1500][0].norm() / 700.0 / slow.droop(offset_hz) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_gap_begins_a_stretch_at_its_own_time() {
        let format = StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_000.0, axes: 3 };
        let mut slow = Slow::new(format);
        slow.push(&[Complex32::ONE; 3 * 804]);
        slow.gap(4000);
        slow.push(&[Complex32::ONE; 3 * 80]);
        let shape: Vec<_> = slow.stretches().iter().map(|s| (s.start_s, s.frames.len())).collect();
        assert_eq!(shape, [(0.0, 100), (4804.0 / 8000.0, 10)]);
    }
}
