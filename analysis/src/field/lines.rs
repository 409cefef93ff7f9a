//! Lines of a plane field, evenly spaced or through given points.
//!
//! A line follows the direction of the field both ways from where it starts, by
//! Runge and Kutta's fourth-order steps, until it leaves the frame, comes near
//! another line or the source, or closes. New lines start where there is room
//! (after B. Jobard and W. Lefer, *Creating evenly-spaced streamlines of arbitrary
//! density*, 1997; from memory). Density of lines says nothing of strength.
//!
//! Accuracy: a line drifts off a true one by less than a hundredth of the spacing
//! over its length. Cost: some 8 directions per step of an eighth of the spacing.

/// A point or a direction in the plane.
pub type Plane = [f64; 2];

/// A rectangle of the plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Least of both coordinates.
    pub low: Plane,
    /// Greatest of both coordinates.
    pub high: Plane,
}

impl Frame {
    fn holds(&self, at: Plane) -> bool {
        (0..2).all(|i| (self.low[i]..=self.high[i]).contains(&at[i]))
    }
}

/// Step over spacing.
const STEP: f64 = 0.125;
/// How near a line may come to another, over the spacing.
const NEAR: f64 = 0.45;
/// Steps of a line in each direction at most.
const LONGEST: usize = 4000;

/// Lines of the field whose `direction` (of any length, either sign) is given,
/// about `spacing` apart.
pub fn lines(direction: impl Fn(Plane) -> Plane, frame: Frame, spacing: f64) -> Vec<Vec<Plane>> {
    let mut taken = Taken::new(frame, spacing);
    let tracer = Tracer { direction, frame, step: STEP * spacing, source: None };
    let mut lines = Vec::new();
    for seed in seeds(frame, spacing) {
        if taken.nearest(seed) < spacing {
            continue;
        }
        let line = tracer.line(seed, |at| taken.nearest(at) >= NEAR * spacing);
        if line.len() > 12 {
            line.iter().for_each(|point| taken.add(*point));
            lines.push(line);
        }
    }
    lines
}

/// The line through each of `points` inside the frame, in steps of `step`, down to
/// two steps from `source`, where all lines meet.
pub fn lines_through(
    points: impl Iterator<Item = Plane>,
    direction: impl Fn(Plane) -> Plane,
    frame: Frame,
    step: f64,
    source: Plane,
) -> Vec<Vec<Plane>> {
    let tracer = Tracer { direction, frame, step, source: Some(source) };
    points.filter(|p| frame.holds(*p)).map(|p| tracer.line(p, |_| true)).collect()
}

/// Places all over the frame, half a spacing apart, from its middle outward.
fn seeds(frame: Frame, spacing: f64) -> Vec<Plane> {
    let step = spacing / 2.0;
    let count = |i: usize| ((frame.high[i] - frame.low[i]) / step).floor() as usize;
    let at = |i: usize, k: usize| frame.low[i] + (k as f64 + 0.5) * step;
    let mut seeds: Vec<Plane> =
        (0..count(0)).flat_map(|i| (0..count(1)).map(move |j| [at(0, i), at(1, j)])).collect();
    let middle = [0, 1].map(|i| (frame.low[i] + frame.high[i]) / 2.0);
    seeds.sort_by(|a, b| distance(*a, middle).total_cmp(&distance(*b, middle)));
    seeds
}

fn distance(a: Plane, b: Plane) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

struct Tracer<F> {
    direction: F,
    frame: Frame,
    step: f64,
    source: Option<Plane>,
}

impl<F: Fn(Plane) -> Plane> Tracer<F> {
    fn line(&self, seed: Plane, is_free: impl Fn(Plane) -> bool) -> Vec<Plane> {
        let mut back = self.half(seed, -1.0, &is_free);
        back.reverse();
        back.push(seed);
        // A line that came home going back is whole.
        if back.len() > 8 && distance(back[0], seed) < 1.5 * self.step {
            back.insert(0, seed);
            return back;
        }
        back.extend(self.half(seed, 1.0, &is_free));
        back
    }

    fn half(&self, seed: Plane, sense: f64, is_free: &impl Fn(Plane) -> bool) -> Vec<Plane> {
        let mut points = Vec::new();
        let mut at = seed;
        while points.len() < LONGEST {
            let Some(next) = self.next(at, sense) else { break };
            let home = points.len() > 8 && distance(next, seed) < 1.2 * self.step;
            let arrived =
                self.source.is_some_and(|source| distance(source, next) < 2.0 * self.step);
            if !self.frame.holds(next) || arrived || !is_free(next) {
                break;
            }
            points.push(next);
            if home {
                break;
            }
            at = next;
        }
        points
    }

