//! Finds carrier bursts of unknown frequency, start, length and direction.
//!
//! The working samples are cut into blocks of 16 ms; a block is transformed
//! with eight-fold zero padding into cells 1/128 ms = 7.8 Hz apart. Summing the
//! cells of one frequency over consecutive blocks, with the phase running on,
//! gives the filter matched to a burst of that frequency, start and length.
//! Its power over the noise, summed over the axes, is the likelihood-ratio
//! statistic for a burst of unknown phase and direction:
//!
//! * noise alone: a Gamma(axes, 1) variable, so the false-alarm rate follows,
//! * with a burst: on average the energy-to-noise ratio ρ plus the number of axes,
//!   whichever way the field points.
//!
//! Longer bursts than the longest filter are found by a part of them; the fit
//! then grows to their edges.

use std::ops::Range;
use std::sync::Arc;

use num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use super::frontend::Frame;

/// Length of a block.
const BLOCK_S: f64 = 0.016;
/// Zero padding of a block's transform.
const PADDING: usize = 8;
/// Filter lengths in blocks: 48 ms to 192 ms.
const LENGTHS: [usize; 6] = [3, 4, 5, 6, 8, 12];
/// Burst that the coarse search found, before any fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// First sample of the best filter, from the start of the span.
    pub first: usize,
    /// Its length in samples.
    pub length: usize,
    /// Angular frequency, radians per sample.
    pub omega: f64,
    /// Power over noise.
    pub statistic: f64,
}

