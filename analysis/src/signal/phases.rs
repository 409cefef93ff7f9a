//! Whether the carrier's phase runs on from pulse to pulse, and the carrier by it.
//!
//! A unit that only gates an oscillator which never stops sends pulses whose phases
//! lie on one course. The course of 64 pulses tells the carrier hundreds of times
//! better than the pulses one by one; but it tells it only up to multiples of the
//! pulse rate, and a unit whose oscillator starts anew has none. So it is tested:
//!
//! * The phase is that of Σ a²/n over the axes, halved: the same however the coil
//!   points and turns, sign included, since a = h·e^(jφ) with a real field vector h.
//! * A block of pulses is searched for the carrier and drift that bring all phases
//!   together (the maximum of the likelihood for one tone of unknown drift, as Rife
//!   and Boorstyn 1974 have it for one of none), within four standard uncertainties
//!   of what the pulses one by one say. Where that range holds a second answer, one
//!   pulse rate off, the block tells nothing.
//! * Random phases would come together as well in fewer than one block in 10⁶:
//!   |Σ w z|² over (Σ w)² is exponential with the mean Σ w² / (Σ w)² for each of the
//!   places looked at (Rayleigh's test).
//! * Over all blocks the carrier must agree with that of the single pulses. An
//!   oscillator that is pulled while the unit is keyed does not.
//! * An oscillator that starts anew with every pulse, in step with a period that does
//!   not jitter by even a tenth of a carrier's cycle, has a course too, of any carrier
//!   between two answers. Where pulses jitter it has none; where they do not, the
//!   course counts only if it could hardly agree by chance: [`RunningOn::chance`].
//!
//! Uncertainty: from the residual phases. A phase that wanders shows first along
//! polynomials of the lowest degrees that the course leaves, and moves the slope by 6/5
//! of the variance that its ends would; one block says little of it, so that what is
//! stated for few blocks is rather too large than too small. Blocks stand apart: what
//! links them is not used.

use num_complex::Complex64;

use nalgebra::{Matrix3, Vector3};

use super::pooled::{PRIOR, Pooled};
use super::pulse::Pulse;
use crate::line::Line;
use crate::reading::Reading;

/// Pulses that are looked at as one.
const BLOCK: usize = 64;
/// Fewer say nothing.
const LEAST: usize = 16;
/// How far from the single pulses' carrier is looked, in standard uncertainties.
const RANGE: f64 = 4.0;
/// Of what lies between one answer and the next, the share that may be looked through.
const CLEAR: f64 = 0.4;
/// Chance that random phases pass.
const CHANCE: f64 = 1e-6;
/// Phase scatter of real units that keeps strong pulses from outweighing all others, rad.
const SCATTER_RAD: f64 = 0.005;
/// Carrier scatter of the same purpose, for blocks.
const SCATTER_HZ: f64 = 1e-5;
/// What a phase may be off besides noise from one end to the other: rests of other
/// pulses, steps of the converter, warming coils. Seen in recordings of the emulator.
const PLACED_RAD: f64 = 0.01;
/// Share of the pulses that must lie in blocks whose phase runs on.
const MOST: f64 = 0.8;
/// What the two ways to the carrier may differ by, in standard uncertainties.
const AGREE: f64 = 2.5;

/// One pulse, seconds and hertz.
#[derive(Clone, Copy, Debug)]
struct Point {
    at_s: f64,
    /// e^(2jφ).
    turn: Complex64,
    /// 1 / variance of 2φ.
    weight: f64,
    offset_hz: f64,
    u_offset_hz: f64,
}

/// Carrier and drift by the phase.
#[derive(Clone, Copy, Debug)]
pub(super) struct RunningOn {
    /// Carrier minus 457 kHz at the mean time of the pulses, Hz.
    pub offset_hz: Reading,
    /// Its rate of change, Hz/s.
    pub drift_hz_per_s: Reading,
    /// Chance that it agrees with the carrier of the single pulses although each pulse
    /// starts anew, in step with a period as steady as a crystal.
    pub chance: f64,
}

