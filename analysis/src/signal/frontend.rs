//! From the recorded band to narrow ones around 457 kHz: the fine rate, at which
//! edges are placed, and the working rate, at which all else is done.

use num_complex::{Complex32, Complex64};

use super::blanker::{Blanker, GROUP, LOOK_BACK};
use super::decimator::{Decimator, Line};
use super::template::StepTemplate;
use super::{CARRIER_HZ, StreamFormat};

/// The fine rate lies between this and twice this, except for slower captures.
const FINE_RATE_HZ: f64 = 8_000.0;
/// The same of the working rate.
const WORKING_RATE_HZ: f64 = 1_000.0;
/// Kept flat around the carrier at the working rate, and at the fine one.
const PASS_HZ: f64 = 330.0;
const FINE_PASS_HZ: f64 = 3_000.0;

/// One sample of all axes.
pub(super) type Frame = [Complex32; 3];

/// Mixer, impulse blanker and two decimating filters for gapless stretches.
pub(super) struct Frontend {
    lanes: usize,
    rate_hz: f64,
    mixer: Option<Mixer>,
    blanker: Blanker,
    to_fine: Decimator,
    to_working: Decimator,
    /// Frames that do not fill a group yet.
    raw: Vec<f32>,
    blanked: Line,
    /// At the fine rate, for as long as edges may be looked for there.
    pub fine: Line,
    /// Working frames made of this stretch so far.
    made: usize,
}

