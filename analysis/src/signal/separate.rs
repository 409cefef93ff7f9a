//! Takes the bursts of a span apart, strongest first.
//!
//! Matching pursuit with joint refinement: the strongest burst is fitted and
//! taken out of the samples, then the next one is looked for in what is left;
//! whenever a new burst shares time with others, each of them is put back and
//! fitted again with the rest taken out (the relaxation of Li and Stoica, IEEE
//! Trans. Signal Processing 44 (1996) 281–295, with burst edges added to its
//! unknowns). Frequency, field direction and timing all help to tell two
//! bursts apart, because all of them are in the model.

use super::bank::{Bank, Candidate};
use super::fit::{Burst, Fitter, Guess};
use super::frontend::Frame;
use super::template::StepTemplate;

/// What a burst taken out of the span turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// A keyed burst with both edges in view.
    Pulse,
    /// Runs into the start or the end of the span.
    Open,
    /// Carrier that a keyed unit leaks between its pulses.
    Leak,
    /// What a strong burst's model left over, an impulse, or too weak.
    Residue,
}

/// A burst taken out of the span.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub burst: Burst,
    pub kind: Kind,
    pub overlapped: bool,
}

/// The span and the settings that a separation works with.
pub(super) struct Separation<'a> {
    pub span: &'a mut [Frame],
    pub bank: &'a mut Bank,
    pub noise: &'a [f64],
    pub template: &'a StepTemplate,
    pub rate_hz: f64,
    /// Statistic at which a candidate is looked at.
    pub trigger: f64,
    /// Energy over noise at which a burst counts as a pulse.
    pub detection: f64,
    /// Pulses taken out of the span before.
    pub taken: &'a [Burst],
    /// A burst with an edge closer than this to the start, or to the end, of the
    /// span has not shown the whole of it.
    pub margins: [f64; 2],
}

/// Bursts in one span; more than eight transmitters can key in two seconds.
const MOST_BURSTS: usize = 32;
/// Flaws of strong bursts taken out of one span: a bound on the work beside
/// pulses so strong that their model shows.
const MOST_FLAWS: usize = 8;
/// Shortest and longest length of a pulse.
const PULSE_S: std::ops::Range<f64> = 0.04..1.6;
/// Unsteadiness allowed to a pulse: sagging, chirp and ringing of real units,
const UNSTEADY: f64 = 0.5;
/// and, over ρ, the noise of four quarters (three degrees of freedom of 2/ρ
/// each exceed it with probability 10⁻³).
const UNSTEADY_NOISE: f64 = 32.0;
/// Power, relative to a stronger burst over the same time, below which a burst
/// is taken for what the other's model left over: −34 dB.
const LEFT_OVER: f64 = 4e-4;
/// The same where direction and both edges agree with the stronger one: −12 dB.
const LEFT_OVER_ALIKE: f64 = 0.06;
const TOUCHING_S: f64 = 0.02;

