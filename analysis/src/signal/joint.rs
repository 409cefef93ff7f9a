//! Least-squares fit of several bursts at once: the maximum-likelihood estimate
//! of edges, carriers and amplitude vectors in white noise.
//!
//! Amplitudes are linear and eliminated by variable projection with Kaufman's
//! simplified Jacobian (BIT 15 (1975) 49–57, quoted from memory); what is left, two edges and a
//! carrier for each burst, is found by Levenberg's damped Gauss–Newton steps.
//! The Hessian of the last step is the Fisher information given the overlap,
//! so that its inverse states the uncertainties: for one burst they are the
//! bounds of Rife and Boorstyn (1974).

use std::ops::Range;

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use num_complex::Complex64;

use super::burst::{Burst, along, over_noise, wide};
use super::frontend::Frame;
use super::template::StepTemplate;

/// Fits the bursts of a group to samples.
pub(super) struct Joint<'a> {
    pub samples: &'a [Frame],
    /// Noise power per sample, one entry an axis.
    pub noise: &'a [f64],
    pub template: &'a StepTemplate,
}

const STEPS: usize = 12;
/// A fit has settled when no edge moves by more of a sample, and no carrier by
/// more of a radian over its burst.
const SETTLED: f64 = 0.02;
/// The furthest that an edge, in samples, and a carrier, in radians over its
/// burst, may go in one step.
const LONGEST_STEP: [f64; 2] = [6.0, 1.5];
/// Power over noise of a sample at which its edges are seen by themselves.
const SURE_SAMPLE: f64 = 30.0;
/// How far from where it is expected an edge is looked for, in samples.
const WALK: f64 = 20.0;
/// Error of a change point, in samples, for noise as strong as the burst.
pub(super) const CHANGE_POINT: f64 = 1.5;
/// Samples on each side of an edge that its duration is taken from.
const WIDTH_REACH: f64 = 14.0;
/// Left out at each end of the plateau, in samples, besides the edge itself.
const INSET: f64 = 3.0;
/// How much the variance of an amplitude may grow by what it shares with others:
/// two whole bursts of 0.1 s are told apart from 0.02 Hz on.
const MOST_BLURRED: f64 = 1e5;
/// Least shared information for a parameter to be determined at all.
const SINGULAR: f64 = 1e-9;

/// A complex function of time that is zero elsewhere.
struct Piece {
    first: usize,
    values: Vec<Complex64>,
}

impl Piece {
    fn end(&self) -> usize {
        self.first + self.values.len()
    }

    /// Σ conj(self) · other.
    fn with(&self, other: &Piece) -> Complex64 {
        let first = self.first.max(other.first);
        let end = self.end().min(other.end());
        if end <= first {
            return Complex64::ZERO;
        }
        let a = &self.values[first - self.first..end - self.first];
        let b = &other.values[first - other.first..end - other.first];
        a.iter().zip(b).map(|(a, b)| a.conj() * b).sum()
    }

    /// Σ conj(self) · frame, by axis.
    fn frames(&self, frames: &[[Complex64; 3]], start: usize) -> [Complex64; 3] {
        let mut sum = [Complex64::ZERO; 3];
        for (a, frame) in self.values.iter().zip(&frames[self.first - start..]) {
            let a = a.conj();
            for (s, z) in sum.iter_mut().zip(frame) {
                *s += a * z;
            }
        }
        sum
    }
}

/// A burst's shape and how it changes with its on edge, off edge and carrier.
struct Basis {
    shape: Piece,
    slopes: [Piece; 3],
}

/// What the bursts leave of the samples from `start` on.
struct Residual {
    frames: Vec<[Complex64; 3]>,
    start: usize,
}

/// How well one burst fits: half the gradient of the log-likelihood over on edge,
/// off edge and carrier, half the information, and the energy over noise explained.
pub(super) struct Score {
    pub gradient: Vector3<f64>,
    pub information: Matrix3<f64>,
    pub energy: f64,
}

/// One round's results.
struct State {
    bursts: Vec<Burst>,
    bases: Vec<Basis>,
    residual: Residual,
    cost: f64,
    gradient: DVector<f64>,
    hessian: DMatrix<f64>,
    /// Diagonal of the inverse of the shapes' products.
    spread: Vec<f64>,
}

