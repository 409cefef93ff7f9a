//! Takes single impulses (sparks, switching) out of the stream.
//!
//! A pulse edge raises the power and keeps it up; an impulse is over within a
//! millisecond. A frame is an impulse when its power is far above the mean
//! power both before and after it; it is set to zero. Inside a pulse that
//! costs one sample in hundreds.

use pulp::Arch;

/// Frames in a group; stretches are looked at group by group.
pub(super) const GROUP: usize = 16;
/// Frames left out next to the one judged, for the ringing of the receiver's filter.
const GUARD: usize = 8;
/// Frames averaged on each side.
const SIDE: usize = 16;
/// Power over the greater of the two means. Noise on one axis exceeds it about
/// three times in 10⁹ frames.
const RATIO: f32 = 25.0;

/// Sum of squares and the largest of them in one group of flat frames.
#[derive(Clone, Copy, Default)]
struct Group {
    sum: f32,
    peak: f32,
}

/// Holds two groups back, because a frame is judged by both its sides.
pub(super) struct Blanker {
    lanes: usize,
    arch: Arch,
    groups: Vec<Group>,
    /// Flat frames not yet given back, with two groups before them for judging.
    held: Vec<f32>,
    /// Groups of `held` that have been given back already.
    given: usize,
}

impl Blanker {
    pub(super) fn new(lanes: usize) -> Self {
        Self { lanes, arch: Arch::new(), groups: Vec::new(), held: Vec::new(), given: 0 }
    }

    /// Take whole groups of flat frames in, append the ones that can be judged to `out`.
    pub(super) fn push(&mut self, numbers: &[f32], out: &mut Vec<f32>) {
        let size = GROUP * self.lanes;
        self.held.extend_from_slice(numbers);
        let arch = self.arch;
        arch.dispatch(|| self.groups.extend(numbers.chunks_exact(size).map(summed)));
        let judged = self.groups.len().saturating_sub(2);
        for g in self.given.max(2)..judged {
            // Cheap bound first: no frame has more than all its lanes at the peak.
            let before = self.groups[g - 1].sum.min(self.groups[g - 2].sum);
            if self.groups[g].peak * self.lanes as f32 * SIDE as f32 > RATIO * 0.5 * before {
                self.judge(g);
            }
        }
        if judged > self.given {
            out.extend_from_slice(&self.held[self.given * size..judged * size]);
            self.given = judged;
        }
        // Two groups stay as the past of the next ones.
        let old = self.given.saturating_sub(2);
        self.groups.drain(..old);
        self.held.drain(..old * size);
        self.given -= old;
    }

    /// The frames still inside, which lack neighbours on one side and are given as they are.
    pub(super) fn drain(&mut self, out: &mut Vec<f32>) {
        out.extend_from_slice(&self.held[self.given * GROUP * self.lanes..]);
        self.held.clear();
        self.groups.clear();
        self.given = 0;
    }

    fn judge(&mut self, group: usize) {
        let lanes = self.lanes;
        let power = |n: usize| -> f32 {
            self.held[n * lanes..(n + 1) * lanes].iter().map(|x| x * x).sum()
        };
        let mean = |from: usize| (from..from + SIDE).map(power).sum::<f32>() / SIDE as f32;
        let impulse = |n: &usize| {
            let own = power(*n);
            own > RATIO * mean(n - GUARD - SIDE) && own > RATIO * mean(n + GUARD + 1)
        };
        let frames = group * GROUP..(group + 1) * GROUP;
        let found: Vec<usize> = frames.filter(impulse).collect();
        for n in found {
            self.held[n * lanes..(n + 1) * lanes].fill(0.0);
        }
        let size = GROUP * lanes;
        self.groups[group] = summed(&self.held[group * size..(group + 1) * size]);
    }
}

#[inline(always)]
fn summed(numbers: &[f32]) -> Group {
    let (mut sums, mut peaks) = ([0.0f32; 8], [0.0f32; 8]);
    for eight in numbers.chunks_exact(8) {
        for i in 0..8 {
            let square = eight[i] * eight[i];
            sums[i] += square;
            peaks[i] = if square > peaks[i] { square } else { peaks[i] };
        }
    }
    Group { sum: sums.iter().sum(), peak: peaks.iter().copied().fold(0.0, f32::max) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(input: &[f32]) -> Vec<f32> {
        let mut blanker = Blanker::new(2);
        let flat: Vec<f32> = input.iter().flat_map(|v| [*v, 0.0]).collect();
        let mut out = Vec::new();
        flat.chunks(GROUP * 2).for_each(|group| blanker.push(group, &mut out));
        blanker.drain(&mut out);
        out.iter().copied().step_by(2).collect()
    }

    #[test]
    fn takes_an_impulse_and_nothing_else() {
        for at in 196..230 {
            let mut input: Vec<f32> = (0..400).map(|i| 1.0 + (i % 7) as f32 * 0.1).collect();
            let clean = input.clone();
            input[at] = 100.0;
            let out = run(&input);
            assert_eq!(out[at], 0.0);
            assert_eq!(out[..at], clean[..at]);
            assert_eq!(out[at + 1..], clean[at + 1..]);
        }
    }

    #[test]
    fn leaves_edges_and_short_streams() {
        let step: Vec<f32> = (0..304).map(|i| if i < 100 { 0.01 } else { 10.0 }).collect();
        assert_eq!(run(&step), step);
        assert_eq!(run(&step[90..122]), step[90..122]);
        assert_eq!(run(&[]), Vec::<f32>::new());
    }
}
