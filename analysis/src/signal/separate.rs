//! Takes the bursts of a view apart.
//!
//! The pulses that known trains expect are fitted first, all that overlap
//! jointly ([`Joint`]). Then matching pursuit: the strongest burst left is fitted
//! and taken out of the samples, and so on; whenever a new burst shares time
//! with others, the group is fitted jointly again. (Relaxing one burst after
//! the other, as Li and Stoica do in IEEE Trans. Signal Processing 44 (1996)
//! 281–295, quoted from memory, creeps where carriers are closer than the inverse of the pulse length.)

use std::ops::Range;

use num_complex::Complex64;

use super::bank::{Bank, Candidate};
use super::burst::{Burst, wide};
use super::fit::{Fitter, Guess};
use super::frontend::Frame;
use super::joint::Joint;
use super::shape::Shape;
use super::spectra::Spectra;
use super::template::StepTemplate;

/// What a burst taken out of the view turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// A keyed burst with both edges in view.
    Pulse,
    /// Runs into the start or the end of the view.
    Open,
    /// Carrier that a keyed unit leaks between its pulses.
    Leak,
    /// What a strong burst's model left over, an impulse, or too weak.
    Residue,
}

/// A burst taken out of the view.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub burst: Burst,
    pub kind: Kind,
    pub overlapped: bool,
    /// How it departs from a plain burst, where nothing else hides that.
    pub shape: Option<Box<Shape>>,
}

/// A burst at work.
struct Part {
    burst: Burst,
    /// A fit exists.
    coherent: bool,
    /// A train expects a pulse here.
    expected: bool,
    /// No more than what the model of another leaves over.
    flaw: bool,
}

/// Energies over noise at which the analysis takes notice.
pub(super) struct Limits {
    /// Of a spectrum's cell, for the bank to be asked.
    pub sign: f64,
    /// Of the bank's filter, for a fit.
    pub candidate: f64,
    /// Of a fitted burst, to be a pulse, and to be one where a train expects it.
    pub pulse: f64,
    pub expected: f64,
}

/// The view and the settings that a separation works with.
pub(super) struct Separation<'a> {
    pub view: &'a mut [Frame],
    pub bank: &'a mut Bank,
    pub spectra: &'a mut Spectra,
    /// Noise power per sample as measured, and as it counts in the search
    /// beside strong pulses.
    pub noise: [f64; 3],
    pub search_noise: [f64; 3],
    pub axes: usize,
    pub template: &'a StepTemplate,
    pub rate_hz: f64,
    pub limits: &'a Limits,
    /// Pulses taken out of the span before.
    pub taken: &'a [Burst],
    /// A burst with an edge closer than this to the start, or to the end, of the
    /// view has not shown the whole of it.
    pub margins: [f64; 2],
}

/// Bursts in one view; more than eight transmitters can key in two seconds.
const MOST_BURSTS: usize = 32;
/// Flaws of strong bursts taken out of one view: a bound on the work beside
/// pulses so strong that their model shows.
const MOST_FLAWS: usize = 8;
/// Bursts fitted jointly.
const MOST_JOINT: usize = 10;
/// Shortest and longest length of a pulse.
const PULSE_S: Range<f64> = 0.04..1.6;
/// Unsteadiness allowed to a pulse: sagging, chirp and ringing of real units,
const UNSTEADY: f64 = 0.5;
/// and, over ρ, the noise of four quarters (three degrees of freedom of 2/ρ
/// each exceed it with probability 10⁻³).
const UNSTEADY_NOISE: f64 = 32.0;
/// Power, relative to a stronger burst over the same time, below which a burst
/// is taken for what the other's model left over: −34 dB.
const LEFT_OVER: f64 = 4e-4;
/// The same where it lies within the stronger one and points as it does: −6 dB.
const LEFT_OVER_INSIDE: f64 = 0.25;
/// A joint fit that makes a burst this much stronger has set two against each other.
const MOST_GROWN: f64 = 20.0;
/// Energy that the form of an edge leaves over, of what the burst has in so many
/// samples: −30 dB.
const LEFT_AT_EDGE: f64 = 1e-3;
const EDGE_REACH: f64 = 8.0;
pub(super) const TOUCHING_S: f64 = 0.02;

