//! Linear-phase decimating low-pass without delay.
//!
//! Kaiser window design (Kaiser 1974; Oppenheim and Schafer, Discrete-Time
//! Signal Processing, 7.5.3). Frames are flat runs of `lanes` numbers, real and
//! imaginary parts of each axis; 48 of them are a whole number of frames of one
//! axis and of three, and of the widest vectors, so that is the filter's step.

use std::ops::Range;

use pulp::{Arch, Simd, WithSimd};

const STOP_BAND_DB: f64 = 70.0;
/// Numbers taken at a time.
const STEP: usize = 48;
/// Numbers of a frame of three axes; one axis has three frames in as many.
const LANES: usize = 6;

/// A run of frames of which the oldest have been dropped.
#[derive(Clone, Default)]
pub(super) struct Line {
    pub numbers: Vec<f32>,
    /// Frames dropped before the first one held.
    pub dropped: usize,
    /// Frames at the end that may still change.
    pub unsettled: usize,
}

impl Line {
    /// One past the last settled frame, from the start of the stretch.
    pub(super) fn end(&self, lanes: usize) -> usize {
        self.dropped + self.numbers.len() / lanes - self.unsettled
    }

    /// Drop the frames before `first`, but only once they are most of what is held,
    /// so that the rest is moved seldom.
    pub(super) fn keep_from(&mut self, first: usize, lanes: usize) {
        let old = first.saturating_sub(self.dropped);
        if old * lanes > self.numbers.len() / 4 * 3 && old > 1024 {
            self.numbers.drain(..old * lanes);
            self.dropped += old;
        }
    }

    pub(super) fn clear(&mut self) {
        self.numbers.clear();
        self.dropped = 0;
        self.unsettled = 0;
    }
}

/// Output frame n stands at the time of input frame n · `decimation`.
pub(super) struct Decimator {
    pub decimation: usize,
    pub taps: Vec<f32>,
    /// Each tap once for every lane, filled up to whole steps.
    spread: Vec<f32>,
    lanes: usize,
    arch: Arch,
}

impl Decimator {
    /// Passes up to `pass_hz`, lets nothing fold into that from `rate_hz`.
    pub(super) fn new(lanes: usize, decimation: usize, rate_hz: f64, pass_hz: f64) -> Self {
        let taps = low_pass(decimation, rate_hz, pass_hz);
        let mut spread: Vec<f32> =
            taps.iter().flat_map(|t| std::iter::repeat_n(*t, lanes)).collect();
        spread.resize(spread.len().next_multiple_of(STEP), 0.0);
        Self { decimation, taps, spread, lanes, arch: Arch::new() }
    }

    /// Gain at `frequency` in cycles per input sample.
    pub(super) fn gain(&self, frequency: f64) -> f64 {
        let half = self.taps.len() / 2;
        // cos nθ by Chebyshev's recurrence.
        let turn = (std::f64::consts::TAU * frequency).cos();
        let (mut before, mut now) = (1.0, turn);
        let mut sum = f64::from(self.taps[half]);
        for tap in &self.taps[half + 1..] {
            sum += 2.0 * f64::from(*tap) * now;
            (before, now) = (now, 2.0 * turn * now - before);
        }
        sum
    }

    /// First input frame that output frame `n` takes in, before the stretch
    /// for the first ones.
    fn first(&self, n: usize) -> isize {
        (n * self.decimation) as isize - (self.taps.len() / 2) as isize
    }

    /// Input frame from which on output frame `n` and all later ones need it.
    pub(super) fn needs_from(&self, n: usize) -> usize {
        self.first(n).max(0) as usize
    }

    /// Output frames that `input` allows, from number `from` on; of a stretch
    /// that ends with `input` all whose time lies in it.
    pub(super) fn ready(&self, input: &Line, from: usize, last: bool) -> Range<usize> {
        let end = input.end(self.lanes);
        let ready = if last {
            end.div_ceil(self.decimation)
        } else {
            (end + self.taps.len() / 2).saturating_sub(self.spread.len() / self.lanes)
                / self.decimation
        };
        from..ready.max(from)
    }

    /// Append the output frames `wanted` to `out`.
    pub(super) fn run(&self, input: &Line, wanted: Range<usize>, out: &mut Vec<f32>) {
        if self.decimation == 1 {
            let first = (wanted.start - input.dropped) * self.lanes;
            out.extend_from_slice(&input.numbers[first..][..wanted.len() * self.lanes]);
            return;
        }
        let edge = vec![0.0; self.spread.len()];
        self.arch.dispatch(Run { decimator: self, input, wanted, out, edge });
    }
}