/// What is known of the phases of a train.
#[derive(Clone, Debug, Default)]
pub(super) struct Phases {
    waiting: Vec<Point>,
    /// Of all pulses.
    times_s: Line,
    carrier: Pooled,
    /// That carrier minus that of the single pulses.
    apart_hz: Line,
    /// How far apart the answers of a block lie at least.
    spacing_hz: f64,
    /// Pulses in blocks, and in blocks whose phase runs on.
    seen: usize,
    running_on: usize,
}

impl Phases {
    /// Take in a pulse that nothing overlaps.
    pub(super) fn add(&mut self, pulse: &Pulse) {
        let squares = pulse.amplitude.iter().zip(&pulse.amplitude_noise);
        let sum: Complex64 = squares.filter(|(_, n)| **n > 0.0).map(|(a, n)| a * a / *n).sum();
        if sum.norm() > 0.0 {
            // var φ = 1 / 2ρ in the middle of the pulse, where it does not depend on the carrier.
            let at_s = 0.5 * (pulse.on_s + pulse.off_s);
            self.times_s.add(0.0, at_s, 1.0);
            let variance = 4.0 * (0.5 / pulse.energy_to_noise + SCATTER_RAD * SCATTER_RAD);
            self.waiting.push(Point {
                at_s,
                turn: sum / sum.norm(),
                weight: 1.0 / variance,
                offset_hz: pulse.offset_hz,
                u_offset_hz: pulse.u_offset_hz,
            });
        }
        if self.waiting.len() == BLOCK {
            self.settle();
        }
    }

    /// Begin anew, but for the times of the pulses.
    pub(super) fn forget(&mut self) {
        *self = Self { times_s: self.times_s, ..Self::default() };
    }

    /// What is waiting is a block of its own.
    pub(super) fn settle(&mut self) {
        let points = std::mem::take(&mut self.waiting);
        if points.len() < LEAST {
            return;
        }
        self.seen += points.len();
        if let Some(course) = Course::of(&points) {
            self.running_on += points.len();
            let (u_hz, spread) = (course.u_hz, course.u_hz.hypot(SCATTER_HZ));
            // Two points that carry mean and slope with their uncertainties.
            let root = std::f64::consts::SQRT_2;
            for apart_s in [-course.u_hz / course.u_hz_per_s, course.u_hz / course.u_hz_per_s] {
                let hz = course.hz + apart_s * course.hz_per_s;
                self.carrier.add(course.at_s + apart_s, hz, root * u_hz, root * spread);
            }
            let weight = 1.0 / (course.single.u * course.single.u);
            self.spacing_hz = spacing_hz(&points);
            self.apart_hz.add(course.at_s, course.hz - course.single.value, weight);
        }
    }

    /// Add what another train of the same unit tells.
    pub(super) fn absorb(&mut self, other: &Self) {
        self.settle();
        let mut other = other.clone();
        other.settle();
        self.times_s.merge(&other.times_s);
        self.carrier.merge(&other.carrier);
        self.apart_hz.merge(&other.apart_hz);
        self.spacing_hz = self.spacing_hz.max(other.spacing_hz);
        self.seen += other.seen;
        self.running_on += other.running_on;
    }

    /// Carrier and drift, if the phase runs on.
    pub(super) fn running_on(&self) -> Option<RunningOn> {
        let mut all = self.clone();
        all.settle();
        let most = all.running_on > 0 && all.running_on as f64 >= MOST * all.seen as f64;
        let agree = all.apart_hz.mean().abs() * all.apart_hz.weight().sqrt() < AGREE;
        // The blocks need not have their middle where all pulses have theirs.
        let (offset, drift) = (all.carrier.at(all.times_s.mean()), all.carrier.slope());
        let (spread, weight) = (all.carrier.line.spread(), all.carrier.line.weight());
        let span_s = (12.0 * spread / weight).sqrt();
        let placed_hz = PLACED_RAD / (std::f64::consts::TAU * span_s);
        let placed_hz_per_s = 12f64.sqrt() * placed_hz / span_s;
        (most && agree).then(|| RunningOn {
            offset_hz: Reading::new(offset.value, offset.u.hypot(placed_hz)),
            drift_hz_per_s: Reading::new(drift.value, drift.u.hypot(placed_hz_per_s)),
            chance: 2.0 * AGREE * all.apart_hz.weight().sqrt().recip() / all.spacing_hz,
        })
    }
}

