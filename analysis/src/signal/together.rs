//! Measures a train by all its pulses at once, from a course that is nearly right.
//!
//! The pulses share carrier, length, edges and an even pace; each has an
//! amplitude vector of its own, for their phases are not linked. The likelihood,
//! amplitudes eliminated pulse by pulse as in [`super::joint`], is maximised over
//! what is shared. A single pulse of 15 dB has lost a few samples of its edges to
//! the noise, and its carrier with them; together they keep to the bound of Rife and
//! Boorstyn for pulses of unknown phase.
//!
//! Amplitudes fitted to noise bring power of their own into the information: it is
//! (ρ + axes) / ρ of the true one for an energy ρ over noise. That is what the scores
//! scatter by, but not what the likelihood bends by; so the covariance is the inverse of
//! twice the information, divided by the true share squared.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use num_complex::{Complex32, Complex64};

use super::burst::{Burst, narrow, over_noise};
use super::frontend::Frame;
use super::joint::{CHANGE_POINT, Joint};
use super::template::StepTemplate;

const STEPS: usize = 20;
/// Moves of an edge, in samples, and of the carrier's phase over a pulse, in
/// radians, below which the fit has settled.
const SETTLED: f64 = 0.01;
/// The longest step, in the same.
const LONGEST_STEP: f64 = 2.0;
/// How far the edges may lie from where the course has them, in samples.
const WALK: i32 = 24;
/// Samples around a pulse that the fit may look at.
pub(super) const AROUND: f64 = 32.0;
/// Mean square of the single pulses' shifts against the pace, over that of noise,
/// from which on they do not keep it.
const UNEVEN: f64 = 3.0;

/// How a train goes on: samples, and radians per sample.
#[derive(Clone, Copy, Debug)]
pub(super) struct Course {
    /// Rising edge of pulse number 0, and the period.
    pub on: f64,
    pub period: f64,
    pub length: f64,
    /// Carrier of pulse number 0, and its change from pulse to pulse.
    pub omega: f64,
    pub drift: f64,
    /// Duration of the edges as linear ramps.
    pub widths: [f64; 2],
}

impl Course {
    pub(super) fn burst(&self, number: f64) -> Burst {
        let on = self.on + number * self.period;
        Burst::guess(on, on + self.length, self.widths, self.omega + number * self.drift)
    }
}

/// The samples around one pulse, `first` the number of the first of them.
pub(super) struct Slot {
    pub number: f64,
    pub first: f64,
    pub samples: Vec<Frame>,
}

/// Pulses to be measured together.
pub(super) struct Together<'a> {
    pub slots: &'a [Slot],
    /// Noise power per sample, one entry an axis.
    pub noise: &'a [f64],
    pub template: &'a StepTemplate,
}

/// What they have in common.
pub(super) struct Fitted {
    pub course: Course,
    /// Mean number of the pulses: the place of `course` is known best there.
    pub middle: f64,
    /// Of the rising edge at the middle, the period, the length, the carrier at the
    /// middle and its drift.
    pub u: [f64; SHARED],
    /// Whether the single pulses keep the pace.
    pub is_even: bool,
    /// Energy over noise of each pulse, noise included.
    pub energies: Vec<f64>,
    /// Mean over the pulses of Re(a aᴴ) less its noise.
    pub vectors: Matrix3<f64>,
    /// Mean noise power of one pulse's amplitude, by axis.
    pub amplitude_noise: [f64; 3],
}

/// Parameters: rising edge of the middle pulse, period, length, carrier of the middle
/// pulse, its drift.
const SHARED: usize = 5;

/// Sums over the pulses at one course.
struct Scores {
    gradient: SVector<f64, SHARED>,
    information: SMatrix<f64, SHARED, SHARED>,
    /// Sum of the energies over noise.
    energy: f64,
    /// Mean of (shift of a pulse)² over its variance.
    uneven: f64,
}

/// Sums over the samples of a slot up to each of them, its carrier turned to rest,
/// and where in them the pulse begins.
fn running_sums(slot: &Slot, course: &Course) -> (usize, Vec<[Complex32; 3]>) {
    let burst = course.burst(slot.number).moved(-slot.first);
    let turn = Complex64::from_polar(1.0, -burst.omega);
    let mut phasor = Complex64::ONE;
    let mut sum = [Complex32::ZERO; 3];
    let mut sums = vec![sum];
    for frame in &slot.samples {
        sum.iter_mut().zip(frame).for_each(|(s, z)| *s += z * narrow(phasor));
        phasor *= turn;
        sums.push(sum);
    }
    // Sample n stands for the time from n − 1/2 to n + 1/2.
    ((burst.on + 0.5).round() as usize, sums)
}

