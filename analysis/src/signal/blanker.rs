//! Takes single impulses (sparks, switching) out of the stream.
//!
//! A pulse edge raises the power and keeps it up; an impulse is over within a
//! millisecond. A frame is an impulse when its power is far above the mean
//! power both before and after it; it is set to zero. Inside a pulse that
//! costs one sample in hundreds.

use num_complex::Complex32;

/// Frames averaged on each side.
const SIDE: usize = 16;
/// Frames left out next to the one judged, for the ringing of the receiver's filter.
const GUARD: usize = 8;
/// Power over the greater of the two means. Noise on one axis exceeds it about
/// three times in 10⁹ frames.
const RATIO: f64 = 25.0;
const SPAN: usize = 2 * (SIDE + GUARD) + 1;
const CENTRE: usize = SIDE + GUARD;

type Frame = [Complex32; 3];

/// Delay line of frames with running means on both sides of its centre.
pub(super) struct Blanker {
    frames: [Frame; SPAN],
    power: [f64; SPAN],
    next: usize,
    filled: usize,
}

impl Blanker {
    pub(super) fn new() -> Self {
        Self { frames: [Frame::default(); SPAN], power: [0.0; SPAN], next: 0, filled: 0 }
    }

    /// Take a frame in, give the one from `CENTRE` frames ago back.
    pub(super) fn push(&mut self, frame: Frame) -> Option<Frame> {
        self.frames[self.next] = frame;
        self.power[self.next] = frame.iter().map(|z| f64::from(z.norm_sqr())).sum();
        self.next = (self.next + 1) % SPAN;
        self.filled += 1;
        (self.filled > CENTRE).then(|| self.judged(self.next + SPAN - 1 - CENTRE))
    }

    /// The frames still inside, oldest first; they lack neighbours on one side
    /// and are given as they are. Leaves the blanker empty.
    pub(super) fn drain(&mut self) -> Vec<Frame> {
        let left = self.filled.min(CENTRE);
        let rest = (0..left).map(|i| self.frames[(self.next + SPAN - left + i) % SPAN]).collect();
        *self = Self::new();
        rest
    }

    fn judged(&self, at: usize) -> Frame {
        let at = at % SPAN;
        if self.filled < SPAN {
            return self.frames[at];
        }
        // Cheap test first: most frames are not above their own neighbourhood.
        let before = self.mean(at + SPAN - CENTRE);
        if self.power[at] <= RATIO * before {
            return self.frames[at];
        }
        let after = self.mean(at + GUARD + 1);
        if self.power[at] <= RATIO * after { self.frames[at] } else { Frame::default() }
    }

    fn mean(&self, from: usize) -> f64 {
        (0..SIDE).map(|i| self.power[(from + i) % SPAN]).sum::<f64>() / SIDE as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(input: &[f32]) -> Vec<f32> {
        let mut blanker = Blanker::new();
        let frame = |&v: &f32| [Complex32::new(v, 0.0), Complex32::ZERO, Complex32::ZERO];
        let mut out: Vec<Frame> = input.iter().filter_map(|v| blanker.push(frame(v))).collect();
        out.extend(blanker.drain());
        out.iter().map(|f| f[0].re).collect()
    }

    #[test]
    fn takes_an_impulse_and_nothing_else() {
        let mut input: Vec<f32> = (0..400).map(|i| 1.0 + (i % 7) as f32 * 0.1).collect();
        let clean = input.clone();
        input[200] = 100.0;
        let out = run(&input);
        assert_eq!(out[200], 0.0);
        assert_eq!(out[..200], clean[..200]);
        assert_eq!(out[201..], clean[201..]);
    }

    #[test]
    fn leaves_edges_and_short_streams() {
        let step: Vec<f32> = (0..300).map(|i| if i < 100 { 0.01 } else { 10.0 }).collect();
        assert_eq!(run(&step), step);
        assert_eq!(run(&step[90..110]), step[90..110]);
        assert_eq!(run(&[]), Vec::<f32>::new());
    }
}
