//! From the recorded band to narrow ones around 457 kHz: the fine rate, at which
//! edges are placed, and the working rate, at which all else is done.
//!
//! A linear-phase low-pass (Kaiser window design; Kaiser 1974, see Oppenheim
//! and Schafer, Discrete-Time Signal Processing, 7.5.3) keeps ± 0.4 of the
//! new rate and lets nothing fold into it above −80 dB. Its delay
//! is taken out.

use num_complex::{Complex32, Complex64};

use super::blanker::Blanker;
use super::template::StepTemplate;
use crate::signal::{CARRIER_HZ, StreamFormat};

/// The fine rate lies between this and twice this, except for slower captures.
const FINE_RATE_HZ: f64 = 8_000.0;
/// The same of the working rate.
const WORKING_RATE_HZ: f64 = 2_000.0;
const STOP_BAND_DB: f64 = 80.0;

/// One sample of all axes.
pub(super) type Frame = [Complex64; 3];
/// The same in single precision, as long as there are many of them.
pub(super) type Frame32 = [Complex32; 3];

/// Mixer, impulse blanker and two decimating filters for gapless stretches.
pub(super) struct Frontend {
    axes: usize,
    rotation: Option<(Complex64, Complex64)>,
    blanker: Blanker,
    to_fine: Decimator,
    to_working: Decimator,
}

/// Samples at both rates; fine sample n · `Frontend::ratio` and working sample
/// n are of the same time.
#[derive(Default)]
pub(super) struct Filtered {
    pub fine: Vec<Frame32>,
    pub working: Vec<Frame>,
}

impl Frontend {
    pub(super) fn new(format: &StreamFormat) -> Self {
        let to_fine = decimation(format.sample_rate_hz, FINE_RATE_HZ);
        let fine_rate_hz = format.sample_rate_hz / to_fine as f64;
        let offset_hz = CARRIER_HZ - format.tuned_hz;
        let step = -std::f64::consts::TAU * offset_hz / format.sample_rate_hz;
        Self {
            axes: format.axes,
            rotation: (offset_hz != 0.0)
                .then(|| (Complex64::ONE, Complex64::from_polar(1.0, step))),
            blanker: Blanker::new(),
            to_fine: Decimator::new(to_fine),
            to_working: Decimator::new(decimation(fine_rate_hz, WORKING_RATE_HZ)),
        }
    }

    /// Input samples per working sample.
    pub(super) fn decimation(&self) -> usize {
        self.to_fine.decimation * self.to_working.decimation
    }

    /// Fine samples per working sample.
    pub(super) fn ratio(&self) -> usize {
        self.to_working.decimation
    }

    /// How a sharp edge looks at the fine and at the working rate.
    pub(super) fn templates(&self) -> [StepTemplate; 2] {
        [&self.to_fine, &self.to_working].map(|d| StepTemplate::new(&d.taps, d.decimation))
    }

    /// Take interleaved samples in, append frames at both rates to `out`.
    pub(super) fn push(&mut self, samples: &[Complex32], out: &mut Filtered) {
        for chunk in samples.chunks_exact(self.axes) {
            let mut frame = [Complex32::ZERO; 3];
            frame[..self.axes].copy_from_slice(chunk);
            if let Some((phasor, step)) = &mut self.rotation {
                let rotate = Complex32::new(phasor.re as f32, phasor.im as f32);
                frame.iter_mut().for_each(|z| *z *= rotate);
                *phasor *= *step;
                // First-order renormalisation keeps the phasor on the unit circle.
                *phasor *= 1.5 - 0.5 * phasor.norm_sqr();
            }
            if let Some(frame) = self.blanker.push(frame) {
                self.filter(frame, out);
            }
        }
    }

    /// End of the stretch: give what is still inside, and be ready for a new one.
    pub(super) fn finish(&mut self, out: &mut Filtered) {
        for frame in self.blanker.drain() {
            self.filter(frame, out);
        }
        for _ in 0..self.to_fine.taps.len() / 2 {
            self.filter([Complex32::ZERO; 3], out);
        }
        for _ in 0..self.to_working.taps.len() / 2 {
            out.working.extend(self.to_working.push([Complex32::ZERO; 3]).map(widen));
        }
        self.to_fine.restart();
        self.to_working.restart();
        if let Some((phasor, _)) = &mut self.rotation {
            *phasor = Complex64::ONE;
        }
    }

    fn filter(&mut self, frame: Frame32, out: &mut Filtered) {
        if let Some(fine) = self.to_fine.push(frame) {
            out.fine.push(fine);
            out.working.extend(self.to_working.push(fine).map(widen));
        }
    }
}

