//! From the recorded band to the fine rate: mixer, impulse blanker, first filter.

use num_complex::{Complex32, Complex64};

use super::CARRIER_HZ;
use super::blanker::{Blanker, GROUP, LOOK_BACK};
use super::decimator::{Decimator, Line};
use super::format::StreamFormat;

/// The fine rate lies between this and twice this, except for slower captures.
const FINE_RATE_HZ: f64 = 8_000.0;
/// Kept flat around the carrier at the fine rate.
const FINE_PASS_HZ: f64 = 3_000.0;

/// The part of the analysis that every sample goes through and that needs to
/// know nothing of the rest, so that it can run on a core of its own.
pub struct Conditioner {
    lanes: usize,
    mixer: Option<Mixer>,
    blanker: Blanker,
    to_fine: Decimator,
    /// Numbers that do not fill a group yet.
    raw: Vec<f32>,
    blanked: Line,
    /// Fine frames made of this stretch so far.
    made: usize,
}

impl Conditioner {
    pub(super) fn new(format: &StreamFormat) -> Self {
        let lanes = 2 * format.axes;
        Self {
            lanes,
            mixer: Mixer::new(CARRIER_HZ - format.tuned_hz, format.sample_rate_hz),
            blanker: Blanker::new(lanes),
            to_fine: to_fine(format),
            raw: Vec::new(),
            blanked: Line::default(),
            made: 0,
        }
    }

    /// Take in samples, interleaved by axis (a whole number of frames), and append
    /// what is ready at the fine rate to `fine`: real and imaginary parts of each
    /// axis, frame by frame.
    pub fn push(&mut self, samples: &[Complex32], fine: &mut Vec<f32>) {
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
        self.filter(false, fine);
    }

    /// End of a gapless stretch: give what is still inside. The next samples
    /// begin a new one.
    pub fn finish(&mut self, fine: &mut Vec<f32>) {
        let mut group = std::mem::take(&mut self.raw);
        group.resize(group.len().next_multiple_of(GROUP * self.lanes), 0.0);
        self.blank(&group);
        self.blanker.finish(&mut self.blanked);
        self.filter(true, fine);
        self.blanked.clear();
        self.made = 0;
        if let Some(mixer) = &mut self.mixer {
            mixer.phase = Complex64::ONE;
        }
    }

    /// Take whole groups into the line in which impulses are blanked.
    fn blank(&mut self, groups: &[f32]) {
        let from = self.blanked.numbers.len();
        self.blanked.numbers.extend_from_slice(groups);
        if let Some(mixer) = &mut self.mixer {
            mixer.turn(&mut self.blanked.numbers[from..], self.lanes);
        }
        self.blanker.judge_new(&mut self.blanked, groups.len());
    }

    fn filter(&mut self, last: bool, fine: &mut Vec<f32>) {
        let Self { to_fine, blanked, lanes, .. } = self;
        let wanted = to_fine.ready(blanked, self.made, last);
        self.made = wanted.end;
        to_fine.run(blanked, wanted, fine);
        // The blanker may look back at frames that the filter is done with.
        let judged = blanked.end(*lanes).saturating_sub(LOOK_BACK);
        blanked.keep_from(to_fine.needs_from(self.made).min(judged), *lanes);
    }
}

/// The filter to the fine rate.
pub(super) fn to_fine(format: &StreamFormat) -> Decimator {
    let rate_hz = format.sample_rate_hz;
    Decimator::new(2 * format.axes, decimation(rate_hz, FINE_RATE_HZ), rate_hz, FINE_PASS_HZ)
}

/// Whole number of input samples per output sample, for at least `lowest_hz`.
pub(super) fn decimation(sample_rate_hz: f64, lowest_hz: f64) -> usize {
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
