//! Takes single impulses (sparks, switching) out of the stream.
//!
//! A pulse edge raises the power and keeps it up; an impulse is over within a
//! millisecond. A frame is an impulse when its power is far above the mean
//! power both before and after it; it is set to zero. Inside a pulse that
//! costs one sample in hundreds.

use pulp::{Arch, Simd, WithSimd};

use super::decimator::Line;

/// Frames in a group; stretches are looked at group by group.
pub(super) const GROUP: usize = 16;
/// Judged frames that must stay in the line.
pub(super) const LOOK_BACK: usize = 4 * GROUP;
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

/// Judges the frames of a line, two groups behind its end, because a frame is
/// judged by both its sides.
pub(super) struct Blanker {
    lanes: usize,
    arch: Arch,
    /// Of the last groups of the line.
    groups: Vec<Group>,
    /// Groups of those that have been judged.
    judged: usize,
}

impl Blanker {
    pub(super) fn new(lanes: usize) -> Self {
        Self { lanes, arch: Arch::new(), groups: Vec::new(), judged: 0 }
    }

    /// Judge what `added` numbers, whole groups, at the end of the line allow.
    pub(super) fn judge_new(&mut self, line: &mut Line, added: usize) {
        let size = GROUP * self.lanes;
        let new = &line.numbers[line.numbers.len() - added..];
        self.arch.dispatch(SumUp { new, size, groups: &mut self.groups });
        let ready = self.groups.len().saturating_sub(2);
        for g in self.judged.max(2)..ready {
            // Cheap bound first: no frame has more than all its lanes at the peak.
            let before = self.groups[g - 1].sum.min(self.groups[g - 2].sum);
            let least = RATIO * 0.5 * before / SIDE as f32;
            if self.groups[g].peak * self.lanes as f32 > least {
                self.judge(line, g, least);
            }
        }
        self.judged = ready.max(self.judged);
        line.unsettled = (self.groups.len() - self.judged) * GROUP;
        // Two groups stay as the past of the next ones.
        let old = self.judged.saturating_sub(2);
        self.groups.drain(..old);
        self.judged -= old;
    }

    /// The stretch ends: the last frames lack neighbours on one side and stay as
    /// they are.
    pub(super) fn finish(&mut self, line: &mut Line) {
        line.unsettled = 0;
        self.groups.clear();
        self.judged = 0;
    }

    /// Judge the frames of at least this power in group `g` of those kept, which
    /// end with the line.
    fn judge(&mut self, line: &mut Line, g: usize, least: f32) {
        let (lanes, size) = (self.lanes, GROUP * self.lanes);
        let start = line.numbers.len() - self.groups.len() * size;
        let kept = &mut line.numbers[start..];
        let power =
            |n: usize| -> f32 { kept[n * lanes..(n + 1) * lanes].iter().map(|x| x * x).sum() };
        let mean = |from: usize| (from..from + SIDE).map(power).sum::<f32>() / SIDE as f32;
        let impulse = |n: &usize| {
            let own = power(*n);
            own > least && own > RATIO * mean(n - GUARD - SIDE) && own > RATIO * mean(n + GUARD + 1)
        };
        let found: Vec<usize> = (g * GROUP..(g + 1) * GROUP).filter(impulse).collect();
        for n in found {
            kept[n * lanes..(n + 1) * lanes].fill(0.0);
        }
        self.groups[g] = summed(&kept[g * size..(g + 1) * size]);
    }
}

/// Sums of new groups, in the widest vectors that the processor has.
struct SumUp<'a> {
    new: &'a [f32],
    size: usize,
    groups: &'a mut Vec<Group>,
}

impl WithSimd for SumUp<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        for group in self.new.chunks_exact(self.size) {
            self.groups.push(summed(group));
        }
    }
}

#[inline(always)]
fn summed(numbers: &[f32]) -> Group {
    // A group of one axis is 32 numbers, of three 96.
    let (mut sums, mut peaks) = ([0.0f32; 16], [0.0f32; 16]);
    for part in numbers.chunks_exact(16) {
        for i in 0..16 {
            let square = part[i] * part[i];
            sums[i] += square;
            peaks[i] = if square > peaks[i] { square } else { peaks[i] };
        }
    }
    let (mut sum, mut peak) = (0.0, 0.0f32);
    for i in 0..16 {
        sum += sums[i];
        peak = peak.max(peaks[i]);
    }
    Group { sum, peak }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(input: &[f32]) -> Vec<f32> {
        let mut blanker = Blanker::new(2);
        let flat: Vec<f32> = input.iter().flat_map(|v| [*v, 0.0]).collect();
        let mut line = Line::default();
        for group in flat.chunks(GROUP * 2) {
            line.numbers.extend_from_slice(group);
            blanker.judge_new(&mut line, group.len());
        }
        blanker.finish(&mut line);
        line.numbers.iter().copied().step_by(2).collect()
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