impl Separation<'_> {
    /// Take out the `expected` bursts that are there, then all others above the
    /// limit. The view is left without them.
    pub(super) fn run(mut self, expected: Vec<Burst>) -> Vec<Found> {
        let mut parts = self.take_expected(expected);
        let greatest = self.spectra.greatest(self.view, &self.search_noise);
        if f64::from(greatest) > self.limits.sign {
            self.pursue(&mut parts);
        }
        self.classify(parts)
    }

    fn take_expected(&mut self, expected: Vec<Burst>) -> Vec<Part> {
        let mut parts: Vec<Part> = Vec::new();
        let mut waiting = expected;
        while let Some(first) = waiting.pop() {
            // All that hang together in time, through each other.
            let mut group = vec![first];
            let mut i = 0;
            while i < group.len() {
                let (near, rest): (Vec<Burst>, Vec<Burst>) =
                    waiting.into_iter().partition(|b| b.shares_time(&group[i]));
                group.extend(near);
                waiting = rest;
                i += 1;
            }
            parts.extend(self.expected_group(group).into_iter().map(|burst| Part {
                burst,
                coherent: true,
                expected: true,
                flaw: false,
            }));
        }
        for part in &parts {
            part.burst.apply(self.view, self.template, -1.0);
        }
        parts
    }

    /// Fit what is expected together, leaving out what is not there.
    fn expected_group(&self, mut group: Vec<Burst>) -> Vec<Burst> {
        loop {
            if group.is_empty() {
                return group;
            }
            if let [alone] = group.as_mut_slice() {
                self.joint().walk_edges(alone);
            }
            let Some(fitted) = self.joint().fit(&group) else {
                group.pop();
                continue;
            };
            let strayed = |i: &usize| {
                let (was, is): (&Burst, &Burst) = (&group[*i], &fitted[*i]);
                let edge = 8.0 + 3.0 * is.u_edge.min(20.0);
                (is.on - was.on).abs() > edge || (is.length() - was.length()).abs() > 2.0 * edge
            };
            // By the noise of its own amplitude: overlap makes a burst uncertain.
            let evidence = |b: &Burst| b.density() * b.plateau.min(b.length());
            let worst = (0..fitted.len())
                .filter(|i| evidence(&fitted[*i]) < self.limits.expected || strayed(i))
                .min_by(|a, b| evidence(&fitted[*a]).total_cmp(&evidence(&fitted[*b])));
            match worst {
                Some(i) => drop(group.remove(i)),
                None => return fitted,
            }
        }
    }

    fn pursue(&mut self, parts: &mut Vec<Part>) {
        let noise = self.search_noise;
        self.bank.load(self.view, &noise[..self.axes]);
        let mut flaws = 0;
        while let Some(candidate) =
            self.bank.strongest().filter(|c| c.statistic > self.limits.candidate)
        {
            if parts.len() == MOST_BURSTS {
                break;
            }
            let fitted = self.fitted(&candidate);
            let coherent = fitted.is_some();
            let burst = fitted.unwrap_or_else(|| self.as_found(&candidate));
            let mut touched = burst.apply(self.view, self.template, -1.0);
            let flaw = parts.iter().any(|other| is_left_over(&burst, &other.burst));
            parts.push(Part { burst, coherent, expected: false, flaw });
            if flaw {
                flaws += 1;
                if flaws == MOST_FLAWS {
                    break;
                }
            } else if coherent {
                touched = self.fit_together(parts, touched);
            }
            self.bank.refresh(self.view, touched, &noise[..self.axes]);
        }
    }

    fn joint(&self) -> Joint<'_> {
        Joint { samples: self.view, noise: &self.noise[..self.axes], template: self.template }
    }

    /// Fit from a candidate, unless the fit wanders off to something else.
    fn fitted(&self, candidate: &Candidate) -> Option<Burst> {
        let on = candidate.first as f64;
        let off = on + candidate.length as f64;
        let fitter = Fitter {
            span: self.view,
            noise: &self.noise[..self.axes],
            template: self.template,
            rate_hz: self.rate_hz,
        };
        let burst = fitter.fit(Guess { on, off, omega: candidate.omega })?;
        let shared = burst.off.min(off) - burst.on.max(on);
        (shared > 0.5 * burst.length().min(off - on)).then_some(burst)
    }

    /// A candidate no fit exists for, as the coarse search saw it: taking it
    /// out lowers the statistic there, so that the search goes on elsewhere.
    fn as_found(&self, candidate: &Candidate) -> Burst {
        let (on, length) = (candidate.first as f64, candidate.length as f64);
        let middle = on + length / 2.0;
        let mut amplitude = [Complex64::ZERO; 3];
        for n in candidate.first..(candidate.first + candidate.length).min(self.view.len()) {
            let turn = Complex64::from_polar(1.0 / length, -candidate.omega * (n as f64 - middle));
            amplitude.iter_mut().zip(&self.view[n]).for_each(|(a, z)| *a += wide(*z) * turn);
        }
        Burst {
            amplitude,
            plateau: length,
            energy_to_noise: candidate.statistic,
            u_edge: length,
            u_omega: std::f64::consts::PI / length,
            unsteadiness: f64::INFINITY,
            ..Burst::guess(on - 0.5, on + length - 0.5, [0.0; 2], candidate.omega)
        }
    }

    /// Fit the newest burst again together with all that share time with it;
    /// `touched` samples become all that were changed.
    fn fit_together(&mut self, parts: &mut [Part], touched: Range<usize>) -> Range<usize> {
        let newest = parts.len() - 1;
        let mut together = vec![newest];
        together.extend((0..newest).filter(|&i| {
            let part = &parts[i];
            part.coherent && !part.flaw && part.burst.shares_time(&parts[newest].burst)
        }));
        together.truncate(MOST_JOINT);
        let join = |a: Range<usize>, b: Range<usize>| a.start.min(b.start)..a.end.max(b.end);
        let mut touched = touched;
        for &i in &together {
            touched = join(touched, parts[i].burst.apply(self.view, self.template, 1.0));
        }
        let before: Vec<Burst> = together.iter().map(|i| parts[*i].burst.clone()).collect();
        let sane = |now: &[Burst]| {
            now.iter().zip(&before).all(|(a, b)| {
                a.shares_time(b)
                    && a.length() < 2.0 * b.length()
                    && a.density() < MOST_GROWN * b.density()
            })
        };
        let after = self.joint().fit(&before).filter(|now| sane(now)).unwrap_or(before);
        for (i, burst) in together.into_iter().zip(after) {
            touched = join(touched, burst.apply(self.view, self.template, -1.0));
            parts[i].burst = burst;
        }
        touched
    }

    fn classify(&self, parts: Vec<Part>) -> Vec<Found> {
        let end = self.view.len() as f64 - self.margins[1];
        let all = || parts.iter().map(|p| &p.burst).chain(self.taken);
        let kind = |part: &Part| {
            let burst = &part.burst;
            let seconds = burst.length() / self.rate_hz;
            let left_over = !part.expected && all().any(|other| is_left_over(burst, other));
            let least = if part.expected { self.limits.expected } else { self.limits.pulse };
            if part.coherent && all().any(|other| is_leak(burst, other, self.rate_hz)) {
                Kind::Leak
            } else if !part.coherent
                || left_over
                || burst.energy_to_noise < least
                || seconds < PULSE_S.start
                || burst.unsteadiness > UNSTEADY + UNSTEADY_NOISE / burst.energy_to_noise
            {
                Kind::Residue
            } else if burst.on < self.margins[0] || burst.off > end || seconds > PULSE_S.end {
                Kind::Open
            } else {
                Kind::Pulse
            }
        };
        let kinds: Vec<Kind> = parts.iter().map(kind).collect();
        let overlapped = |i: usize| {
            let keyed = |j: &usize| *j != i && matches!(kinds[*j], Kind::Pulse | Kind::Open);
            let others = (0..parts.len()).filter(keyed).map(|j| &parts[j].burst);
            others.chain(self.taken).any(|other| parts[i].burst.shares_time(other))
        };
        let overlaps: Vec<bool> = (0..parts.len()).map(overlapped).collect();
        let all = parts.into_iter().zip(kinds).zip(overlaps);
        all.map(|((part, kind), overlapped)| Found {
            burst: part.burst,
            kind,
            overlapped,
            shape: None,
        })
        .collect()
    }
}

/// Whether `weak` is no more than a flaw in the model of `strong`. A weaker unit that
/// happens to lie there once is found by its other pulses.
fn is_left_over(weak: &Burst, strong: &Burst) -> bool {
    let ratio = weak.density() / strong.density();
    let shared = weak.off.min(strong.off) - weak.on.max(strong.on);
    let of_edges = weak.touches_edge_of(strong, EDGE_REACH)
        && weak.energy_to_noise < LEFT_AT_EDGE * strong.density() * EDGE_REACH
        && weak.parallel(strong);
    let throughout = ratio < LEFT_OVER || (ratio < LEFT_OVER_INSIDE && weak.is_flaw_of(strong));
    of_edges || (shared >= 0.2 * weak.length() && throughout)
}

/// Whether `weak` fills the time beside a pulse of the unit that sent `strong`:
/// on the same carrier, from the same direction, edge to edge with it.
fn is_leak(weak: &Burst, strong: &Burst, rate_hz: f64) -> bool {
    let touches =
        (weak.on - strong.off).abs().min((weak.off - strong.on).abs()) < TOUCHING_S * rate_hz;
    touches && weak.may_leak_from(strong, rate_hz)
}
