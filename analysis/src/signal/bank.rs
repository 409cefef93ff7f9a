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

use num_complex::Complex64;
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

/// Matched-filter bank over a sliding span of working samples.
pub(super) struct Bank {
    axes: usize,
    block: usize,
    fft: Arc<dyn Fft<f64>>,
    buffer: Vec<Complex64>,
    scratch: Vec<Complex64>,
    /// Transform index of each frequency looked at.
    bins: Vec<usize>,
    /// e^(−2πi k / PADDING): the phase that each block start adds.
    turns: [Complex64; PADDING],
    /// Blocks since the start of the stretch that the span has moved past.
    passed: usize,
    /// Cells by block, axis and bin.
    cells: Vec<Complex64>,
    /// Sums of cells from the start of the span, one block more than `cells`.
    sums: Vec<Complex64>,
    /// Best filter ending with each block.
    best: Vec<Option<(f64, usize, usize)>>,
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
        let turn = |k: usize| -std::f64::consts::TAU * k as f64 / PADDING as f64;
        Self {
            axes,
            block,
            buffer: vec![Complex64::ZERO; length],
            scratch: vec![Complex64::ZERO; fft.get_inplace_scratch_len()],
            fft,
            sums: vec![Complex64::ZERO; axes * bins.len()],
            bins,
            turns: std::array::from_fn(|k| Complex64::from_polar(1.0, turn(k))),
            passed: 0,
            cells: Vec::new(),
            best: Vec::new(),
        }
    }

    /// Samples in a block.
    pub(super) fn block(&self) -> usize {
        self.block
    }

    /// Blocks in view.
    pub(super) fn blocks(&self) -> usize {
        self.best.len()
    }

    fn row(&self) -> usize {
        self.axes * self.bins.len()
    }

    /// Forget everything: a new stretch begins.
    pub(super) fn clear(&mut self) {
        self.passed = 0;
        self.cells.clear();
        self.best.clear();
        self.sums.truncate(self.row());
    }

    /// Drop the oldest blocks: the span moves on.
    pub(super) fn advance(&mut self, blocks: usize) {
        self.passed += blocks;
        self.cells.drain(..blocks * self.row());
        self.best.drain(..blocks);
        self.sum_from(0);
    }

    /// Transform the blocks that hold any of `samples` anew (and those not yet seen).
    pub(super) fn refresh(&mut self, span: &[Frame], samples: Range<usize>) {
        let end = samples.end.div_ceil(self.block).min(span.len() / self.block);
        let begin = (samples.start / self.block).min(end);
        let row = self.row();
        let blocks = end.max(self.best.len());
        self.cells.resize(blocks * row, Complex64::ZERO);
        self.best.resize(blocks, None);
        for m in begin..end {
            for axis in 0..self.axes {
                self.transform(&span[m * self.block..][..self.block], m, axis);
            }
        }
        self.sum_from(begin);
    }

    fn transform(&mut self, frames: &[Frame], m: usize, axis: usize) {
        self.buffer.fill(Complex64::ZERO);
        for (b, frame) in self.buffer.iter_mut().zip(frames) {
            *b = frame[axis];
        }
        self.fft.process_with_scratch(&mut self.buffer, &mut self.scratch);
        let at = m * self.row() + axis * self.bins.len();
        for (cell, &bin) in self.cells[at..].iter_mut().zip(&self.bins) {
            let turn = (bin * ((self.passed + m) % PADDING)) % PADDING;
            *cell = self.buffer[bin] * self.turns[turn];
        }
    }

    fn sum_from(&mut self, begin: usize) {
        let row = self.row();
        self.sums.resize((self.best.len() + 1) * row, Complex64::ZERO);
        if begin == 0 {
            self.sums[..row].fill(Complex64::ZERO);
        }
        for i in begin * row..self.cells.len() {
            self.sums[i + row] = self.sums[i] + self.cells[i];
        }
    }

    /// Judge the filters that take in any of the blocks of `samples` anew.
    pub(super) fn search(&mut self, samples: Range<usize>, noise: &[f64]) {
        let longest = LENGTHS[LENGTHS.len() - 1];
        let begin = samples.start / self.block;
        let end = samples.end.div_ceil(self.block).saturating_add(longest).min(self.best.len());
        let bins = self.bins.len();
        let mut power = vec![0.0; bins];
        for last in begin..end {
            let mut best: Option<(f64, usize, usize)> = None;
            for length in LENGTHS.into_iter().filter(|l| *l <= last + 1) {
                power.fill(0.0);
                for (axis, noise) in noise.iter().enumerate() {
                    let weight = 1.0 / (noise * (length * self.block) as f64);
                    let to = &self.sums[(last + 1) * self.row() + axis * bins..][..bins];
                    let from = &self.sums[(last + 1 - length) * self.row() + axis * bins..];
                    for ((p, t), f) in power.iter_mut().zip(to).zip(from) {
                        *p += weight * (t - f).norm_sqr();
                    }
                }
                for (k, &p) in power.iter().enumerate() {
                    if best.is_none_or(|b| p > b.0) {
                        best = Some((p, length, k));
                    }
                }
            }
            self.best[last] = best;
        }
    }

    /// The strongest burst of the last `search`es.
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
                statistic,
            }
        })
    }

    /// Noise power per sample that each cell of `blocks` would mean, by axis.
    pub(super) fn cell_power(&self, blocks: Range<usize>) -> [Vec<f64>; 3] {
        let bins = self.bins.len();
        std::array::from_fn(|axis| {
            if axis >= self.axes {
                return Vec::new();
            }
            let of = |m: usize| &self.cells[m * self.row() + axis * bins..][..bins];
            let power = |c: &Complex64| c.norm_sqr() / self.block as f64;
            blocks.clone().flat_map(|m| of(m).iter().map(power)).collect()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    const RATE_HZ: f64 = 2000.0;

    fn noise(frames: usize, axes: usize, seed: u64) -> Vec<Frame> {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let mut part = || -> f64 { StandardNormal.sample(&mut rng) };
        let mut sample = || Complex64::new(part(), part()) * 0.5f64.sqrt();
        (0..frames)
            .map(|_| std::array::from_fn(|a| if a < axes { sample() } else { Complex64::ZERO }))
            .collect()
    }

    #[test]
    fn noise_exceeds_the_threshold_as_often_as_stated() {
        for axes in [1, 3] {
            let span = noise(320_000, axes, 7);
            let mut bank = Bank::new(axes, RATE_HZ, -300.0..300.0);
            bank.refresh(&span, 0..span.len());
            // One filter length, cells a transform apart: independent trials.
            let (row, bins, length) = (bank.row(), bank.bins.len(), 6);
            let limit = threshold(axes, 1e-2);
            let (mut over, mut trials) = (0, 0);
            for m in (0..bank.blocks() - length).step_by(length) {
                for k in (0..bins).step_by(2) {
                    let power: f64 = (0..axes)
                        .map(|a| {
                            let at = |m: usize| bank.sums[m * row + a * bins + k];
                            (at(m + length) - at(m)).norm_sqr()
                        })
                        .sum();
                    over += usize::from(power / (length * bank.block) as f64 > limit);
                    trials += 1;
                }
            }
            let rate = over as f64 / trials as f64;
            assert!((0.008..0.012).contains(&rate), "{axes} axes: {rate} over {trials}");
        }
    }

    #[test]
    fn finds_a_burst_at_its_place_and_strength_after_moving_on() {
        let mut span = noise(4096, 3, 3);
        let (on, off, omega) = (2500usize, 2680usize, 0.31);
        let amplitude = [Complex64::new(1.0, 0.5), Complex64::new(-0.7, 0.0), Complex64::ZERO];
        for (n, frame) in span.iter_mut().enumerate().take(off).skip(on) {
            let turn = Complex64::from_polar(1.0, omega * n as f64);
            frame.iter_mut().zip(amplitude).for_each(|(z, a)| *z += a * turn);
        }
        let mut bank = Bank::new(3, RATE_HZ, -300.0..300.0);
        bank.refresh(&span, 0..span.len());
        bank.advance(5);
        let span = &span[5 * bank.block()..];
        bank.search(0..span.len(), &[1.0; 3]);
        let found = bank.strongest().unwrap();
        let energy = 1.74 * 180.0;
        assert!((0.6 * energy..1.3 * energy).contains(&found.statistic), "{found:?}");
        assert!((found.omega - omega).abs() < 0.03, "{found:?}");
        assert!(found.first.abs_diff(on - 5 * bank.block()) < 40, "{found:?}");
    }
}