impl Separation<'_> {
    /// Take out all bursts above the trigger. The span is left without them.
    pub(super) fn run(mut self) -> Vec<Found> {
        let mut bursts: Vec<(Burst, bool)> = Vec::new();
        let mut flaws = 0;
        while let Some(candidate) = self.bank.strongest().filter(|c| c.statistic > self.trigger) {
            if bursts.len() == MOST_BURSTS {
                break;
            }
            let fitted = self.fitted(&candidate);
            let coherent = fitted.is_some();
            let burst = fitted.unwrap_or_else(|| self.as_found(&candidate));
            let mut touched = self.apply(&burst, -1.0);
            let flaw = bursts.iter().any(|(other, _)| is_left_over(&burst, other));
            bursts.push((burst, coherent));
            if flaw {
                flaws += 1;
                if flaws == MOST_FLAWS {
                    break;
                }
            } else if coherent {
                touched = self.relax(&mut bursts, touched);
            }
            self.bank.refresh(self.span, touched.clone());
            self.bank.search(touched, self.noise);
        }
        self.classify(bursts)
    }

    fn fitter(&self) -> Fitter<'_> {
        Fitter {
            span: self.span,
            noise: self.noise,
            template: self.template,
            rate_hz: self.rate_hz,
        }
    }

    fn apply(&mut self, burst: &Burst, sign: f64) -> std::ops::Range<usize> {
        burst.apply(self.span, self.noise.len(), self.template, sign)
    }

    /// Fit from a candidate, unless the fit wanders off to something else.
    fn fitted(&self, candidate: &Candidate) -> Option<Burst> {
        let on = candidate.first as f64;
        let off = on + candidate.length as f64;
        let burst = self.fitter().fit(Guess { on, off, omega: candidate.omega })?;
        let shared = burst.off.min(off) - burst.on.max(on);
        (shared > 0.5 * burst.length().min(off - on)).then_some(burst)
    }

    /// A candidate no fit exists for, as the coarse search saw it: taking it
    /// out lowers the statistic there, so that the search goes on elsewhere.
    fn as_found(&self, candidate: &Candidate) -> Burst {
        let (on, length) = (candidate.first as f64, candidate.length as f64);
        let middle = on + length / 2.0;
        let mut amplitude = [num_complex::Complex64::ZERO; 3];
        for n in candidate.first..(candidate.first + candidate.length).min(self.span.len()) {
            let turn =
                num_complex::Complex64::from_polar(1.0, -candidate.omega * (n as f64 - middle));
            amplitude.iter_mut().zip(&self.span[n]).for_each(|(a, z)| *a += z * turn / length);
        }
        Burst {
            on: on - 0.5,
            off: on + length - 0.5,
            widths: [0.0; 2],
            omega: candidate.omega,
            amplitude,
            plateau: length,
            energy_to_noise: candidate.statistic,
            u_edge: length,
            unsteadiness: f64::INFINITY,
        }
    }

    /// Fit again every burst that shares time with the newest one; `touched`
    /// samples become all that were changed.
    fn relax(
        &mut self,
        bursts: &mut [(Burst, bool)],
        mut touched: std::ops::Range<usize>,
    ) -> std::ops::Range<usize> {
        let newest = bursts.len() - 1;
        let mut together = vec![newest];
        together.extend(
            (0..newest).filter(|&i| bursts[i].1 && share_time(&bursts[i].0, &bursts[newest].0)),
        );
        if together.len() == 1 {
            return touched;
        }
        for _ in 0..3 {
            let mut moved: f64 = 0.0;
            for &i in &together {
                let before = bursts[i].0.clone();
                let first = self.apply(&before, 1.0);
                let guess = Guess { on: before.on, off: before.off, omega: before.omega };
                let again = self
                    .fitter()
                    .fit(guess)
                    .filter(|b| share_time(b, &before) && b.length() < 2.0 * before.length())
                    .unwrap_or_else(|| before.clone());
                let second = self.apply(&again, -1.0);
                moved = moved.max((again.on - before.on).abs()).max((again.off - before.off).abs());
                touched = touched.start.min(first.start).min(second.start)
                    ..touched.end.max(first.end).max(second.end);
                bursts[i].0 = again;
            }
            if moved < 0.1 {
                break;
            }
        }
        touched
    }

    fn classify(&self, bursts: Vec<(Burst, bool)>) -> Vec<Found> {
        let end = self.span.len() as f64 - self.margins[1];
        let all = || bursts.iter().map(|b| &b.0).chain(self.taken);
        let kind = |i: usize| {
            let (burst, coherent) = &bursts[i];
            let seconds = burst.length() / self.rate_hz;
            let left_over = all().any(|other| is_left_over(burst, other));
            if *coherent && all().any(|other| is_leak(burst, other, self.rate_hz)) {
                Kind::Leak
            } else if !coherent
                || left_over
                || burst.energy_to_noise < self.detection
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
        let kinds: Vec<Kind> = (0..bursts.len()).map(kind).collect();
        let overlapped = |i: usize| {
            let keyed = |j: &usize| *j != i && matches!(kinds[*j], Kind::Pulse | Kind::Open);
            let others = (0..bursts.len()).filter(keyed).map(|j| &bursts[j].0);
            others.chain(self.taken).any(|other| share_time(&bursts[i].0, other))
        };
        let overlaps: Vec<bool> = (0..bursts.len()).map(overlapped).collect();
        let all = bursts.into_iter().zip(kinds).zip(overlaps);
        all.map(|(((burst, _), kind), overlapped)| Found { burst, kind, overlapped }).collect()
    }
}

fn share_time(a: &Burst, b: &Burst) -> bool {
    a.on < b.off && b.on < a.off
}

/// Whether `weak` is no more than a flaw in the model of `strong`.
fn is_left_over(weak: &Burst, strong: &Burst) -> bool {
    let ratio = weak.density() / strong.density();
    let shared = weak.off.min(strong.off) - weak.on.max(strong.on);
    if shared < 0.2 * weak.length() || ratio >= LEFT_OVER_ALIKE {
        return false;
    }
    let edge = 0.1 * strong.length();
    let inside = weak.on > strong.on - edge && weak.off < strong.off + edge;
    let covers = inside && weak.length() > 0.8 * strong.length();
    ratio < LEFT_OVER || (covers && weak.parallel(strong))
}

/// Whether `weak` fills the time beside a pulse of the unit that sent `strong`:
/// on the same carrier, from the same direction, edge to edge with it.
fn is_leak(weak: &Burst, strong: &Burst, rate_hz: f64) -> bool {
    let touches =
        (weak.on - strong.off).abs().min((weak.off - strong.on).abs()) < TOUCHING_S * rate_hz;
    touches && weak.may_leak_from(strong, rate_hz)
}
