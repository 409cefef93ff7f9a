//! Makes sure of a train that [`super::faint`] has found, and how it goes on.
//!
//! The energies of all pulses, each summed coherently over itself, are added (the
//! periodogram average that Rife and Boorstyn's bound for incoherent pulses belongs
//! to) and the sum is searched over carrier, edges, period and first pulse, near
//! enough for [`super::together`] to go on from.

use num_complex::Complex64;

use super::burst::{over_noise, wide};
use super::faint::{EVIDENCE, evidence};
use super::frontend::Frame;

/// How far around its middle a pulse is looked at, s.
const REACH_S: f64 = 0.25;
/// Samples summed before the edges are looked for.
const PIECE: usize = 4;

/// What a train is taken for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Guess {
    /// Middle of the first pulse, in samples; the period.
    pub first: f64,
    pub period: f64,
    pub omega: f64,
    pub length: f64,
}

/// A train that is there, nearly as it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    pub train: Guess,
    pub slots: usize,
    pub evidence: f64,
}

/// The samples, and the noise power of one by axis.
pub(super) struct Stack<'a> {
    pub samples: &'a [Frame],
    pub noise: &'a [f64],
    pub rate_hz: f64,
}

/// Evidence that each half of the pulses must bring.
const HALF_EVIDENCE: f64 = 4.0;

type Sums = [Complex64; 3];