/// A run of output frames, in the widest vectors that the processor has.
struct Run<'a> {
    decimator: &'a Decimator,
    input: &'a Line,
    wanted: Range<usize>,
    out: &'a mut Vec<f32>,
    /// Room for input that is not all there.
    edge: Vec<f32>,
}

impl WithSimd for Run<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { decimator, input, wanted, out, mut edge } = self;
        let (taps, lanes) = (decimator.spread.as_slice(), decimator.lanes);
        for n in wanted {
            let at = (decimator.first(n) - input.dropped as isize) * lanes as isize;
            let whole =
                usize::try_from(at).ok().and_then(|at| input.numbers.get(at..at + taps.len()));
            let numbers = match whole {
                Some(numbers) => numbers,
                None => {
                    // Nothing is known beyond the ends of the stretch.
                    for (i, e) in edge.iter_mut().enumerate() {
                        let inside = usize::try_from(at + i as isize).ok();
                        *e = inside.and_then(|at| input.numbers.get(at)).copied().unwrap_or(0.0);
                    }
                    &edge
                }
            };
            let sums = products(simd, numbers, taps);
            let mut frame = [0.0; LANES];
            for part in sums.chunks_exact(LANES) {
                for i in 0..LANES {
                    frame[i] += part[i];
                }
            }
            if lanes == LANES {
                out.extend_from_slice(&frame);
            } else {
                out.push(frame[0] + frame[2] + frame[4]);
                out.push(frame[1] + frame[3] + frame[5]);
            }
        }
    }
}

/// Sums of the products of numbers and taps that are a whole number of steps apart.
#[inline(always)]
fn products<S: Simd>(simd: S, numbers: &[f32], taps: &[f32]) -> [f32; STEP] {
    // The narrowest vectors have four lanes; wider ones need fewer sums, and all
    // of them then stay in registers.
    let count = STEP / S::F32_LANES;
    let mut sums = [simd.splat_f32s(0.0); STEP / 4];
    let (numbers, taps) = (S::as_simd_f32s(numbers).0, S::as_simd_f32s(taps).0);
    for (x, t) in numbers.chunks_exact(count).zip(taps.chunks_exact(count)) {
        for i in 0..count {
            sums[i] = simd.add_f32s(sums[i], simd.mul_f32s(x[i], t[i]));
        }
    }
    let mut flat = [0.0; STEP];
    flat.copy_from_slice(&bytemuck::cast_slice(&sums)[..STEP]);
    flat
}

/// Odd-length low-pass with unit gain at 0 Hz; a single tap for no decimation.
fn low_pass(decimation: usize, rate_hz: f64, pass_hz: f64) -> Vec<f32> {
    if decimation == 1 {
        return vec![1.0];
    }
    let stop_hz = rate_hz / decimation as f64 - pass_hz;
    let transition = std::f64::consts::TAU * (stop_hz - pass_hz) / rate_hz;
    let half = ((STOP_BAND_DB - 7.95) / (2.285 * transition) / 2.0).ceil() as i64;
    let beta = 0.1102 * (STOP_BAND_DB - 8.7);
    let cutoff = 0.5 / decimation as f64;
    let taps: Vec<f64> = (-half..=half)
        .map(|n| {
            let x = n as f64 / (half + 1) as f64;
            sinc(2.0 * cutoff * n as f64) * bessel_i0(beta * (1.0 - x * x).sqrt())
        })
        .collect();
    let gain: f64 = taps.iter().sum();
    taps.iter().map(|t| (t / gain) as f32).collect()
}

fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x) }
}

/// Modified Bessel function of the first kind, order zero (power series, DLMF 10.25.2).
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..64 {
        term *= quarter / f64::from(k * k);
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gain_db(decimator: &Decimator, frequency: f64) -> f64 {
        20.0 * decimator.gain(frequency).abs().log10()
    }

    #[test]
    fn keeps_the_pass_band_and_rejects_what_folds_into_it() {
        for decimation in [2, 3, 8, 24, 125] {
            let rate_hz = 1100.0 * decimation as f64;
            let taps = Decimator::new(2, decimation, rate_hz, 330.0);
            for i in 0..=40 {
                let pass = gain_db(&taps, 330.0 / rate_hz * f64::from(i) / 40.0);
                assert!(pass.abs() < 0.01, "{decimation}: {pass} dB");
            }
            for i in 0..=200 {
                let f = 770.0 / rate_hz + (0.5 - 770.0 / rate_hz) * f64::from(i) / 200.0;
                let stop = gain_db(&taps, f);
                assert!(stop < -68.0, "{decimation}: {stop} dB at {f}");
            }
        }
    }
}