impl Together<'_> {
    /// `None` when the pulses do not determine it.
    pub(super) fn fit(&self, course: Course) -> Option<Fitted> {
        let count = self.slots.len() as f64;
        let middle = self.slots.iter().map(|s| s.number).sum::<f64>() / count;
        let mut now = self.with_edges(course);
        let mut scores = self.scores(&now, middle)?;
        let mut damping = 1e-3;
        for _ in 0..STEPS {
            let mut damped = scores.information * self.own_share(&scores);
            for i in 0..SHARED {
                damped[(i, i)] *= 1.0 + damping;
            }
            let step = damped.cholesky()?.solve(&scores.gradient);
            let spread = self.slots.iter().map(|s| (s.number - middle).abs()).fold(0.0, f64::max);
            let (turn, scales) = (now.length, now.length * spread);
            let moves = SVector::from([1.0, spread, 1.0, turn, scales]).component_mul(&step);
            let step = step * (LONGEST_STEP / moves.amax()).min(1.0);
            let next = Course {
                on: now.on + step[0] - middle * step[1],
                period: now.period + step[1],
                length: now.length + step[2],
                omega: now.omega + step[3] - middle * step[4],
                drift: now.drift + step[4],
                ..now
            };
            match self.scores(&next, middle).filter(|new| new.energy >= scores.energy) {
                Some(better) => {
                    (now, scores) = (next, better);
                    damping = (damping * 0.1f64).max(1e-6);
                }
                None => damping *= 20.0,
            }
            if moves.amax() < SETTLED || damping > 1e4 {
                break;
            }
        }
        self.judged(now, middle, &scores)
    }

    /// The course with its edges where most energy lies between, to a sample: steps of
    /// the fit see no further than an edge's width.
    fn with_edges(&self, course: Course) -> Course {
        let running: Vec<(usize, Vec<[Complex32; 3]>)> =
            self.slots.iter().map(|slot| running_sums(slot, &course)).collect();
        let length = course.length.round() as i32;
        let noise: Vec<f32> = self.noise.iter().map(|n| *n as f32).collect();
        let energy = |on: i32, off: i32| -> f32 {
            let of = |(origin, sums): &(usize, Vec<[Complex32; 3]>)| {
                let at = |edge: i32| {
                    sums[(*origin as i32 + edge).clamp(0, sums.len() as i32 - 1) as usize]
                };
                let (from, to) = (at(on), at(length + off));
                let axis = |(a, n): (usize, &f32)| (to[a] - from[a]).norm_sqr() / n;
                noise.iter().enumerate().map(axis).sum::<f32>()
            };
            running.iter().map(of).sum::<f32>() / (length + off - on) as f32
        };
        let shortest = (length / 2).max(2);
        let mut best = (f32::MIN, 0, 0);
        for on in -WALK..=WALK {
            for off in (-WALK).max(shortest - length + on)..=WALK {
                let sum = energy(on, off);
                if sum > best.0 {
                    best = (sum, on, off);
                }
            }
        }
        let (on, off) = (f64::from(best.1), f64::from(best.2));
        Course { on: course.on + on, length: f64::from(length) + off - on, ..course }
    }

    /// Energy over noise of each pulse as `course` has it, noise included.
    pub(super) fn energies(&self, course: &Course) -> Vec<f64> {
        let energy = |slot: &Slot| {
            let burst = course.burst(slot.number).moved(-slot.first);
            self.joint(slot).score(burst).map_or(0.0, |s| s.energy)
        };
        self.slots.iter().map(energy).collect()
    }

    /// Share of the information that the pulses themselves bring, not the noise
    /// in their amplitudes.
    fn own_share(&self, scores: &Scores) -> f64 {
        let noise = (self.noise.len() * self.slots.len()) as f64;
        ((scores.energy - noise) / scores.energy).max(0.2)
    }

    fn joint<'a>(&'a self, slot: &'a Slot) -> Joint<'a> {
        Joint { samples: &slot.samples, noise: self.noise, template: self.template }
    }

    fn scores(&self, course: &Course, middle: f64) -> Option<Scores> {
        let mut sums = Scores {
            gradient: SVector::zeros(),
            information: SMatrix::zeros(),
            energy: 0.0,
            uneven: 0.0,
        };
        for slot in self.slots {
            let one = self.joint(slot).score(course.burst(slot.number).moved(-slot.first))?;
            let x = slot.number - middle;
            // How on edge, off edge and carrier change with what is shared.
            let shares = SMatrix::<f64, 3, SHARED>::from_row_slice(&[
                1.0, x, 0.0, 0.0, 0.0, //
                1.0, x, 1.0, 0.0, 0.0, //
                0.0, 0.0, 0.0, 1.0, x,
            ]);
            sums.gradient += shares.transpose() * one.gradient;
            sums.information += shares.transpose() * one.information * shares;
            sums.energy += one.energy;
            let shift = Vector3::new(1.0, 1.0, 0.0);
            let known = 0.5 * shift.dot(&(one.information * shift));
            sums.uneven += shift.dot(&one.gradient).powi(2) / known.max(f64::MIN_POSITIVE);
        }
        sums.uneven /= self.slots.len() as f64;
        Some(sums)
    }

    fn judged(&self, course: Course, middle: f64, scores: &Scores) -> Option<Fitted> {
        let share = self.own_share(scores);
        let covariance = scores.information.try_inverse()? / (2.0 * share * share);
        let mean_power = scores.energy * share / course.length;
        let mut u: [f64; SHARED] = std::array::from_fn(|i| covariance[(i, i)].max(0.0).sqrt());
        // See the single burst's: an edge in noise is a change point, the further off now
        // and then the less all pulses together say in a sample.
        let far = (1.0 + 1.0 / mean_power) / (share * share);
        let change_point = CHANGE_POINT / mean_power * far;
        u[0] = u[0].hypot(change_point);
        u[2] = u[2].hypot(change_point * std::f64::consts::SQRT_2);
        let (mut vectors, mut amplitude_noise) = (Matrix3::zeros(), [0.0; 3]);
        let mut energies = Vec::new();
        let count = self.slots.len() as f64;
        for slot in self.slots {
            let burst = course.burst(slot.number).moved(-slot.first);
            let burst = self.joint(slot).measured(burst)?;
            let a = burst.amplitude;
            vectors += Matrix3::from_fn(|i, j| (a[i] * a[j].conj()).re) / count;
            for (axis, noise) in self.noise.iter().enumerate() {
                vectors[(axis, axis)] -= noise / burst.plateau / count;
                amplitude_noise[axis] += noise / burst.plateau / count;
            }
            energies.push(over_noise(&a, self.noise) * burst.plateau);
        }
        Some(Fitted {
            course,
            middle,
            u,
            is_even: scores.uneven < UNEVEN,
            energies,
            vectors,
            amplitude_noise,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{noise, template};
    use super::*;

    /// Sixteen pulses of 15 dB, begun some samples and hertz off: the errors are what is
    /// stated, and the carrier's that of the bound (Rife and Boorstyn 1974).
    #[test]
    fn weak_pulses_reach_the_bound_together() {
        let template = template();
        let truth = Course {
            on: 40.4,
            period: 1003.2,
            length: 90.5,
            omega: 0.21,
            drift: 1e-4,
            widths: [2.0; 2],
        };
        let (runs, count) = (400, 16);
        let (mut in_u, mut over_bound) = ([0.0; 5], 0.0);
        for seed in 0..runs {
            let slots: Vec<Slot> = (0..count)
                .map(|k| {
                    let number = k as f64;
                    let first = (truth.on + number * truth.period).floor() - 40.0;
                    let mut samples = noise(172, 1000 * seed + k);
                    let mut burst = truth.burst(number).moved(-first);
                    let turn = Complex64::from_polar((31.6f64 / 90.5).sqrt(), 1.7 * number);
                    burst.amplitude = [0.8, -0.5, 0.33].map(|v| turn * v);
                    burst.apply(&mut samples, &template, 1.0);
                    Slot { number, first, samples }
                })
                .collect();
            let together = Together { slots: &slots, noise: &[1.0; 3], template: &template };
            let begin = Course {
                on: truth.on + 7.0,
                length: truth.length - 12.0,
                omega: truth.omega + 0.02,
                drift: 0.0,
                period: truth.period + 0.1,
                ..truth
            };
            let fitted = together.fit(begin).unwrap();
            assert!(fitted.is_even);
            let (is, at) = (fitted.course, fitted.middle);
            let errors = [
                is.on - truth.on + at * (is.period - truth.period),
                is.period - truth.period,
                is.length - truth.length,
                is.omega - truth.omega + at * (is.drift - truth.drift),
                is.drift - truth.drift,
            ];
            let scaled = errors.iter().zip(fitted.u).map(|(e, u)| (e / u).powi(2));
            in_u.iter_mut().zip(scaled).for_each(|(sum, e)| *sum += e);
            let bound = (6.0 / (31.6 * f64::from(count as u32))).sqrt() / truth.length;
            over_bound += (errors[3] / bound).powi(2);
        }
        let root = |sum: f64| (sum / runs as f64).sqrt();
        println!("in u {:.2?}, carrier over the bound {:.2}", in_u.map(root), root(over_bound));
        assert!(in_u.iter().all(|s| (0.85..1.15).contains(&root(*s))));
        assert!(root(over_bound) < 1.2);
    }
}
