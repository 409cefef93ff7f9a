//! How a unit's pulses depart from plain bursts: sag, chirp at key-on.
//!
//! The complex envelope of a pulse over that of a plain burst between the same
//! edges, in equal parts of the time on. A single pulse shows little of it; the
//! mean over a train is what its next pulses are expected to look like, and what
//! sag and chirp are reported from. A carrier whose phase φ bends as −γ exp(−t/τ)
//! after key-on has a frequency that settles as γ/(2πτ) exp(−t/τ).

use nalgebra::{Matrix3, Vector3};
use num_complex::Complex64;

use super::burst::{Burst, along, over_noise, wide};
use super::frontend::Frame;
use super::template::StepTemplate;
use crate::reading::Reading;

/// Equal parts of the time on.
const PARTS: usize = 24;
/// Those that edges of any form do not reach.
const INNER: std::ops::Range<usize> = 2..PARTS - 2;
/// Standard deviations by which a mean stands out from a plain burst.
const CLEAR: f64 = 6.0;
/// Pulses from which on a mean is believed.
const LEAST_PULSES: usize = 4;
/// Weight of the pulses that were taken for plain.
const FIRST_GUESS: f64 = 0.02;
/// Time constants that a chirp may have, s, and how many are tried.
const SETTLING_S: [f64; 2] = [1e-3, 40e-3];
const SETTLINGS: usize = 40;
/// The time after key-on that a chirp is reported for.
const KEY_ON_S: f64 = 0.01;
/// χ² that a chirp must take off the phases, and the least bend of them, radians.
const CHIRP_EVIDENCE: f64 = 40.0;
const LEAST_BEND: f64 = 0.02;
/// Time constants whose χ² is greater by no more may be the true one.
const AS_GOOD: f64 = 1.0;

/// Share of a chirp that its exponential course leaves undefined.
const DEFINED: f64 = 0.1;

/// Complex envelope by part, 1 throughout for a plain burst.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Shape([Complex64; PARTS]);

/// A carrier that settles after key-on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chirp {
    /// Mean frequency in the first 10 ms over the settled one, Hz.
    pub key_on_hz: Reading,
    /// Settled frequency over that of a plain burst fitted to the pulse, Hz.
    pub settled_hz: Reading,
    pub settling_s: f64,
}

impl Shape {
    /// What `burst`, taken out of `samples`, leaves along itself, with the `flaws`
    /// that were taken out beside it put back; times in samples of `samples`.
    pub(super) fn seen(
        burst: &Burst,
        flaws: &[&Burst],
        samples: &[Frame],
        noise: &[f64],
        template: &StepTemplate,
    ) -> Option<Box<Self>> {
        let (first, last) = (burst.on.ceil().max(0.0), burst.off.floor());
        if last >= samples.len() as f64 || burst.length() < PARTS as f64 {
            return None;
        }
        let first = first as usize;
        let mut view = samples[first..=last as usize].to_vec();
        for flaw in flaws {
            flaw.moved(-(first as f64)).apply(&mut view, template, 1.0);
        }
        let power = over_noise(&burst.amplitude, noise);
        let (mut sums, mut weights) = ([Complex64::ZERO; PARTS], [0.0; PARTS]);
        for (i, frame) in view.iter().enumerate() {
            let time = (first + i) as f64;
            let part = (burst.progress(time) * PARTS as f64) as usize;
            let envelope = template.pulse(time, burst.on, burst.off, burst.widths);
            let turn = Complex64::from_polar(1.0, -burst.omega * (time - burst.middle()));
            let left = along(&burst.amplitude, &frame.map(wide), noise) * turn / power;
            sums[part.min(PARTS - 1)] += envelope * (envelope * burst.bend(time) + left);
            weights[part.min(PARTS - 1)] += envelope * envelope;
        }
        let complete = weights.iter().all(|w| *w > 0.0);
        complete.then(|| Box::new(Self(std::array::from_fn(|k| sums[k] / weights[k]))))
    }

    /// Envelope at `place`, 0 at the rising edge, 1 at the falling one.
    pub(super) fn at(&self, place: f64) -> Complex64 {
        let x = (place * PARTS as f64 - 0.5).clamp(0.0, (PARTS - 1) as f64);
        let k = (x as usize).min(PARTS - 2);
        self.0[k] + (self.0[k + 1] - self.0[k]) * (x - k as f64)
    }