impl Joint<'_> {
    /// Fit `bursts` together; their amplitudes need not be known. `None` when
    /// they cannot be told apart.
    pub(super) fn fit(&self, bursts: &[Burst]) -> Option<Vec<Burst>> {
        let mut state = self.state(bursts.to_vec())?;
        let mut damping = 1e-3;
        for _ in 0..STEPS {
            let Some(step) = self.step(&state, damping) else { break };
            let moved = self.moved(&state.bursts, &step);
            let small = moved.1 < SETTLED;
            match self.state(moved.0).filter(|new| new.cost <= state.cost) {
                Some(better) => {
                    state = better;
                    damping = (damping * 0.1).max(1e-6);
                }
                None => damping *= 20.0,
            }
            if small || damping > 1e4 {
                break;
            }
        }
        Some(self.judged(state))
    }

    /// How well a lone burst fits as it is.
    pub(super) fn score(&self, burst: Burst) -> Option<Score> {
        let state = self.state(vec![burst])?;
        let energy = over_noise(&state.bursts[0].amplitude, self.noise) / state.spread[0];
        Some(Score {
            gradient: Vector3::from_fn(|i, _| state.gradient[i]),
            information: Matrix3::from_fn(|i, j| state.hessian[(i, j)]),
            energy,
        })
    }

    /// A lone burst as it is, with its amplitude.
    pub(super) fn measured(&self, burst: Burst) -> Option<Burst> {
        self.judged(self.state(vec![burst])?).pop()
    }

    /// Set the edges of a lone burst whose single samples tell little anew: each
    /// where the sum of (envelope − 1/2) inside is greatest, the maximum-likelihood
    /// change point. The steps of the fit see no further than an edge's width.
    pub(super) fn walk_edges(&self, burst: &mut Burst) {
        let Some(state) = self.state(vec![burst.clone()]) else { return };
        let seen = &state.bursts[0];
        let power = self.power(seen);
        if power > SURE_SAMPLE || power <= 0.0 {
            return;
        }
        let middle = seen.middle();
        let value = |n: usize| {
            let turn = Complex64::from_polar(1.0, -seen.omega * (n as f64 - middle));
            (along(&seen.amplitude, &self.samples[n].map(wide), self.noise) * turn).re / power
        };
        let walk = |indices: &mut dyn Iterator<Item = usize>| {
            let (mut sum, mut best, mut place) = (0.0, f64::NEG_INFINITY, None);
            for n in indices {
                sum += value(n) - 0.5;
                if sum > best {
                    (best, place) = (sum, Some(n as f64));
                }
            }
            place
        };
        let around = |edge: f64| {
            let reach = WALK.min(0.4 * seen.length());
            let first = (edge - reach).max(0.0) as usize;
            first..((edge + reach).max(0.0) as usize).min(self.samples.len())
        };
        let on = walk(&mut around(seen.on).rev()).map(|n| n - 0.5);
        // The end is in view only if the samples go on beyond it.
        let whole = seen.off + WALK < self.samples.len() as f64;
        let off = whole.then(|| walk(&mut around(seen.off))).flatten().map(|n| n + 0.5);
        (burst.on, burst.off) = (on.unwrap_or(burst.on), off.unwrap_or(burst.off));
    }

    fn step(&self, state: &State, damping: f64) -> Option<DVector<f64>> {
        let mut damped = state.hessian.clone();
        for i in 0..damped.nrows() {
            // A parameter the samples say nothing of stays where it is.
            damped[(i, i)] += damping * damped[(i, i)] + SINGULAR;
        }
        damped.cholesky().map(|c| c.solve(&state.gradient))
    }

    /// The bursts one step on, and the largest relative move.
    fn moved(&self, bursts: &[Burst], step: &DVector<f64>) -> (Vec<Burst>, f64) {
        let mut largest: f64 = 0.0;
        let moved = bursts.iter().enumerate().map(|(i, burst)| {
            let mut burst = burst.clone();
            let edge = |d: f64| d.clamp(-LONGEST_STEP[0], LONGEST_STEP[0]);
            let turn = step[3 * i + 2] * burst.length();
            burst.omega += turn.clamp(-LONGEST_STEP[1], LONGEST_STEP[1]) / burst.length();
            largest = largest.max(turn.abs()).max(step[3 * i].abs()).max(step[3 * i + 1].abs());
            let (on, off) = (burst.on + edge(step[3 * i]), burst.off + edge(step[3 * i + 1]));
            if off - on > 8.0 {
                (burst.on, burst.off) = (on, off);
            }
            burst
        });
        (moved.collect(), largest)
    }

    fn basis(&self, burst: &Burst) -> Basis {
        let range = burst.reaches(self.template, self.samples.len());
        let turn = Complex64::from_polar(1.0, burst.omega);
        let middle = burst.middle();
        let mut phasor = Complex64::from_polar(1.0, burst.omega * (range.start as f64 - middle));
        let [mut shape, mut carrier] =
            [(); 2].map(|()| Piece { first: range.start, values: Vec::with_capacity(range.len()) });
        let edges = [(burst.on, burst.widths[0], -1.0), (burst.off, burst.widths[1], 1.0)];
        let mut slopes = edges.map(|(at, width, _)| {
            let reach = self.template.reach() + width;
            let first = ((at - reach).max(0.0) as usize).clamp(range.start, range.end);
            (Piece { first, values: Vec::new() }, reach)
        });
        for n in range {
            let time = n as f64;
            let envelope = self.template.pulse(time, burst.on, burst.off, burst.widths);
            let bent = phasor * burst.bend(time);
            let value = bent * envelope;
            shape.values.push(value);
            carrier.values.push(Complex64::new(0.0, time - middle) * value);
            for ((at, width, sign), (slope, reach)) in edges.iter().zip(&mut slopes) {
                if n >= slope.first && time <= at + *reach {
                    slope.values.push(bent * (sign * self.template.slope(time - at, *width)));
                }
            }
            phasor *= turn;
        }
        let [on, off] = slopes.map(|s| s.0);
        Basis { shape, slopes: [on, off, carrier] }
    }

    fn state(&self, mut bursts: Vec<Burst>) -> Option<State> {
        let bases: Vec<Basis> = bursts.iter().map(|b| self.basis(b)).collect();
        let start = bases.iter().map(|b| b.shape.first).min()?;
        let end = bases.iter().map(|b| b.shape.end()).max()?;
        let mut frames: Vec<[Complex64; 3]> =
            self.samples[start..end].iter().map(|f| f.map(wide)).collect();
        let count = bursts.len();
        let products = DMatrix::from_fn(count, count, |i, j| bases[i].shape.with(&bases[j].shape));
        let inverse = products.clone().try_inverse()?;
        // Nearly the same shape twice, strong against each other, explains nothing.
        let blurred = |i: usize| inverse[(i, i)].re * products[(i, i)].re > MOST_BLURRED;
        if (0..count).any(blurred) {
            return None;
        }
        let seen: Vec<[Complex64; 3]> =
            bases.iter().map(|b| b.shape.frames(&frames, start)).collect();
        for (i, burst) in bursts.iter_mut().enumerate() {
            burst.amplitude = std::array::from_fn(|axis| {
                (0..count).map(|j| inverse[(i, j)] * seen[j][axis]).sum()
            });
        }
        for (basis, burst) in bases.iter().zip(&bursts) {
            for (g, frame) in
                basis.shape.values.iter().zip(&mut frames[basis.shape.first - start..])
            {
                frame.iter_mut().zip(&burst.amplitude).for_each(|(z, a)| *z -= a * g);
            }
        }
        let cost =
            self.noise.iter().enumerate().map(|(axis, noise)| {
                frames.iter().map(|f| f[axis].norm_sqr()).sum::<f64>() / noise
            });
        let cost = cost.sum();
        let slopes: Vec<&Piece> = bases.iter().flat_map(|b| &b.slopes).collect();
        let onto = DMatrix::from_fn(slopes.len(), count, |i, j| slopes[i].with(&bases[j].shape));
        let shared = &onto * &inverse * onto.adjoint();
        let weighted = |i: usize, j: usize| -> Complex64 {
            along(&bursts[i].amplitude, &bursts[j].amplitude, self.noise)
        };
        let strengths = DMatrix::from_fn(count, count, weighted);
        let size = slopes.len();
        let mut hessian = DMatrix::zeros(size, size);
        for i in 0..size {
            for j in i..size {
                let own = slopes[i].with(slopes[j]) - shared[(i, j)];
                let value = (strengths[(i / 3, j / 3)] * own).re;
                (hessian[(i, j)], hessian[(j, i)]) = (value, value);
            }
        }
        let gradient = DVector::from_fn(size, |i, _| {
            let onto = slopes[i].frames(&frames, start);
            along(&bursts[i / 3].amplitude, &onto, self.noise).re
        });
        let spread = (0..count).map(|i| inverse[(i, i)].re).collect();
        let residual = Residual { frames, start };
        Some(State { bursts, bases, residual, cost, gradient, hessian, spread })
    }

    /// What the residual has along the burst in each of its quarters.
    fn unsteadiness(&self, burst: &Burst, shape: &Piece, residual: &Residual) -> f64 {
        let power = self.power(burst);
        let (first, last) =
            (burst.on.ceil().max(0.0) as usize, burst.off.floor().max(0.0) as usize);
        let (first, last) = (first.max(shape.first), last.min(shape.end()));
        let quarter = (last.saturating_sub(first) / 4).max(1);
        let deviation = |q: usize| {
            let part = first + q * quarter..(first + (q + 1) * quarter).min(shape.end());
            along(&burst.amplitude, &mean(shape, residual, part), self.noise).re / power
        };
        (0..4).map(|q| deviation(q).powi(2)).sum()
    }

    /// Duration of each edge as a linear ramp, for which ∫ y(1 − y) of the
    /// envelope y is a sixth of it. Noise lowers the sum by its variance.
    fn widths(&self, burst: &Burst, shape: &Piece, residual: &Residual) -> [f64; 2] {
        let power = self.power(burst);
        let half = WIDTH_REACH.min(0.4 * burst.length());
        let value = |n: usize| {
            let turn = Complex64::from_polar(1.0, burst.omega * (n as f64 - burst.middle()));
            let model = (shape.values[n - shape.first] * turn.conj()).re;
            let frame = &residual.frames[n - residual.start];
            model + (along(&burst.amplitude, frame, self.noise) * turn.conj()).re / power
        };
        [burst.on, burst.off].map(|edge| {
            let first = (edge - half).ceil().max(shape.first as f64) as usize;
            let last = ((edge + half).floor().max(0.0) as usize).min(shape.end());
            let overlap: f64 = (first..last).map(value).map(|y| y * (1.0 - y) + 0.5 / power).sum();
            6.0 * (overlap - self.template.own_overlap())
        })
    }

    /// The samples in which the burst is fully on.
    fn plateau(&self, burst: &Burst, shape: &Piece) -> Range<usize> {
        let inset = |w: f64| (INSET + 0.75 * w).min(0.3 * burst.length());
        let first = (burst.on + inset(burst.widths[0])).ceil().max(shape.first as f64);
        let last = (burst.off - inset(burst.widths[1])).floor().min(shape.end() as f64);
        first as usize..last.max(first) as usize
    }

    fn power(&self, burst: &Burst) -> f64 {
        over_noise(&burst.amplitude, self.noise)
    }

    fn judged(&self, mut state: State) -> Vec<Burst> {
        let size = state.hessian.nrows();
        for i in 0..size {
            state.hessian[(i, i)] += SINGULAR;
        }
        // For complex noise of power n the information is twice the weighted products.
        let covariance = state.hessian.try_inverse().map(|inverse| inverse / 2.0);
        let variance = |i: usize| covariance.as_ref().map_or(f64::INFINITY, |c| c[(i, i)]);
        let end = self.samples.len() as f64;
        for (i, burst) in state.bursts.iter_mut().enumerate() {
            let shape = &state.bases[i].shape;
            burst.unsteadiness = self.unsteadiness(burst, shape, &state.residual);
            burst.seen_widths = self.widths(burst, shape, &state.residual);
            // Real edges are no ramps: only what is between them gives the amplitude.
            let plateau = self.plateau(burst, shape);
            let share = plateau.len() as f64 / burst.length();
            burst.plateau = share.min(1.0) / state.spread[i];
            let off = mean(shape, &state.residual, plateau);
            burst.amplitude.iter_mut().zip(off).for_each(|(a, o)| *a += o);
            let seen = (burst.off.min(end) - burst.on.max(0.0)).max(1.0);
            burst.energy_to_noise = self.power(burst) * seen;
            // Where a sample tells little, an edge is a change point in noise, known
            // to some times noise over power (Hinkley, Biometrika 57 (1970) 1–17,
            // quoted from memory), not to the bound.
            let fisher = (0.5 * (variance(3 * i) + variance(3 * i + 1))).sqrt();
            burst.u_edge = fisher.hypot(CHANGE_POINT * seen / burst.energy_to_noise);
            burst.u_omega = variance(3 * i + 2).sqrt();
        }
        state.bursts
    }
}