/// The statistic that noise alone exceeds with the given probability: the
/// upper quantile of a Gamma(axes, 1) variable.
///
/// ```
/// // One axis: exponential, so the quantile is the logarithm.
/// let q = coilrig_analysis::signal::bank::threshold(1, 1e-6);
/// assert!((q - 1e6f64.ln()).abs() < 1e-9);
/// ```
pub fn threshold(axes: usize, probability: f64) -> f64 {
    let tail = |x: f64| (-x).exp() * if axes == 1 { 1.0 } else { 1.0 + x + x * x / 2.0 };
    let (mut low, mut high) = (0.0, 700.0);
    while high - low > 1e-10 {
        let middle = 0.5 * (low + high);
        if tail(middle) > probability { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Matched-filter bank over a view of working samples.
pub(super) struct Bank {
    axes: usize,
    block: usize,
    fft: Arc<dyn Fft<f32>>,
    buffer: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// Transform index of each frequency looked at.
    bins: Vec<usize>,
    /// e^(−2πi k / PADDING): the phase that each block start adds.
    turns: [Complex32; PADDING],
    /// Cells by block, axis and bin.
    cells: Vec<Complex32>,
    /// Sums of cells from the start of the view, one block more than `cells`.
    sums: Vec<Complex32>,
    power: Vec<f32>,
    /// Best filter ending with each block.
    best: Vec<Option<(f32, usize, usize)>>,
}

impl Bank {
    /// For `axes` axes at the working rate, looking at offsets within `band_hz`.
    pub(super) fn new(axes: usize, rate_hz: f64, band_hz: Range<f64>) -> Self {
        let block = (BLOCK_S * rate_hz).round() as usize;
        let length = block * PADDING;
        let fft = FftPlanner::new().plan_fft_forward(length);
        let offset = |i: usize| {
            let signed = if i > length / 2 { i as f64 - length as f64 } else { i as f64 };
            signed * rate_hz / length as f64
        };
        let bins: Vec<usize> = (0..length).filter(|i| band_hz.contains(&offset(*i))).collect();
        let turn = |k: usize| -std::f32::consts::TAU * k as f32 / PADDING as f32;
        Self {
            axes,
            block,
            buffer: vec![Complex32::ZERO; length],
            scratch: vec![Complex32::ZERO; fft.get_inplace_scratch_len()],
            fft,
            sums: Vec::new(),
            power: vec![0.0; bins.len()],
            bins,
            turns: std::array::from_fn(|k| Complex32::from_polar(1.0, turn(k))),
            cells: Vec::new(),
            best: Vec::new(),
        }
    }

    fn row(&self) -> usize {
        self.axes * self.bins.len()
    }

    /// Look at `view` from now on.
    pub(super) fn load(&mut self, view: &[Frame], noise: &[f64]) {
        let blocks = view.len() / self.block;
        self.cells.resize(blocks * self.row(), Complex32::ZERO);
        self.best.clear();
        self.best.resize(blocks, None);
        self.refresh(view, 0..view.len(), noise);
    }

    /// Transform the blocks that hold any of `samples` anew, and judge the
    /// filters that take in any of them.
    pub(super) fn refresh(&mut self, view: &[Frame], samples: Range<usize>, noise: &[f64]) {
        let end = samples.end.div_ceil(self.block).min(self.best.len());
        let begin = (samples.start / self.block).min(end);
        for m in begin..end {
            for axis in 0..self.axes {
                self.transform(&view[m * self.block..][..self.block], m, axis);
            }
        }
        self.sum_from(begin);
        self.search(begin, end, noise);
    }

    fn transform(&mut self, frames: &[Frame], m: usize, axis: usize) {
        self.buffer.fill(Complex32::ZERO);
        for (b, frame) in self.buffer.iter_mut().zip(frames) {
            *b = frame[axis];
        }
        self.fft.process_with_scratch(&mut self.buffer, &mut self.scratch);
        let at = m * self.row() + axis * self.bins.len();
        for (cell, &bin) in self.cells[at..].iter_mut().zip(&self.bins) {
            let turn = (bin * (m % PADDING)) % PADDING;
            *cell = self.buffer[bin] * self.turns[turn];
        }
    }

    fn sum_from(&mut self, begin: usize) {
        let row = self.row();
        self.sums.resize((self.best.len() + 1) * row, Complex32::ZERO);
        self.sums[..row].fill(Complex32::ZERO);
        for i in begin * row..self.cells.len() {
            self.sums[i + row] = self.sums[i] + self.cells[i];
        }
    }

    fn search(&mut self, begin: usize, end: usize, noise: &[f64]) {
        let longest = LENGTHS[LENGTHS.len() - 1];
        let end = end.saturating_add(longest).min(self.best.len());
        let (bins, row) = (self.bins.len(), self.row());
        for last in begin..end {
            let mut best: Option<(f32, usize, usize)> = None;
            for length in LENGTHS.into_iter().filter(|l| *l <= last + 1) {
                self.power.fill(0.0);
                for (axis, noise) in noise.iter().enumerate() {
                    let weight = (1.0 / (noise * (length * self.block) as f64)) as f32;
                    let to = &self.sums[(last + 1) * row + axis * bins..][..bins];
                    let from = &self.sums[(last + 1 - length) * row + axis * bins..][..bins];
                    for ((p, t), f) in self.power.iter_mut().zip(to).zip(from) {
                        *p += weight * (t - f).norm_sqr();
                    }
                }
                let greatest = self.power.iter().copied().fold(0.0, f32::max);
                if best.is_none_or(|b| greatest > b.0) {
                    let k = self.power.iter().position(|p| *p == greatest).unwrap_or(0);
                    best = Some((greatest, length, k));
                }
            }
            self.best[last] = best;
        }
    }

    /// The strongest burst in the view as it is now.
    pub(super) fn strongest(&self) -> Option<Candidate> {
        let of = |last: usize| self.best[last].map(|b| (last, b));
        let strongest = (0..self.best.len()).filter_map(of).max_by(|a, b| a.1.0.total_cmp(&b.1.0));
        strongest.map(|(last, (statistic, length, k))| {
            let transform = self.block * PADDING;
            let bin = self.bins[k] as f64;
            let signed = if self.bins[k] > transform / 2 { bin - transform as f64 } else { bin };
            Candidate {
                first: (last + 1 - length) * self.block,
                length: length * self.block,
                omega: std::f64::consts::TAU * signed / transform as f64,
                statistic: statistic.into(),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::noise;
    use super::*;

    #[test]
    fn false_alarms_are_as_rare_as_the_gamma_law_says() {
        for axes in [1, 3] {
            let mut bank = Bank::new(axes, 1000.0, -300.0..300.0);
            let (limit, wanted) = (threshold(axes, 0.01), 0.01);
            let (mut over, mut trials) = (0usize, 0usize);
            for seed in 0..40 {
                let view = noise(1600, seed);
                bank.load(&view, &vec![1.0; axes]);
                let (bins, row) = (bank.bins.len(), bank.row());
                for (last, length) in (12..100).step_by(6).map(|m| (m, 6)) {
                    for k in (0..bins).step_by(2) {
                        let power: f32 = (0..axes)
                            .map(|a| {
                                let at = |m: usize| bank.sums[m * row + a * bins + k];
                                (at(last) - at(last - length)).norm_sqr()
                            })
                            .sum();
                        over +=
                            usize::from(f64::from(power) / (length * bank.block) as f64 > limit);
                        trials += 1;
                    }
                }
            }
            let rate = over as f64 / trials as f64;
            assert!(
                (0.8 * wanted..1.2 * wanted).contains(&rate),
                "{axes} axes: {rate} of {trials}"
            );
        }
    }

    #[test]
    fn finds_a_burst_at_its_place_and_strength() {
        let mut view = noise(1024, 3);
        let (on, off, omega) = (600usize, 690usize, 0.31f32);
        let amplitude = [Complex32::new(1.0, 0.5), Complex32::new(-0.7, 0.0), Complex32::ZERO];
        for (n, frame) in view.iter_mut().enumerate().take(off).skip(on) {
            let turn = Complex32::from_polar(1.0, omega * n as f32);
            frame.iter_mut().zip(amplitude).for_each(|(z, a)| *z += a * turn);
        }
        let mut bank = Bank::new(3, 1000.0, -300.0..300.0);
        bank.load(&view, &[1.0; 3]);
        let found = bank.strongest().unwrap();
        let energy = 1.74 * 90.0;
        assert!((0.6 * energy..1.3 * energy).contains(&found.statistic), "{found:?}");
        assert!((found.omega - f64::from(omega)).abs() < 0.06, "{found:?}");
        assert!(found.first.abs_diff(on) < 20, "{found:?}");
    }
}