fn widen(frame: Frame32) -> Frame {
    frame.map(|z| Complex64::new(z.re.into(), z.im.into()))
}

/// Linear-phase decimating low-pass without delay: output n stands at the time
/// of input n · decimation.
struct Decimator {
    decimation: usize,
    taps: Vec<f32>,
    /// The last frames that the filter still needs, oldest first.
    line: Vec<Frame32>,
    /// Index in `line` at which the next output's filter begins.
    at: usize,
}

impl Decimator {
    fn new(decimation: usize) -> Self {
        let mut new = Self { decimation, taps: low_pass(decimation), line: Vec::new(), at: 0 };
        new.restart();
        new
    }

    fn restart(&mut self) {
        self.line.clear();
        self.line.resize(self.taps.len() / 2, [Complex32::ZERO; 3]);
        self.at = 0;
    }

    fn push(&mut self, frame: Frame32) -> Option<Frame32> {
        if self.decimation == 1 {
            return Some(frame);
        }
        self.line.push(frame);
        if self.line.len() < self.at + self.taps.len() {
            return None;
        }
        let mut sum = [Complex32::ZERO; 3];
        for (tap, frame) in self.taps.iter().zip(&self.line[self.at..]) {
            for (s, z) in sum.iter_mut().zip(frame) {
                *s += z * *tap;
            }
        }
        self.at += self.decimation;
        // Move the kept frames down only once in a while.
        if self.at > 4096 {
            self.line.drain(..self.at);
            self.at = 0;
        }
        Some(sum)
    }
}

/// Whole number of input samples per output sample, for at least `lowest_hz`.
fn decimation(sample_rate_hz: f64, lowest_hz: f64) -> usize {
    ((sample_rate_hz / lowest_hz) as usize).max(1)
}

/// Odd-length low-pass with unit gain at 0 Hz; a single tap for no decimation.
fn low_pass(decimation: usize) -> Vec<f32> {
    if decimation == 1 {
        return vec![1.0];
    }
    let d = decimation as f64;
    let transition = std::f64::consts::TAU * 0.2 / d;
    let half = ((STOP_BAND_DB - 7.95) / (2.285 * transition) / 2.0).ceil() as i64;
    let beta = 0.1102 * (STOP_BAND_DB - 8.7);
    let cutoff = 0.5 / d;
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

    fn gain_db(decimation: usize, frequency: f64) -> f64 {
        let taps = low_pass(decimation);
        let half = (taps.len() / 2) as f64;
        let sum: Complex64 = taps
            .iter()
            .enumerate()
            .map(|(i, &t)| {
                let phase = -std::f64::consts::TAU * frequency * (i as f64 - half);
                Complex64::from_polar(f64::from(t), phase)
            })
            .sum();
        20.0 * sum.norm().log10()
    }

    #[test]
    fn keeps_the_pass_band_and_rejects_what_folds_into_it() {
        for decimation in [2, 4, 24, 125] {
            let d = decimation as f64;
            for i in 0..=40 {
                let pass = gain_db(decimation, 0.4 / d * f64::from(i) / 40.0);
                assert!(pass.abs() < 0.002, "{decimation}: {pass} dB");
            }
            for i in 0..=200 {
                let f = 0.6 / d + (0.5 - 0.6 / d) * f64::from(i) / 200.0;
                let stop = gain_db(decimation, f);
                assert!(stop < -79.0, "{decimation}: {stop} dB at {f}");
            }
        }
    }

    #[test]
    fn output_stands_at_the_time_of_its_input_however_it_is_cut() {
        let format = StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_700.0, axes: 1 };
        // 457 050 Hz in a capture tuned 700 Hz high.
        let tone = |i: usize| {
            Complex64::from_polar(1.0, std::f64::consts::TAU * (-650.0) * i as f64 / 8000.0)
        };
        let samples: Vec<Complex32> =
            (0..4000).map(|i| Complex32::new(tone(i).re as f32, tone(i).im as f32)).collect();
        let run = |piece: usize| {
            let mut frontend = Frontend::new(&format);
            let mut out = Filtered::default();
            samples.chunks(piece).for_each(|c| frontend.push(c, &mut out));
            frontend.finish(&mut out);
            assert_eq!(out.fine.len(), 4 * out.working.len());
            out.working
        };
        let out = run(4000);
        assert_eq!(out.len(), 1000);
        for (n, frame) in out.iter().enumerate().take(970).skip(30) {
            let expected =
                Complex64::from_polar(1.0, std::f64::consts::TAU * 50.0 * n as f64 / 2000.0);
            assert!((frame[0] - expected).norm() < 2e-3, "{n}: {} {expected}", frame[0]);
        }
        assert_eq!(out, run(37));
    }
}
