//! Measures one burst: carrier, amplitude vector, edges.
//!
//! Alternating least squares on the samples around a first guess:
//!
//! 1. the carrier maximises the power of the demodulated sum over the burst,
//!    weighted by the noise of each axis (the maximum-likelihood estimate of a
//!    tone in noise, Rife and Boorstyn 1974, with several channels),
//! 2. the amplitude vector is the mean over the plateau,
//! 3. the demodulated samples, projected on that vector, give a real envelope
//!    between 0 and 1 with white noise; each edge is the step that fits it best.
//!
//! Each round may move the edges outward, so that a long burst found by a part
//! of it grows to its full length.

use num_complex::Complex64;

use super::burst::{Burst, over_noise, wide};
use super::frontend::Frame;
use super::template::StepTemplate;

/// Where to begin.
#[derive(Clone, Copy, Debug)]
pub(super) struct Guess {
    /// Edges, in samples from the start of the span.
    pub on: f64,
    pub off: f64,
    /// Radians per sample.
    pub omega: f64,
}

/// Fits bursts in one span.
pub(super) struct Fitter<'a> {
    pub span: &'a [Frame],
    /// Noise power per sample, one entry an axis.
    pub noise: &'a [f64],
    pub template: &'a StepTemplate,
    /// Working samples per second.
    pub rate_hz: f64,
}

/// How far an edge may lie outside the guess: this plus a share of the length.
const MARGIN_S: f64 = 0.024;
/// Left out at each end of the plateau, besides the edge itself.
const INSET_S: f64 = 0.003;
/// Ramp assumed where noise hides the edge's own.
const BLURRED_S: f64 = 0.002;
/// The longest ramp that is fitted.
pub(super) const LONGEST_EDGE_S: f64 = 0.016;
const ROUNDS: usize = 9;
/// Edges that move by less of a sample have settled; they are placed anew at the
/// fine rate.
const SETTLED: f64 = 0.05;

impl Fitter<'_> {
    /// `None` when nothing coherent remains.
    pub(super) fn fit(&self, guess: Guess) -> Option<Burst> {
        let Guess { mut on, mut off, mut omega } = guess;
        let mut widths = [0.0; 2];
        for round in 0..ROUNDS {
            omega = self.carrier(on, off, omega)?;
            let (amplitude, plateau) = self.plateau(on, off, widths, omega)?;
            let envelope = Envelope::new(self, on, off, omega, &amplitude);
            if envelope.power == 0.0 {
                return None;
            }
            let reach = MARGIN_S * self.rate_hz + 0.6 * (off - on);
            let (new_on, new_off) = envelope.coarse_edges(on, off, reach)?;
            widths = envelope.widths(new_on, new_off);
            let fine_on = envelope.fine_edge(new_on, widths[0], Edge::Rising);
            let fine_off = envelope.fine_edge(new_off, widths[1], Edge::Falling);
            let moved = (fine_on - on).abs().max((fine_off - off).abs());
            (on, off) = (fine_on, fine_off);
            if off - on < 8.0 {
                return None;
            }
            if (moved < SETTLED && round > 0) || round == ROUNDS - 1 {
                let slope = envelope.slope_energy(on, widths[0]);
                let energy_to_noise = envelope.power * (off - on);
                return Some(Burst {
                    on,
                    off,
                    widths,
                    seen_widths: widths,
                    omega,
                    amplitude,
                    plateau,
                    energy_to_noise,
                    u_edge: (envelope.variance() / slope).sqrt(),
                    u_omega: (6.0 / energy_to_noise).sqrt() / (off - on),
                    unsteadiness: envelope.unsteadiness(on, off),
                    shape: None,
                });
            }
        }
        None
    }

    fn within(&self, on: f64, off: f64) -> (usize, usize) {
        let first = on.ceil().max(0.0) as usize;
        let last = (off.floor().max(0.0) as usize).min(self.span.len());
        (first.min(last), last)
    }

    /// Refine the angular frequency: sums over short pieces at the guess, then
    /// Newton steps on the power of their coherent total.
    fn carrier(&self, on: f64, off: f64, omega: f64) -> Option<f64> {
        let (first, last) = self.within(on, off);
        let length = last - first;
        if length < 8 {
            return None;
        }
        let mut omega = omega;
        for _ in 0..2 {
            let pieces = self.pieces(first, last, omega);
            let centre = (pieces.len() as f64 - 1.0) / 2.0;
            let piece = length as f64 / pieces.len() as f64;
            let power = |delta: f64| -> f64 {
                let turn = Complex64::from_polar(1.0, -delta * piece);
                let mut phasor = Complex64::from_polar(1.0, delta * piece * centre);
                let mut total = [Complex64::ZERO; 3];
                for sum in &pieces {
                    total.iter_mut().zip(sum).for_each(|(t, z)| *t += z * phasor);
                    phasor *= turn;
                }
                self.weighted(&total)
            };
            omega += peak(power, std::f64::consts::PI / length as f64);
        }
        Some(omega)
    }

    fn pieces(&self, first: usize, last: usize, omega: f64) -> Vec<[Complex64; 3]> {
        let count = ((last - first) / 8).clamp(4, 32);
        let mut pieces = vec![[Complex64::ZERO; 3]; count];
        let turn = Complex64::from_polar(1.0, -omega);
        let mut phasor = Complex64::ONE;
        for (i, frame) in self.span[first..last].iter().enumerate() {
            let piece = &mut pieces[i * count / (last - first)];
            piece.iter_mut().zip(frame).for_each(|(s, z)| *s += wide(*z) * phasor);
            phasor *= turn;
        }
        pieces
    }

    fn weighted(&self, amplitude: &[Complex64; 3]) -> f64 {
        over_noise(amplitude, self.noise)
    }

    /// Mean amplitude over the part of the burst where it is fully on, with
    /// the phase taken at the middle; and the number of samples in it.
    fn plateau(
        &self,
        on: f64,
        off: f64,
        widths: [f64; 2],
        omega: f64,
    ) -> Option<([Complex64; 3], f64)> {
        let inset = (INSET_S * self.rate_hz).min(0.15 * (off - on));
        let settle = |w: f64| (0.75 * w + inset).min(0.3 * (off - on));
        let (first, last) = self.within(on + settle(widths[0]), off - settle(widths[1]));
        if last == first {
            return None;
        }
        let turn = Complex64::from_polar(1.0, -omega);
        let mut phasor = Complex64::from_polar(1.0, -omega * (first as f64 - 0.5 * (on + off)));
        let mut sum = [Complex64::ZERO; 3];
        for frame in &self.span[first..last] {
            sum.iter_mut().zip(frame).for_each(|(s, z)| *s += wide(*z) * phasor);
            phasor *= turn;
        }
        let count = (last - first) as f64;
        Some((sum.map(|s| s / count), count))
    }
}