impl Stack<'_> {
    /// The train near `guess`; `None` if it is not there.
    pub(super) fn find(&self, guess: Guess) -> Option<Found> {
        let mut now = guess;
        for _ in 0..2 {
            now.omega =
                self.best(now, 8.0, 1.0, |g, hz| Guess { omega: g.omega + self.turn(hz), ..g });
            now = self.edges(now)?;
            let drift = 0.03 * self.rate_hz / self.slots(&now).max(2) as f64;
            let spread = |g: Guess, d: f64| {
                let slots = self.slots(&g) as f64;
                Guess { period: g.period + d, first: g.first - 0.5 * d * (slots - 1.0), ..g }
            };
            let d = self.best_of(now, drift, drift / 12.0, spread);
            now = spread(now, d);
        }
        now.omega =
            self.best(now, 2.0, 0.25, |g, hz| Guess { omega: g.omega + self.turn(hz), ..g });
        self.judged(now)
    }

    fn turn(&self, hz: f64) -> f64 {
        std::f64::consts::TAU * hz / self.rate_hz
    }

    fn best(&self, at: Guess, reach: f64, step: f64, change: impl Fn(Guess, f64) -> Guess) -> f64 {
        change(at, self.best_of(at, reach, step, &change)).omega
    }

    /// The change within `reach` that the energy is greatest for.
    fn best_of(
        &self,
        at: Guess,
        reach: f64,
        step: f64,
        change: impl Fn(Guess, f64) -> Guess,
    ) -> f64 {
        let count = (reach / step).round() as i32;
        let energy = |x: f64| self.energies(&change(at, x)).iter().sum::<f64>();
        let grid = (-count..=count).map(|i| f64::from(i) * step);
        let best = grid.map(|x| (x, energy(x))).max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((x, mid)) = best else { return 0.0 };
        let (low, high) = (energy(x - step), energy(x + step));
        let curvature = (low - 2.0 * mid + high).min(-1e-12);
        x + (0.5 * step * (low - high) / curvature).clamp(-step, step)
    }

    /// Pulses whose surroundings lie in the samples.
    fn slots(&self, guess: &Guess) -> usize {
        let end = self.samples.len() as f64 - 0.5 * guess.length - 1.0;
        if guess.first > end { 0 } else { ((end - guess.first) / guess.period) as usize + 1 }
    }

    fn middles(&self, guess: &Guess) -> impl Iterator<Item = f64> {
        let Guess { first, period, length, .. } = *guess;
        let inside = move |m: &f64| m - 0.5 * length >= 0.0;
        (0..self.slots(guess)).map(move |k| first + k as f64 * period).filter(inside)
    }

    /// Σ z e^(−jωn) over the samples from `from` to `to`.
    fn sum(&self, from: f64, to: f64, omega: f64) -> Sums {
        let first = from.round().max(0.0) as usize;
        let last = (to.round().max(0.0) as usize).min(self.samples.len());
        let turn = Complex64::from_polar(1.0, -omega);
        let mut phasor = Complex64::ONE;
        let mut sums = Sums::default();
        for frame in &self.samples[first.min(last)..last] {
            sums.iter_mut().zip(frame).for_each(|(s, z)| *s += wide(*z) * phasor);
            phasor *= turn;
        }
        sums
    }

    /// Energy over noise of each pulse.
    fn energies(&self, guess: &Guess) -> Vec<f64> {
        let half = 0.5 * guess.length;
        let of = |m: f64| {
            over_noise(&self.sum(m - half, m + half, guess.omega), self.noise) / guess.length
        };
        self.middles(guess).map(of).collect()
    }

    /// The edges that most energy lies between, less what noise brings.
    fn edges(&self, guess: Guess) -> Option<Guess> {
        let reach = (REACH_S * self.rate_hz).min(0.45 * guess.period);
        let pieces = 2 * (reach / PIECE as f64) as usize;
        let start = -0.5 * (pieces * PIECE) as f64;
        // For each pulse the running sum over its surroundings.
        let mut running: Vec<Vec<Sums>> = Vec::new();
        for middle in self.middles(&guess) {
            let from = middle + start;
            if from < 0.0 || from + (pieces * PIECE) as f64 > self.samples.len() as f64 {
                continue;
            }
            let mut sums = vec![Sums::default()];
            for p in 0..pieces {
                let at = from + (p * PIECE) as f64;
                let turn = Complex64::from_polar(1.0, -guess.omega * (p * PIECE) as f64);
                let piece = self.sum(at, at + PIECE as f64, guess.omega);
                let last = sums[p];
                sums.push(std::array::from_fn(|a| last[a] + piece[a] * turn));
            }
            running.push(sums);
        }
        if running.is_empty() {
            return None;
        }
        let score = |on: usize, off: usize| -> f64 {
            let length = ((off - on) * PIECE) as f64;
            let energy = |sums: &Vec<Sums>| {
                let between: Sums = std::array::from_fn(|a| sums[off][a] - sums[on][a]);
                over_noise(&between, self.noise) / length
            };
            running.iter().map(energy).sum()
        };
        let shortest = (0.04 * self.rate_hz) as usize / PIECE;
        let mut best = (f64::MIN, 0, 0);
        for on in (0..pieces - shortest).step_by(2) {
            for off in (on + shortest..=pieces).step_by(2) {
                let s = score(on, off);
                if s > best.0 {
                    best = (s, on, off);
                }
            }
        }
        for (d_on, d_off) in [(-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (1, 1)] {
            let at = |edge: usize, d: i64| (edge as i64 + d).clamp(0, pieces as i64) as usize;
            let (on, off) = (at(best.1, d_on), at(best.2, d_off));
            let s = if off > on + 2 { score(on, off) } else { f64::MIN };
            if s > best.0 {
                best = (s, on, off);
            }
        }
        let (on, off) = ((best.1 * PIECE) as f64 + start, (best.2 * PIECE) as f64 + start);
        Some(Guess { first: guess.first + 0.5 * (on + off), length: off - on, ..guess })
    }

    fn judged(&self, at: Guess) -> Option<Found> {
        let energies = self.energies(&at);
        let slots = energies.len();
        let total: f64 = energies.iter().sum();
        let seen =
            |part: &[f64]| evidence(part.iter().sum(), (self.noise.len() * part.len()) as f64);
        // What is only there for a while is something else.
        let mut halves = energies.chunks(slots.div_ceil(2).max(1));
        let all = seen(&energies);
        let sure = slots >= 4
            && all >= 0.5 * EVIDENCE
            && total > (self.noise.len() * slots) as f64
            && halves.all(|half| seen(half) > HALF_EVIDENCE);
        sure.then_some(Found { train: at, slots, evidence: all })
    }
}