/// Mean amplitude of the residual along a shape of unit amplitude.
fn mean(shape: &Piece, residual: &Residual, samples: Range<usize>) -> [Complex64; 3] {
    let mut sum = [Complex64::ZERO; 3];
    let count = samples.len().max(1) as f64;
    for n in samples {
        let turn = shape.values[n - shape.first].conj() / count;
        let frame = &residual.frames[n - residual.start];
        sum.iter_mut().zip(frame).for_each(|(s, z)| *s += z * turn);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::super::testing::{noise, template};
    use super::*;

    fn burst(on: f64, off: f64, omega: f64, amplitude: [Complex64; 3]) -> Burst {
        Burst { amplitude, ..Burst::guess(on, off, [2.0; 2], omega) }
    }

    /// Errors over the stated uncertainties, and the bound of Rife and Boorstyn
    /// (IEEE Trans. Inf. Theory 20 (1974) 591, eq. 20, quoted from memory) beside the carrier's.
    #[test]
    fn one_burst_reaches_the_bound() {
        let template = template();
        let (mut carrier, mut edges, mut over_bound) = (0.0, 0.0, 0.0);
        let runs = 400;
        for seed in 0..runs {
            let turned = Complex64::from_polar(0.6, seed as f64);
            let truth = burst(80.3, 170.8, 0.21, [turned, turned * 0.4, Complex64::ZERO]);
            let mut samples = noise(256, seed);
            truth.apply(&mut samples, &template, 1.0);
            let joint = Joint { samples: &samples, noise: &[1.0; 3], template: &template };
            let found = joint.fit(&[burst(78.0, 173.0, 0.205, [Complex64::ZERO; 3])]).unwrap();
            let rho: f64 = 0.36 * 1.16 * 90.5;
            let bound = (6.0 / rho).sqrt() / 90.5;
            carrier += ((found[0].omega - 0.21) / found[0].u_omega).powi(2);
            edges += ((found[0].on - 80.3) / found[0].u_edge).powi(2);
            over_bound += ((found[0].omega - 0.21) / bound).powi(2);
        }
        let root = |sum: f64| (sum / runs as f64).sqrt();
        println!(
            "in u: carrier {:.2}, edge {:.2}; over the bound {:.2}",
            root(carrier),
            root(edges),
            root(over_bound)
        );
        assert!((0.9..1.15).contains(&root(carrier)), "{}", root(carrier));
        // Begun near the truth the fit is better than the change point it allows for.
        assert!((0.5..1.25).contains(&root(edges)), "{}", root(edges));
        assert!((0.9..1.15).contains(&root(over_bound)), "{}", root(over_bound));
    }

    #[test]
    fn two_bursts_two_hertz_apart_are_told_apart_by_direction_and_time() {
        let template = template();
        let direction = |x: f64, y: f64, z: f64| [x, y, z].map(|v| Complex64::new(v, 0.3 * v));
        let truth = [
            burst(60.0, 150.0, 0.100, direction(5.0, 1.0, 0.0)),
            burst(95.0, 190.0, 0.1125, direction(-1.0, 4.0, 3.0)),
        ];
        let mut in_u = [0.0; 6];
        let runs = 60;
        for seed in 0..runs {
            let mut samples = noise(256, 100 + seed);
            truth.iter().for_each(|b| {
                b.apply(&mut samples, &template, 1.0);
            });
            let joint = Joint { samples: &samples, noise: &[1.0; 3], template: &template };
            let guess = [
                burst(63.0, 152.0, 0.104, [Complex64::ZERO; 3]),
                burst(92.0, 188.0, 0.107, [Complex64::ZERO; 3]),
            ];
            let found = joint.fit(&guess).unwrap();
            for i in 0..2 {
                in_u[3 * i] += ((found[i].on - truth[i].on) / found[i].u_edge).powi(2);
                in_u[3 * i + 1] += ((found[i].off - truth[i].off) / found[i].u_edge).powi(2);
                in_u[3 * i + 2] += ((found[i].omega - truth[i].omega) / found[i].u_omega).powi(2);
            }
        }
        let roots = in_u.map(|sum| (sum / runs as f64).sqrt());
        assert!(roots.iter().all(|r| (0.6..1.5).contains(r)), "{roots:?}");
    }
}
