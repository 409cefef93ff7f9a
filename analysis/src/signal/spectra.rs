//! Short-time spectra of the working samples: windows of 64 ms, half overlapped,
//! their power in units of the noise and summed over the axes.
//!
//! For noise alone each cell is a Gamma(axes, 1) variable; a burst that fills
//! the window adds its energy over noise in it, whichever way the field points.

use std::ops::Range;
use std::sync::Arc;

use num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use super::frontend::Frame;

const WINDOW_S: f64 = 0.064;
/// Zero padding, so that no carrier falls between two bins.
const PADDING: usize = 2;

/// Makes spectra of one window after the other.
pub(super) struct Spectra {
    axes: usize,
    hop: usize,
    fft: Arc<dyn Fft<f32>>,
    /// A transform for each axis.
    buffer: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// Offsets looked at, in bins.
    bins: Range<isize>,
    /// Power per sample, by axis and bin, of the last window.
    pub power: [Vec<f32>; 3],
}

impl Spectra {
    pub(super) fn new(axes: usize, rate_hz: f64, band_hz: Range<f64>) -> Self {
        let hop = (WINDOW_S * rate_hz / 2.0).round() as usize;
        let length = 2 * hop * PADDING;
        let fft = FftPlanner::new().plan_fft_forward(length);
        let bin_hz = rate_hz / length as f64;
        let bins =
            (band_hz.start / bin_hz).ceil() as isize..(band_hz.end / bin_hz).floor() as isize + 1;
        let count = bins.len();
        Self {
            axes,
            hop,
            buffer: vec![Complex32::ZERO; axes * length],
            scratch: vec![Complex32::ZERO; fft.get_inplace_scratch_len()],
            fft,
            bins,
            power: std::array::from_fn(|a| vec![0.0; if a < axes { count } else { 0 }]),
        }
    }

    /// Samples from one window to the next, half a window.
    pub(super) fn hop(&self) -> usize {
        self.hop
    }

    /// Cells of a spectrum.
    pub(super) fn bins(&self) -> usize {
        self.bins.len()
    }

    /// Angular frequency of cell `k`, radians per sample.
    pub(super) fn omega(&self, k: usize) -> f64 {
        let bin = self.bins.start + k as isize;
        std::f64::consts::TAU * bin as f64 / (self.buffer.len() / self.axes) as f64
    }

    /// Transform a window of two hops into `power`.
    pub(super) fn transform(&mut self, window: &[Frame]) {
        let length = self.buffer.len() / self.axes;
        for (axis, buffer) in self.buffer.chunks_exact_mut(length).enumerate() {
            buffer.iter_mut().zip(window).for_each(|(b, frame)| *b = frame[axis]);
            buffer[window.len()..].fill(Complex32::ZERO);
        }
        self.fft.process_with_scratch(&mut self.buffer, &mut self.scratch);
        let scale = 1.0 / window.len() as f32;
        // Negative offsets stand at the end of the transform.
        let below = (-self.bins.start).max(0) as usize;
        let above = self.bins.start.max(0) as usize;
        let spectra = self.buffer.chunks_exact(length);
        for (power, spectrum) in self.power.iter_mut().zip(spectra) {
            let (low, high) = power.split_at_mut(below);
            let set = |power: &mut [f32], part: &[Complex32]| {
                power.iter_mut().zip(part).for_each(|(p, z)| *p = scale * z.norm_sqr());
            };
            set(low, &spectrum[length - below..]);
            set(high, &spectrum[above..]);
        }
    }

    /// The last window's power over `noise`, summed over the axes.
    pub(super) fn over_noise(&self, noise: &[f64; 3], cells: &mut [f32]) {
        cells.fill(0.0);
        for (axis, noise) in self.power.iter().zip(noise) {
            let weight = (1.0 / noise) as f32;
            cells.iter_mut().zip(axis).for_each(|(c, p)| *c += weight * p);
        }
    }

    /// Greatest cell over all windows that lie whole in `samples`.
    pub(super) fn greatest(&mut self, samples: &[Frame], noise: &[f64; 3]) -> f32 {
        let mut cells = vec![0.0; self.bins()];
        let mut greatest = 0.0;
        for from in (0..(samples.len() + 1).saturating_sub(2 * self.hop)).step_by(self.hop) {
            self.transform(&samples[from..from + 2 * self.hop]);
            self.over_noise(noise, &mut cells);
            greatest = cells.iter().copied().fold(greatest, f32::max);
        }
        greatest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_stands_at_its_frequency_with_its_energy() {
        let mut spectra = Spectra::new(3, 1000.0, -300.0..300.0);
        for offset_hz in [-277.0, -0.4, 0.0, 13.0, 298.0] {
            let omega = std::f64::consts::TAU * offset_hz / 1000.0;
            let window: Vec<Frame> = (0..64)
                .map(|n| {
                    [0.5, 0.0, 1.0].map(|a| Complex32::from_polar(a, (omega * n as f64) as f32))
                })
                .collect();
            spectra.transform(&window);
            let mut cells = vec![0.0; spectra.bins()];
            spectra.over_noise(&[1.0, 1.0, 4.0], &mut cells);
            let best = (0..cells.len()).max_by(|a, b| cells[*a].total_cmp(&cells[*b])).unwrap();
            assert!((spectra.omega(best) - omega).abs() < 0.026, "{offset_hz}");
            // At most 0.9 dB between two bins.
            assert!((0.81..1.01).contains(&(cells[best] / 32.0)), "{offset_hz}: {}", cells[best]);
        }
    }
}