    /// The level that an edge at `place` rises to: sag without what the edges do.
    pub(super) fn level(&self, place: f64) -> Complex64 {
        let (mean, fall) = self.sag();
        let phase = self.at(place).arg();
        Complex64::from_polar((mean - fall * (place - 0.5)).max(0.1), phase)
    }

    /// Mean magnitude and its fall from one edge to the other, by a straight line
    /// between the edges' own parts.
    fn sag(&self) -> (f64, f64) {
        let mean = INNER.map(|k| self.0[k].norm()).sum::<f64>() / INNER.len() as f64;
        let slope: f64 = INNER.map(|k| aside(k) * self.0[k].norm()).sum();
        (mean, -slope / INNER.map(|k| aside(k).powi(2)).sum::<f64>())
    }

    /// With mean 1 and no turn from one end to the other, as amplitude and carrier
    /// of a burst have them.
    fn normalised(mut self) -> Self {
        let mean = INNER.map(|k| self.0[k]).sum::<Complex64>() / INNER.len() as f64;
        self.0.iter_mut().for_each(|p| *p /= mean);
        let turn: f64 = (0..PARTS).map(|k| aside(k) * self.0[k].im).sum();
        let turn = turn / (0..PARTS).map(|k| aside(k).powi(2)).sum::<f64>();
        let back = |k: usize| Complex64::from_polar(1.0, -turn * aside(k));
        self.0.iter_mut().enumerate().for_each(|(k, p)| *p *= back(k));
        self
    }

    /// What straight lines must run between for these to be the means of the parts.
    /// At the ends the magnitude is that of the sag alone: an edge out of its place
    /// would explain itself by what it does to the parts there.
    fn as_nodes(&self) -> Self {
        let (mean, fall) = self.sag();
        Self(std::array::from_fn(|k| {
            let around = self.0[k.saturating_sub(1)] + self.0[(k + 1).min(PARTS - 1)];
            let node = self.0[k] - (around - 2.0 * self.0[k]) / 8.0;
            if INNER.contains(&k) {
                node
            } else {
                Complex64::from_polar((mean - fall * aside(k)).max(0.1), node.arg())
            }
        }))
    }
}

/// Place of a part from the middle of the pulse, in times on.
fn aside(k: usize) -> f64 {
    (k as f64 + 0.5) / PARTS as f64 - 0.5
}

/// Sums over the pulses of a train.
#[derive(Clone, Debug)]
pub(super) struct Shapes {
    count: usize,
    /// Weighted by the pulses' energy over noise.
    sum: [Complex64; PARTS],
    energy: f64,
}

impl Default for Shapes {
    fn default() -> Self {
        Self { count: 0, sum: [Complex64::ZERO; PARTS], energy: 0.0 }
    }
}

impl Shapes {
    pub(super) fn add(&mut self, shape: &Shape, energy: f64) {
        self.count += 1;
        self.energy += energy;
        self.sum.iter_mut().zip(shape.0).for_each(|(s, p)| *s += energy * p);
    }

    /// Let what is there so far count little beside what is to come.
    pub(super) fn discount(&mut self) {
        self.energy *= FIRST_GUESS;
        self.sum.iter_mut().for_each(|s| *s *= FIRST_GUESS);
    }