/// The phases of a block as 2φ = 2φ₀ + 4π(f τ + ½ d τ²), τ from the mean time on.
struct Course {
    at_s: f64,
    hz: f64,
    hz_per_s: f64,
    u_hz: f64,
    u_hz_per_s: f64,
    /// Carrier of the single pulses.
    single: Reading,
}

/// 2φ in radians per cycle of τ·f.
const DOUBLED: f64 = 2.0 * std::f64::consts::TAU;

/// Carrier and drift of the single pulses, and what is looked through about them.
struct Range {
    hz: f64,
    hz_per_s: f64,
    u_hz: f64,
    u_hz_per_s: f64,
}

impl Course {
    fn of(points: &[Point]) -> Option<Self> {
        let weight: f64 = points.iter().map(|p| p.weight).sum();
        let at_s = points.iter().map(|p| p.weight * p.at_s).sum::<f64>() / weight;
        let mut single = Line::default();
        for p in points {
            single.add(p.at_s - at_s, p.offset_hz, 1.0 / (p.u_offset_hz * p.u_offset_hz));
        }
        let range = Range {
            hz: single.mean(),
            hz_per_s: single.slope(),
            u_hz: single.weight().sqrt().recip(),
            u_hz_per_s: single.spread().sqrt().recip(),
        };
        if RANGE * range.u_hz > CLEAR * spacing_hz(points) {
            return None;
        }
        let (hz, hz_per_s) = best(points, at_s, weight, &range)?;
        settled(points, at_s, hz, hz_per_s, Reading::new(range.hz, range.u_hz))
    }
}

/// Half the pulse rate: carriers so far apart turn 2φ alike from pulse to pulse.
fn spacing_hz(points: &[Point]) -> f64 {
    0.5 / points.windows(2).map(|p| p[1].at_s - p[0].at_s).fold(f64::MAX, f64::min)
}

/// The carrier and drift at which the phases come together, if they do.
fn best(points: &[Point], at_s: f64, weight: f64, range: &Range) -> Option<(f64, f64)> {
    let half_s = points.iter().map(|p| (p.at_s - at_s).abs()).fold(0.0, f64::max);
    // Half a step costs a sixth of a turn of 2π at the ends.
    let (step_hz, step_hz_per_s) = (1.0 / (12.0 * half_s), 1.0 / (6.0 * half_s * half_s));
    let steps = |u: f64, step: f64| (RANGE * u / step).ceil() as i32;
    let (in_hz, in_drift) = (steps(range.u_hz, step_hz), steps(range.u_hz_per_s, step_hz_per_s));
    let step: Vec<Complex64> =
        points.iter().map(|p| Complex64::cis(-DOUBLED * step_hz * (p.at_s - at_s))).collect();
    let mut best = (0.0, 0.0, 0.0);
    for j in -in_drift..=in_drift {
        let hz_per_s = range.hz_per_s + f64::from(j) * step_hz_per_s;
        let lowest_hz = range.hz - f64::from(in_hz) * step_hz;
        let turned = |p: &Point| {
            let s = p.at_s - at_s;
            let phase = DOUBLED * (lowest_hz + 0.5 * hz_per_s * s) * s;
            p.turn * Complex64::from_polar(p.weight, -phase)
        };
        let mut now: Vec<Complex64> = points.iter().map(turned).collect();
        for i in -in_hz..=in_hz {
            let power = now.iter().sum::<Complex64>().norm_sqr();
            if power > best.0 {
                best = (power, range.hz + f64::from(i) * step_hz, hz_per_s);
            }
            now.iter_mut().zip(&step).for_each(|(z, turn)| *z *= turn);
        }
    }
    let places = f64::from((2 * in_hz + 1) * (2 * in_drift + 1));
    let squares: f64 = points.iter().map(|p| p.weight * p.weight).sum();
    let (together, alone) = (best.0 / (weight * weight), squares / (weight * weight));
    (places * (-together / alone).exp() < CHANCE).then_some((best.1, best.2))
}

