//! From the fine rate, at which edges are placed, to the working rate, at which
//! all else is done.

use num_complex::Complex32;

use super::conditioner::{decimation, to_fine};
use super::decimator::{Decimator, Line};
use super::format::StreamFormat;
use super::template::StepTemplate;

/// The working rate lies between this and twice this, except for slower captures.
const WORKING_RATE_HZ: f64 = 1_000.0;
/// Kept flat around the carrier at the working rate.
const PASS_HZ: f64 = 330.0;

/// One sample of all axes.
pub(super) type Frame = [Complex32; 3];

/// Keeps the samples at the fine rate for a while and makes working ones of them.
pub(super) struct Frontend {
    lanes: usize,
    rate_hz: f64,
    /// The filter that the fine samples have come through.
    to_fine: Decimator,
    to_working: Decimator,
    /// At the fine rate, for as long as edges may be looked for there.
    pub fine: Line,
    /// Working frames made of this stretch so far.
    made: usize,
}

impl Frontend {
    pub(super) fn new(format: &StreamFormat) -> Self {
        let (lanes, rate_hz) = (2 * format.axes, format.sample_rate_hz);
        let to_fine = to_fine(format);
        let fine_hz = rate_hz / to_fine.decimation as f64;
        let to_working = decimation(fine_hz, WORKING_RATE_HZ);
        Self {
            lanes,
            rate_hz,
            to_fine,
            to_working: Decimator::new(lanes, to_working, fine_hz, PASS_HZ),
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

    /// Be ready for a new stretch.
    pub(super) fn restart(&mut self) {
        self.fine.clear();
        self.made = 0;
    }

    /// Fine frames before that of working frame `n` are no longer needed.
    pub(super) fn forget_before(&mut self, n: usize) {
        let needed = self.to_working.needs_from(self.made);
        self.fine.keep_from((n * self.ratio()).min(needed), self.lanes);
    }

    /// Append the working frames that the fine samples allow to `out`; at the end of
    /// the stretch, `last`, all of them.
    pub(super) fn filter(&mut self, last: bool, out: &mut Vec<Frame>) {
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

#[cfg(test)]
mod tests {
    use num_complex::Complex64;

    use super::super::conditioner::Conditioner;
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
                let mut conditioner = Conditioner::new(&format);
                let mut frontend = Frontend::new(&format);
                let mut out = Vec::new();
                for piece in samples.chunks(piece * axes) {
                    conditioner.push(piece, &mut frontend.fine.numbers);
                    frontend.filter(false, &mut out);
                }
                conditioner.finish(&mut frontend.fine.numbers);
                frontend.filter(true, &mut out);
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