    pub(super) fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.energy += other.energy;
        self.sum.iter_mut().zip(other.sum).for_each(|(s, p)| *s += p);
    }

    /// What the next pulses will look like, if not plain.
    pub(super) fn model(&self) -> Option<Shape> {
        self.mean().map(|mean| mean.as_nodes())
    }

    /// The mean, if it stands out from a plain burst.
    fn mean(&self) -> Option<Shape> {
        if self.count < LEAST_PULSES {
            return None;
        }
        let mean = Shape(self.sum.map(|s| s / self.energy)).normalised();
        // |error|² of a part has mean PARTS / energy and is exponentially distributed.
        // Edges of any form leave the phase alone.
        let seen = |k: usize| {
            let off = mean.0[k] - 1.0;
            if INNER.contains(&k) { off.norm_sqr() } else { 2.0 * off.im * off.im }
        };
        let excess: f64 = (0..PARTS).map(seen).sum();
        let parts = PARTS as f64;
        (excess * self.energy / parts > parts + CLEAR * parts.sqrt()).then_some(mean)
    }

    /// Share of the amplitude lost from the start to the end of a pulse.
    pub(super) fn sag(&self) -> Option<Reading> {
        let (mean, fall) = self.mean()?.sag();
        let variance = PARTS as f64 / (2.0 * self.energy);
        let u = (variance / INNER.map(|k| aside(k).powi(2)).sum::<f64>()).sqrt();
        let sag = Reading::new(fall / (mean + 0.5 * fall), u);
        (sag.value.abs() > CLEAR * sag.u).then_some(sag)
    }

    /// The chirp of pulses that are on for `on_time_s`, if there is one.
    pub(super) fn chirp(&self, on_time_s: f64) -> Option<Chirp> {
        let mean = self.mean()?;
        let phases = mean.0.map(|p| p.arg());
        // In the first and the last one the edge has its part.
        let parts = || phases.iter().enumerate().skip(1).take(PARTS - 2);
        let weight = 2.0 * self.energy / PARTS as f64;
        let part_s = on_time_s / PARTS as f64;
        let bent = |k: usize, tau: f64| {
            // −exp(−t/τ), mean over the part.
            let (from, to) = (k as f64 * part_s, (k + 1) as f64 * part_s);
            -tau * ((-from / tau).exp() - (-to / tau).exp()) / part_s
        };
        let straight = |k: usize| (k as f64 + 0.5) * part_s;
        let fit = |tau: Option<f64>| {
            let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
            let row = |k: usize| Vector3::new(1.0, straight(k), tau.map_or(0.0, |t| bent(k, t)));
            for (k, phase) in parts() {
                normal += weight * row(k) * row(k).transpose();
                right += weight * row(k) * *phase;
            }
            if tau.is_none() {
                normal[(2, 2)] = 1.0;
            }
            let inverse = normal.try_inverse()?;
            let found = inverse * right;
            let left = |(k, phase): (usize, &f64)| weight * (phase - row(k).dot(&found)).powi(2);
            Some((parts().map(left).sum::<f64>(), found, inverse))
        };
        let plain = fit(None)?.0;
        let ratio = (SETTLING_S[1] / SETTLING_S[0]).ln() / (SETTLINGS - 1) as f64;
        let fits: Vec<_> = (0..SETTLINGS)
            .map(|i| SETTLING_S[0] * (ratio * i as f64).exp())
            .filter(|tau| *tau < 0.4 * on_time_s)
            .filter_map(|tau| fit(Some(tau)).map(|f| (tau, f)))
            .collect();
        let best = fits.iter().min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
        let (settling_s, (chi_squared, found, _)) = *best;
        if plain - chi_squared < CHIRP_EVIDENCE || found[2].abs() < LEAST_BEND {
            return None;
        }
        let turns = std::f64::consts::TAU;
        let of = |(tau, (_, found, inverse)): &(f64, (f64, Vector3<f64>, Matrix3<f64>))| {
            let share = (1.0 - (-KEY_ON_S / tau).exp()) / (turns * KEY_ON_S);
            let key_on = Reading::new(found[2] * share, inverse[(2, 2)].sqrt() * share);
            (key_on, Reading::new(found[1] / turns, inverse[(1, 1)].sqrt() / turns))
        };
        // What the phases leave over says how well such a course fits at all.
        let scale = (chi_squared / (PARTS as f64 - 6.0)).max(1.0);
        let as_good = fits.iter().filter(|f| f.1.0 - chi_squared <= AS_GOOD * scale);
        let (mut key_on_hz, mut settled_hz) = of(best);
        let (at_best, settled_at_best) = (key_on_hz.value, settled_hz.value);
        let (mut apart, mut settled_apart) = (0.0f64, 0.0f64);
        for (key_on, settled) in as_good.map(of) {
            apart = apart.max((key_on.value - at_best).abs());
            settled_apart = settled_apart.max((settled.value - settled_at_best).abs());
        }
        key_on_hz.u = (key_on_hz.u * scale.sqrt()).hypot(apart);
        settled_hz.u = (settled_hz.u * scale.sqrt()).hypot(settled_apart);
        // A real carrier does not settle quite like that.
        key_on_hz.u = key_on_hz.u.hypot(DEFINED * key_on_hz.value);
        settled_hz.u = settled_hz.u.hypot(0.1 * DEFINED * key_on_hz.value);
        Some(Chirp { key_on_hz, settled_hz, settling_s })
    }
}