/// The same by least squares on the residual phases, with uncertainties.
fn settled(points: &[Point], at_s: f64, hz: f64, hz_per_s: f64, single: Reading) -> Option<Course> {
    let of = |p: &Point| {
        let s = p.at_s - at_s;
        Vector3::new(1.0, DOUBLED * s, 0.5 * DOUBLED * s * s)
    };
    let mut course = Vector3::new(0.0, hz, hz_per_s);
    let residual =
        |p: &Point, course: &Vector3<f64>| (p.turn * Complex64::cis(-of(p).dot(course))).arg();
    let mean: Complex64 =
        points.iter().map(|p| p.turn * Complex64::from_polar(p.weight, -of(p).dot(&course))).sum();
    course[0] = mean.arg();
    let information: Matrix3<f64> =
        points.iter().map(|p| of(p) * of(p).transpose() * p.weight).sum();
    let covariance = information.try_inverse()?;
    for _ in 0..4 {
        let score: Vector3<f64> =
            points.iter().map(|p| of(p) * (p.weight * residual(p, &course))).sum();
        course += covariance * score;
    }
    let left: Vec<f64> = points.iter().map(|p| p.weight.sqrt() * residual(p, &course)).collect();
    let n = points.len() as f64;
    let mean_weight = points.iter().map(|p| p.weight).sum::<f64>() / n;
    let (slow, rest) = slow_and_rest(&left);
    let white = (PRIOR + rest) / (PRIOR + n - 3.0 - SLOW.len() as f64);
    let share: f64 = SLOW.iter().map(|j| walk_share(*j)).sum();
    let walk = (slow - SLOW.len() as f64 * white).max(0.0) / (n * n * share);
    let walk = walk / mean_weight / (DOUBLED * DOUBLED);
    let span_s = points.last()?.at_s - points.first()?.at_s;
    let step_s = span_s / (n - 1.0);
    let u_hz = (white * covariance[(1, 1)] + 1.2 * walk / (span_s * step_s)).sqrt();
    let u_hz_per_s =
        (white * covariance[(2, 2)] + 120.0 / 7.0 * walk / (span_s.powi(3) * step_s)).sqrt();
    let agree = (course[1] - single.value).abs() < RANGE * single.u;
    agree.then_some(Course { at_s, hz: course[1], hz_per_s: course[2], u_hz, u_hz_per_s, single })
}

/// Degrees of the polynomials that a walk shows in first.
const SLOW: [usize; 3] = [3, 4, 5];

/// Variance of a unit random walk along the Legendre polynomial of degree j ≥ 1, of
/// unit length, over the square of the number of steps: ∫ (∫ p_j)² = 1 / 2(2j − 1)(2j + 3).
fn walk_share(j: usize) -> f64 {
    let j = j as f64;
    0.5 / ((2.0 * j - 1.0) * (2.0 * j + 3.0))
}