/// Position of the maximum of a single-peaked function near zero: bracket on
/// a grid of `spacing`, then parabolas through three ever closer points.
fn peak(f: impl Fn(f64) -> f64, spacing: f64) -> f64 {
    let grid = (-6..=6).map(|i| f64::from(i) * spacing / 2.0);
    let mut at = grid.map(|x| (x, f(x))).max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |m| m.0);
    let mut step = spacing / 2.0;
    for _ in 0..6 {
        let (low, mid, high) = (f(at - step), f(at), f(at + step));
        let curvature = low - 2.0 * mid + high;
        if curvature < 0.0 {
            at += (0.5 * step * (low - high) / curvature).clamp(-step, step);
        }
        step *= 0.3;
    }
    at
}

#[derive(Clone, Copy, PartialEq)]
enum Edge {
    Rising,
    Falling,
}

/// The burst's real envelope, 1 on the plateau, from `first` on.
struct Envelope<'a> {
    fitter: &'a Fitter<'a>,
    first: usize,
    values: Vec<f64>,
    /// Squared amplitude over noise power per sample.
    power: f64,
}

impl<'a> Envelope<'a> {
    fn new(
        fitter: &'a Fitter<'a>,
        on: f64,
        off: f64,
        omega: f64,
        amplitude: &[Complex64; 3],
    ) -> Self {
        let power = fitter.weighted(amplitude);
        let beyond = 2.0 * (MARGIN_S + LONGEST_EDGE_S) * fitter.rate_hz + 0.6 * (off - on);
        let (first, last) = fitter.within(on - beyond, off + beyond);
        let onto: Vec<Complex64> =
            amplitude.iter().zip(fitter.noise).map(|(a, n)| a.conj() / (n * power)).collect();
        let turn = Complex64::from_polar(1.0, -omega);
        let mut phasor = Complex64::from_polar(1.0, -omega * (first as f64 - 0.5 * (on + off)));
        let mut values = Vec::with_capacity(last - first);
        for frame in &fitter.span[first..last] {
            let along: Complex64 = frame.iter().zip(&onto).map(|(z, a)| wide(*z) * a).sum();
            values.push((along * phasor).re);
            phasor *= turn;
        }
        Self { fitter, first, values, power }
    }