    fn next(&self, at: Plane, sense: f64) -> Option<Plane> {
        let unit = |at: Plane| {
            let [x, y] = (self.direction)(at);
            let norm = x.hypot(y);
            (norm > 0.0 && norm.is_finite()).then(|| [sense * x / norm, sense * y / norm])
        };
        let along = |by: Plane, share: f64| {
            [at[0] + share * self.step * by[0], at[1] + share * self.step * by[1]]
        };
        let first = unit(at)?;
        let second = unit(along(first, 0.5))?;
        let third = unit(along(second, 0.5))?;
        let fourth = unit(along(third, 1.0))?;
        let mean = |i: usize| (first[i] + 2.0 * second[i] + 2.0 * third[i] + fourth[i]) / 6.0;
        Some(along([mean(0), mean(1)], 1.0))
    }
}

/// Points of the lines there are, in cells of one spacing.
struct Taken {
    frame: Frame,
    spacing: f64,
    across: usize,
    cells: Vec<Vec<Plane>>,
}

impl Taken {
    fn new(frame: Frame, spacing: f64) -> Self {
        let count = |i: usize| ((frame.high[i] - frame.low[i]) / spacing).ceil() as usize + 1;
        let across = count(0);
        Self { frame, spacing, across, cells: vec![Vec::new(); across * count(1)] }
    }

    fn cell(&self, at: Plane) -> [usize; 2] {
        [0, 1].map(|i| ((at[i] - self.frame.low[i]) / self.spacing).max(0.0) as usize)
    }

    fn add(&mut self, at: Plane) {
        let [i, j] = self.cell(at);
        if let Some(cell) = self.cells.get_mut(j * self.across + i) {
            cell.push(at);
        }
    }

    /// Distance to the nearest point, as far as it is below a spacing.
    fn nearest(&self, at: Plane) -> f64 {
        let [i, j] = self.cell(at);
        let near = |k: usize| k.saturating_sub(1)..=k + 1;
        near(j)
            .flat_map(|j| near(i).map(move |i| (i, j)))
            .filter(|(i, _)| *i < self.across)
            .filter_map(|(i, j)| self.cells.get(j * self.across + i))
            .flatten()
            .map(|point| distance(*point, at))
            .fold(f64::INFINITY, f64::min)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::dipole::static_coupling;

    const FRAME: Frame = Frame { low: [-3.0, -2.0], high: [3.0, 2.0] };

    /// Lines of a dipole upright in the plane: r = R sin²θ, R constant along each,
    /// and that at which each crosses the plane square to the moment.
    #[test]
    fn lines_of_a_dipole_keep_their_equation() {
        let dipole = |[x, z]: Plane| {
            let h = static_coupling([x, 0.0, z]) * nalgebra::Vector3::z();
            [h.x, h.z]
        };
        let reach = |[x, z]: &Plane| (x * x + z * z).powf(1.5) / (x * x);
        for line in lines(dipole, FRAME, 0.3) {
            let far: Vec<_> = line.iter().filter(|p| distance(**p, [0.0; 2]) > 0.4).collect();
            let Some(first) = far.first().map(|p| reach(p)) else { continue };
            // Along the axis the equation says nothing.
            if first < 50.0 && far.len() == line.len() {
                assert!(far.iter().all(|p| (reach(p) / first - 1.0).abs() < 0.01));
            }
        }
        let crossings = [-2.5, -1.0, 0.6, 2.0];
        let points = crossings.into_iter().map(|x| [x, 0.0]);
        let lines = lines_through(points, dipole, FRAME, 0.02, [0.0; 2]);
        for (line, crossing) in lines.iter().zip(crossings) {
            assert!(line.iter().all(|p| (reach(p) / crossing.abs() - 1.0).abs() < 0.01));
            // Both ends come home to the dipole.
            let ends = distance(line[0], [0.0; 2]).max(distance(line[line.len() - 1], [0.0; 2]));
            assert!(ends < 0.07, "{crossing}: {ends}");
        }
    }

    #[test]
    fn circles_close_and_keep_apart() {
        let lines = lines(|[x, y]| [-y, x], FRAME, 0.4);
        let radius = |p: &Plane| p[0].hypot(p[1]);
        for line in &lines {
            let first = radius(&line[0]);
            assert!(line.iter().all(|p| (radius(p) - first).abs() < 1e-3));
        }
        // Circles that the frame does not cut.
        let mut whole: Vec<f64> =
            lines.iter().map(|l| radius(&l[0])).filter(|r| *r < 1.9).collect();
        whole.sort_by(f64::total_cmp);
        assert!(
            whole.len() > 3 && whole.windows(2).all(|pair| pair[1] - pair[0] > 0.17),
            "{whole:?}"
        );
        assert!(lines.iter().any(|line| distance(line[0], line[line.len() - 1]) < 0.08));
    }

    #[test]
    fn a_field_without_direction_has_no_lines() {
        assert!(lines(|_| [0.0, 0.0], FRAME, 0.5).is_empty());
        assert!(lines(|_| [f64::NAN, 0.0], FRAME, 0.5).is_empty());
    }
}