impl Frontend {
    pub(super) fn new(format: &StreamFormat) -> Self {
        let lanes = 2 * format.axes;
        let rate_hz = format.sample_rate_hz;
        let to_fine = decimation(rate_hz, FINE_RATE_HZ);
        let fine_hz = rate_hz / to_fine as f64;
        Self {
            lanes,
            rate_hz,
            mixer: Mixer::new(CARRIER_HZ - format.tuned_hz, rate_hz),
            blanker: Blanker::new(lanes),
            to_fine: Decimator::new(lanes, to_fine, rate_hz, FINE_PASS_HZ),
            to_working: Decimator::new(
                lanes,
                decimation(fine_hz, WORKING_RATE_HZ),
                fine_hz,
                PASS_HZ,
            ),
            raw: Vec::new(),
            blanked: Line::default(),
            fine: Line::default(),
            made: 0,
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

    /// Gain of the filters at this offset from the carrier: 1 but for their ripple.
    pub(super) fn gain(&self, offset_hz: f64) -> f64 {
        let fine_hz = self.rate_hz / self.to_fine.decimation as f64;
        self.to_fine.gain(offset_hz / self.rate_hz) * self.to_working.gain(offset_hz / fine_hz)
    }

    /// How a sharp edge looks at the fine and at the working rate.
    pub(super) fn templates(&self) -> [StepTemplate; 2] {
        [&self.to_fine, &self.to_working].map(|d| StepTemplate::new(&d.taps, d.decimation))
    }

    /// Take interleaved samples in, append working frames to `out`.
    pub(super) fn push(&mut self, samples: &[Complex32], out: &mut Vec<Frame>) {
        let mut numbers: &[f32] = bytemuck::cast_slice(samples);
        let size = GROUP * self.lanes;
        if !self.raw.is_empty() {
            let missing = (size - self.raw.len()).min(numbers.len());
            self.raw.extend_from_slice(&numbers[..missing]);
            numbers = &numbers[missing..];
            if self.raw.len() < size {
                return;
            }
            let group = std::mem::take(&mut self.raw);
            self.blank(&group);
        }
        let whole = numbers.len() / size * size;
        self.raw.extend_from_slice(&numbers[whole..]);
        self.blank(&numbers[..whole]);
        self.filter(false, out);
    }

    /// End of the stretch: give what is still inside. [`Frontend::restart`]
    /// must follow before new samples.
    pub(super) fn finish(&mut self, out: &mut Vec<Frame>) {
        let mut group = std::mem::take(&mut self.raw);
        group.resize(group.len().next_multiple_of(GROUP * self.lanes), 0.0);
        self.blank(&group);
        let Self { blanker, fine, blanked, to_fine, .. } = self;
        blanker.finish(if to_fine.decimation == 1 { fine } else { blanked });
        self.filter(true, out);
    }

    /// Be ready for a new stretch.
    pub(super) fn restart(&mut self) {
        self.raw.clear();
        self.blanked.clear();
        self.fine.clear();
        self.made = 0;
        if let Some(mixer) = &mut self.mixer {
            mixer.phase = Complex64::ONE;
        }
    }

    /// Fine frames before that of working frame `n` are no longer needed.
    pub(super) fn forget_before(&mut self, n: usize) {
        let needed = self.to_working.needs_from(self.made);
        self.fine.keep_from((n * self.ratio()).min(needed), self.lanes);
    }

    /// Take whole groups into the line in which impulses are blanked.
    fn blank(&mut self, groups: &[f32]) {
        let Self { blanker, fine, blanked, to_fine, mixer, lanes, .. } = self;
        let line = if to_fine.decimation == 1 { fine } else { blanked };
        let from = line.numbers.len();
        line.numbers.extend_from_slice(groups);
        if let Some(mixer) = mixer {
            mixer.turn(&mut line.numbers[from..], *lanes);
        }
        blanker.judge_new(line, groups.len());
    }

    fn filter(&mut self, last: bool, out: &mut Vec<Frame>) {
        if self.to_fine.decimation > 1 {
            let from = self.fine.end(self.lanes);
            let wanted = self.to_fine.ready(&self.blanked, from, last);
            let next = wanted.end;
            self.to_fine.run(&self.blanked, wanted, &mut self.fine.numbers);
            // The blanker may look back at frames that the filter is done with.
            let judged = self.blanked.end(self.lanes).saturating_sub(LOOK_BACK);
            self.blanked.keep_from(self.to_fine.needs_from(next).min(judged), self.lanes);
        }
        let wanted = self.to_working.ready(&self.fine, self.made, last);
        self.made = wanted.end;
        let mut flat = Vec::with_capacity(wanted.len() * self.lanes);
        self.to_working.run(&self.fine, wanted, &mut flat);
        out.extend(flat.chunks_exact(self.lanes).map(frame));
    }
}

/// A frame from its flat numbers.
pub(super) fn frame(numbers: &[f32]) -> Frame {
    let mut frame = Frame::default();
    let parts = numbers.chunks_exact(2).map(|z| Complex32::new(z[0], z[1]));
    frame.iter_mut().zip(parts).for_each(|(f, z)| *f = z);
    frame
}

/// Whole number of input samples per output sample, for at least `lowest_hz`.
fn decimation(sample_rate_hz: f64, lowest_hz: f64) -> usize {
    ((sample_rate_hz / lowest_hz) as usize).max(1)
}

/// Turns the wanted frequency to zero.
struct Mixer {
    /// Turns from the start of a group to each of its frames.
    within: [Complex32; GROUP],
    per_group: Complex64,
    phase: Complex64,
}

impl Mixer {
    fn new(offset_hz: f64, rate_hz: f64) -> Option<Self> {
        let step = -std::f64::consts::TAU * offset_hz / rate_hz;
        let turn = |n: usize| Complex64::from_polar(1.0, step * n as f64);
        (offset_hz != 0.0).then(|| Self {
            within: std::array::from_fn(|n| Complex32::new(turn(n).re as f32, turn(n).im as f32)),
            per_group: turn(GROUP),
            phase: Complex64::ONE,
        })
    }

    /// Whole groups of flat frames.
    fn turn(&mut self, numbers: &mut [f32], lanes: usize) {
        for group in numbers.chunks_exact_mut(GROUP * lanes) {
            let phase = Complex32::new(self.phase.re as f32, self.phase.im as f32);
            for (frame, within) in group.chunks_exact_mut(lanes).zip(&self.within) {
                let turn = phase * within;
                for z in frame.chunks_exact_mut(2) {
                    let turned = Complex32::new(z[0], z[1]) * turn;
                    (z[0], z[1]) = (turned.re, turned.im);
                }
            }
            self.phase *= self.per_group;
            // First-order renormalisation keeps the phase on the unit circle.
            self.phase *= 1.5 - 0.5 * self.phase.norm_sqr();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn output_stands_at_the_time_of_its_input_however_it_is_cut() {
        for (rate_hz, tuned_hz, axes) in [(8000.0, 457_700.0, 1), (96_000.0, 450_000.0, 3)] {
            let format = StreamFormat { sample_rate_hz: rate_hz, tuned_hz, axes };
            let offset_hz = 457_050.0 - tuned_hz;
            let turn = |f: f64, t: f64| Complex64::from_polar(1.0, std::f64::consts::TAU * f * t);
            let samples: Vec<Complex32> = (0..rate_hz as usize)
                .flat_map(|i| {
                    let z = turn(offset_hz, i as f64 / rate_hz);
                    std::iter::repeat_n(Complex32::new(z.re as f32, z.im as f32), axes)
                })
                .collect();
            let run = |piece: usize| {
                let mut frontend = Frontend::new(&format);
                let mut out = Vec::new();
                samples.chunks(piece * axes).for_each(|c| frontend.push(c, &mut out));
                frontend.finish(&mut out);
                out
            };
            let out = run(4000);
            assert_eq!(out.len(), 1000);
            for (n, frame) in out.iter().enumerate().take(970).skip(30) {
                let expected = turn(50.0, n as f64 / 1000.0);
                let got = Complex64::new(frame[axes - 1].re.into(), frame[axes - 1].im.into());
                assert!((got - expected).norm() < 2e-3, "{n}: {got} {expected}");
            }
            for (n, (a, b)) in out.iter().zip(run(37)).enumerate() {
                assert_eq!(*a, b, "{n}");
            }
        }
    }
}