    /// Noise variance of each value.
    fn variance(&self) -> f64 {
        0.5 / self.power
    }

    fn at(&self, n: usize) -> Option<f64> {
        n.checked_sub(self.first).and_then(|i| self.values.get(i)).copied()
    }

    /// The sharp step that fits best on each side: the place that maximises
    /// the sum of (value − 1/2) inside.
    fn coarse_edges(&self, on: f64, off: f64, reach: f64) -> Option<(f64, f64)> {
        let middle = (0.5 * (on + off)).round() as usize;
        let walk = |indices: &mut dyn Iterator<Item = usize>| {
            let (mut sum, mut best, mut place) = (0.0, f64::NEG_INFINITY, None);
            for n in indices {
                let Some(value) = self.at(n) else { break };
                sum += value - 0.5;
                if sum > best {
                    (best, place) = (sum, Some(n));
                }
            }
            place
        };
        let low = (on - reach).max(0.0) as usize;
        let high = (off + reach).ceil() as usize;
        let rising = walk(&mut (low..middle).rev())?;
        let falling = walk(&mut (middle..high))?;
        Some((rising as f64 - 0.5, falling as f64 + 0.5))
    }

    /// Duration of each edge before filtering, as a linear ramp: for one,
    /// ∫ y(1 − y) is a sixth of its width. Noise lowers the sum by its variance.
    fn widths(&self, on: f64, off: f64) -> [f64; 2] {
        let rate = self.fitter.rate_hz;
        let half = (LONGEST_EDGE_S * rate).min(0.4 * (off - on)).round();
        let own = self.fitter.template.own_overlap();
        let spread = 6.0 * (self.variance() * 2.0 * half).sqrt();
        let blurred = BLURRED_S * rate;
        [on, off].map(|edge| {
            if spread > blurred {
                return blurred;
            }
            let around = (edge - half).max(0.0).ceil() as usize..(edge + half) as usize;
            let overlap: f64 =
                around.filter_map(|n| self.at(n)).map(|y| y * (1.0 - y) + self.variance()).sum();
            // Below the spread the sharp template is as good and does not jitter.
            let width = 6.0 * (overlap - own);
            if width < 2.0 * spread { 0.0 } else { width.min(LONGEST_EDGE_S * rate) }
        })
    }

    /// Gauss–Newton on the position of one edge.
    fn fine_edge(&self, coarse: f64, width: f64, edge: Edge) -> f64 {
        let template = self.fitter.template;
        let half = template.reach().min(6.0) + width;
        let mut place = coarse;
        for _ in 0..6 {
            let around = (place - half).max(0.0).ceil() as usize..(place + half).max(0.0) as usize;
            let (mut gradient, mut energy) = (0.0, 0.0);
            for (n, value) in around.filter_map(|n| Some((n, self.at(n)?))) {
                let time = n as f64 - place;
                let slope = template.slope(time, width);
                let rising = if edge == Edge::Rising { value } else { 1.0 - value };
                gradient += (template.edge(time, width) - rising) * slope;
                energy += slope * slope;
            }
            if energy == 0.0 {
                break;
            }
            let step = (gradient / energy).clamp(-1.0, 1.0);
            place = (place + step).clamp(coarse - half, coarse + half);
            if step.abs() < 1e-4 {
                break;
            }
        }
        place
    }

    /// Σ (ds/dt)² of one edge at the working samples.
    fn slope_energy(&self, place: f64, width: f64) -> f64 {
        let template = self.fitter.template;
        let half = (template.reach() + width).ceil() as i64;
        let fraction = place - place.floor();
        (-half..=half).map(|n| template.slope(n as f64 - fraction, width).powi(2)).sum()
    }

    fn unsteadiness(&self, on: f64, off: f64) -> f64 {
        let (first, last) = self.fitter.within(on, off);
        let quarter = ((last - first) / 4).max(1);
        let deviation = |q: usize| {
            let part = first + q * quarter..first + (q + 1) * quarter;
            part.filter_map(|n| self.at(n)).sum::<f64>() / quarter as f64 - 1.0
        };
        (0..4).map(|q| deviation(q).powi(2)).sum()
    }
}