/// Squares of what lies along the slow polynomials over the numbers' order, and of the
/// rest; what a parabola takes has been taken out.
fn slow_and_rest(left: &[f64]) -> (f64, f64) {
    let n = left.len();
    let mut directions: Vec<Vec<f64>> = Vec::new();
    for degree in 0..=SLOW[SLOW.len() - 1] {
        let x = |i: usize| 2.0 * i as f64 / (n - 1) as f64 - 1.0;
        let mut next: Vec<f64> = (0..n).map(|i| x(i).powi(degree as i32)).collect();
        for lower in &directions {
            let along = dot(&next, lower);
            next.iter_mut().zip(lower).for_each(|(v, l)| *v -= along * l);
        }
        let length = dot(&next, &next).sqrt();
        next.iter_mut().for_each(|v| *v /= length);
        directions.push(next);
    }
    let slow: f64 = SLOW.iter().map(|j| dot(left, &directions[*j]).powi(2)).sum();
    (slow, (dot(left, left) - slow).max(0.0))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    /// A train of `count` pulses with phases φ(t) in cycles.
    fn train(seed: u64, count: usize, decibels: f64, cycles: &mut dyn FnMut(f64) -> f64) -> Phases {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let mut normal = move || -> f64 { StandardNormal.sample(&mut rng) };
        let rho = 10f64.powf(decibels / 10.0);
        let u_offset_hz = (6.0 / rho).sqrt() / (std::f64::consts::TAU * 0.09);
        let mut phases = Phases::default();
        for k in 0..count {
            let on_s = 0.3 + 0.97 * k as f64 + 1e-3 * normal();
            let at_s = on_s + 0.045;
            let h = [0.6, -0.3, 0.74].map(|h| h * if k % 5 == 0 { -1.0 } else { 1.0 });
            let turn = Complex64::cis(std::f64::consts::TAU * cycles(at_s));
            // E|error|² = 1/ρ of each entry for unit power.
            let each = (0.5 / rho).sqrt();
            let mut amplitude = h.map(|h| turn * h);
            for a in &mut amplitude {
                *a += Complex64::new(each * normal(), each * normal());
            }
            phases.add(&Pulse {
                id: k as u64,
                on_s,
                off_s: on_s + 0.09,
                u_edge_s: 1e-5,
                edge_s: [1e-3; 2],
                offset_hz: 20.0 + u_offset_hz * normal(),
                u_offset_hz,
                amplitude,
                amplitude_noise: [1.0 / rho; 3],
                energy_to_noise: rho,
                overlapped: false,
                shape: None,
            });
        }
        phases
    }

    /// Carrier and drift within what is stated, for white phases and for some that wander;
    /// the coil may have turned round now and then.
    #[test]
    fn a_phase_that_runs_on_tells_the_carrier() {
        for (decibels, walk_cycles) in [(22.0, 0.0), (30.0, 0.0), (40.0, 0.0), (40.0, 0.02)] {
            let (mut carrier, mut drift) = (0.0, 0.0);
            let (runs, mut known) = (200, 0);
            for seed in 0..runs {
                let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1000 + seed);
                let (mut wandered, start) = (0.0, rng.random::<f64>());
                let mut cycles = |t: f64| {
                    let normal: f64 = StandardNormal.sample(&mut rng);
                    wandered += walk_cycles * normal;
                    start + wandered + 20.0 * t + 0.5 * 1e-4 * (t - 75.0).powi(2)
                };
                let Some(found) = train(seed, 150, decibels, &mut cycles).running_on() else {
                    continue;
                };
                known += 1;
                // The drift is zero at 75 s, the middle of the pulses is some two seconds earlier.
                let middle_s = 0.3 + 0.97 * 74.5 + 0.045;
                let truth = 20.0 + 1e-4 * (middle_s - 75.0);
                carrier += ((found.offset_hz.value - truth) / found.offset_hz.u).powi(2);
                drift += ((found.drift_hz_per_s.value - 1e-4) / found.drift_hz_per_s.u).powi(2);
                assert!(found.offset_hz.u < 1e-3 + walk_cycles, "{}", found.offset_hz.u);
            }
            let root = |sum: f64| (sum / known as f64).sqrt();
            println!(
                "{decibels} dB, walk {walk_cycles}: {known} of {runs}, carrier {:.2} u, drift {:.2} u",
                root(carrier),
                root(drift)
            );
            assert!(known as f64 > 0.9 * runs as f64);
            // What three blocks tell of a walk has few degrees of freedom; strong pulses
            // are placed no better than their phases are by all but noise.
            let least = if decibels < 25.0 { 0.5 } else { 0.0 };
            let usual = least..if walk_cycles > 0.0 { 1.6 } else { 1.15 };
            assert!(usual.contains(&root(carrier)) && usual.contains(&root(drift)));
        }
    }

    #[test]
    fn phases_of_their_own_are_not_taken_for_a_course() {
        for seed in 0..300 {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5000 + seed);
            let decibels = 22.0 + (seed % 20) as f64;
            let phases = train(seed, 60, decibels, &mut |_| rng.random::<f64>());
            assert!(phases.running_on().is_none());
        }
    }

    /// A carrier pulled by 50 mHz while keyed has a phase that runs on, but not with the
    /// carrier of the pulses.
    #[test]
    fn a_carrier_that_differs_from_the_phases_is_not_overruled() {
        for seed in 0..20 {
            let phases = train(seed, 150, 34.0, &mut |t| 20.05 * t);
            assert!(phases.running_on().is_none());
        }
    }
}
