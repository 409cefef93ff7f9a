//! Follows steady carriers and takes them out: interference, direct current of
//! the receiver, carrier that units leak between their pulses.
//!
//! A carrier is steady when its cell of the short-time spectra is above the
//! noise in most windows of two seconds, and its phase runs on through them.
//! It is then followed by a second-order phase-locked loop of some 0.8 Hz
//! bandwidth that rests while pulses are on.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::{Complex32, Complex64};
use rustfft::FftPlanner;

use super::burst::{Burst, along, narrow, over_noise, wide};
use super::frontend::Frame;

/// Power over noise of a cell that counts as present: noise on three axes
/// exceeds it once in eight times.
const PRESENT: f32 = 5.0;
/// Share of the windows in which it must be.
const MOST_WINDOWS: f64 = 0.7;
/// The same while pulses are still in the samples.
const NEARLY_ALL: f64 = 0.9;
/// Pieces with more than this times the median power, or less than one over it, have
/// pulses in them.
const DISTURBED: f64 = 8.0;
/// Rounds in which the pieces that agree are chosen, and the square of how many times
/// the usual disagreement one of them may show.
const TRIMMINGS: usize = 4;
const OUTLYING: f64 = 9.0;
/// Eighths of the resolution that a frequency measured with pulses in may be off.
const REACH_STEPS: i32 = 12;
/// Least power of the mean over the mean power of the pieces, noise deducted: a
/// third where three equal carriers beat, a tenth for a keyed one.
const COHERENT: f64 = 0.3;
const MOST_CARRIERS: usize = 8;
/// Frequencies kept for the report.
const MOST_PAST: usize = 64;
/// A burst cancels a carrier when this share of its power is left of both.
const CANCELS: f64 = 0.25;
/// Radians over a hop within which two carriers are not told apart (0.5 Hz).
const SAME_HOPS: f64 = 0.1;
/// Rounds in which close carriers are measured in turn.
const RELAXATIONS: usize = 6;
/// Share of the error taken over from one hop.
const GAIN: f64 = 0.15;
/// Amplitude over its own uncertainty, squared, below which a carrier is gone.
const GONE: f64 = 4.0;

/// A steady carrier as it is at the end of the span.
struct Carrier {
    omega: f64,
    amplitude: [Complex64; 3],
    /// e^(jφ) at the next sample.
    phase: Complex64,
    heard: Heard,
}

/// How long a carrier was followed, and where.
#[derive(Clone, Copy, Default)]
struct Heard {
    omega_sum: f64,
    hops: f64,
}

impl Heard {
    fn add(&mut self, omega: f64) {
        self.omega_sum += omega;
        self.hops += 1.0;
    }

    fn omega(&self) -> f64 {
        self.omega_sum / self.hops
    }
}

/// The carriers of the past, those of one frequency as one.
#[derive(Default)]
struct Past(Vec<Heard>);

impl Past {
    fn take(&mut self, heard: &Heard, hop: f64) {
        if heard.hops == 0.0 {
            return;
        }
        let same = |h: &&mut Heard| (h.omega() - heard.omega()).abs() < SAME_HOPS / hop;
        if let Some(h) = self.0.iter_mut().find(same) {
            h.omega_sum += heard.omega_sum;
            h.hops += heard.hops;
        } else if self.0.len() < MOST_PAST {
            self.0.push(*heard);
        }
    }
}

impl Carrier {
    fn new(omega: f64, amplitude: [Complex64; 3], phase: Complex64) -> Self {
        Self { omega, amplitude, phase, heard: Heard::default() }
    }

    /// Add the carrier `sign` times to the frames that follow on its phase.
    fn run(&mut self, frames: &mut [Frame], sign: f64) {
        let turn = Complex64::from_polar(1.0, self.omega);
        for frame in frames {
            add(frame, &self.amplitude, self.phase * sign);
            self.phase *= turn;
        }
        self.phase /= self.phase.norm();
    }
}

/// A steady carrier for the report.
#[derive(Clone, Debug, PartialEq)]
pub struct SteadyCarrier {
    /// Its frequency, corrected for the receiver's clock, Hz.
    pub carrier_hz: f64,
    /// How long it was followed, s.
    pub heard_s: f64,
}

/// All steady carriers of a stretch.
#[derive(Default)]
pub(super) struct Steady {
    carriers: Vec<Carrier>,
    past: Past,
}

impl Steady {
    /// Samples are missing: phases are not known any more.
    pub(super) fn lose(&mut self, hop: usize) {
        for carrier in self.carriers.drain(..) {
            self.past.take(&carrier.heard, hop as f64);
        }
    }

    /// Take the carriers out of the samples that follow on the last ones.
    pub(super) fn take_out(&mut self, frames: &mut [Frame]) {
        for carrier in &mut self.carriers {
            carrier.run(frames, -1.0);
        }
    }

    /// Learn from the samples `learn` of `span`, from which the carriers have been
    /// taken out and in which no pulse is on; what follows on them is corrected.
    pub(super) fn follow(&mut self, span: &mut [Frame], learn: Range<usize>, noise: &[f64]) {
        let count = learn.len() as f64;
        for carrier in &mut self.carriers {
            let turn = Complex64::from_polar(1.0, carrier.omega);
            let since = (span.len() - learn.start) as f64;
            let mut phasor = carrier.phase * Complex64::from_polar(1.0, -carrier.omega * since);
            let mut error = [Complex64::ZERO; 3];
            for frame in &span[learn.clone()] {
                let conj = phasor.conj() / count;
                error.iter_mut().zip(frame).for_each(|(e, z)| *e += wide(*z) * conj);
                phasor *= turn;
            }
            let power = over_noise(&carrier.amplitude, noise);
            let late = (Complex64::ONE + along(&carrier.amplitude, &error, noise) / power).arg();
            carrier.omega += 0.25 * GAIN * GAIN * late / count;
            let change = error.map(|e| e * GAIN);
            carrier.amplitude.iter_mut().zip(&change).for_each(|(a, c)| *a += c);
            for frame in &mut span[learn.end..] {
                add(frame, &change, -phasor);
                phasor *= turn;
            }
            carrier.heard.add(carrier.omega);
        }
        // Power of the amplitude over its noise after the loop's averaging.
        let strong = |c: &Carrier| {
            over_noise(&c.amplitude, noise) * count * 2.0 / GAIN > GONE * noise.len() as f64
        };
        let all = std::mem::take(&mut self.carriers);
        let (stay, gone): (Vec<Carrier>, Vec<Carrier>) = all.into_iter().partition(strong);
        self.carriers = stay;
        gone.iter().for_each(|carrier| self.past.take(&carrier.heard, count));
    }

    /// `burst` has been on for longer than any pulse: follow it. The span ends
    /// where the burst was seen last.
    pub(super) fn begin(&mut self, burst: &Burst, span: &mut [Frame], hop: usize) {
        let near = SAME_HOPS / hop as f64;
        let known = self.carriers.iter().any(|c| (c.omega - burst.omega).abs() < near);
        if known || self.carriers.len() == MOST_CARRIERS {
            return;
        }
        let first = (burst.on.max(0.0) as usize).min(span.len());
        let since = first as f64 - burst.middle();
        let phase = Complex64::from_polar(1.0, burst.omega * since);
        let mut carrier = Carrier::new(burst.omega, burst.amplitude, phase);
        carrier.run(&mut span[first..], -1.0);
        self.carriers.push(carrier);
    }

    /// Whether `burst` is what is left of a carrier that has stopped while it was
    /// still being taken out; then the carrier is over, and the span right again.
    pub(super) fn end(&mut self, burst: &Burst, span: &mut [Frame], hop: usize) -> bool {
        let near = SAME_HOPS / hop as f64;
        let length = span.len();
        let stopped = self.carriers.iter().position(|c| {
            let turn = Complex64::from_polar(1.0, -c.omega * (length as f64 - burst.middle()));
            let here = c.amplitude.map(|a| a * c.phase * turn);
            let left = here.iter().zip(&burst.amplitude).map(|(h, b)| (h + b).norm_sqr());
            let power: f64 = here.iter().map(|h| h.norm_sqr()).sum();
            (c.omega - burst.omega).abs() < near && left.sum::<f64>() < CANCELS * power
        });
        let Some(i) = stopped else { return false };
        let mut carrier = self.carriers.remove(i);
        self.past.take(&carrier.heard, hop as f64);
        let first = (burst.on.max(0.0) as usize).min(length);
        carrier.phase *= Complex64::from_polar(1.0, -carrier.omega * (length - first) as f64);
        carrier.run(&mut span[first..], 1.0);
        true
    }

    /// Look for a new one in the last samples, given the spectra of all windows
    /// in them; take it out. `hop` is the distance of the windows.
    pub(super) fn find<'a>(
        &mut self,
        span: &mut [Frame],
        windows: impl Iterator<Item = &'a [f32]>,
        omega_of: impl Fn(usize) -> f64,
        hop: usize,
        noise: &[f64],
        pulses_in: bool,
    ) -> bool {
        if self.carriers.len() == MOST_CARRIERS {
            return false;
        }
        // Next to one that is followed, what is left is the loop's to learn.
        let near = SAME_HOPS / hop as f64;
        let apart = |omega: f64| self.carriers.iter().all(|c| (c.omega - omega).abs() > near);
        let share = if pulses_in { NEARLY_ALL } else { MOST_WINDOWS };
        let Some(cell) = most_present(windows, share, |k| apart(omega_of(k))) else { return false };
        let reach = std::f64::consts::TAU / (3.0 * hop as f64);
        let measured = measured(span, omega_of(cell), reach, hop, noise);
        let Some((omega, amplitude)) = measured.filter(|m| apart(m.0)) else { return false };
        let mut carrier = Carrier::new(omega, amplitude, Complex64::ONE);
        carrier.run(span, -1.0);
        self.carriers.push(carrier);
        true
    }

    /// Greatest power that they have on one axis together.
    pub(super) fn power(&self) -> f64 {
        let on = |axis: usize| self.carriers.iter().map(|c| c.amplitude[axis].norm()).sum::<f64>();
        (0..3).map(|axis| on(axis).powi(2)).fold(0.0, f64::max)
    }

    /// Measure each carrier again with the others taken out, as often as it takes
    /// for close ones to come apart (Li and Stoica, IEEE Trans. Signal Processing
    /// 44 (1996) 281–295, quoted from memory).
    pub(super) fn relax(&mut self, span: &mut [Frame], hop: usize, noise: &[f64]) {
        let count = self.carriers.len();
        let rounds = if count > 1 { RELAXATIONS } else { 0 };
        for i in (0..rounds).flat_map(|_| 0..count) {
            let carrier = &mut self.carriers[i];
            let back = -carrier.omega * span.len() as f64;
            carrier.phase *= Complex64::from_polar(1.0, back);
            let start = carrier.phase;
            carrier.run(span, 1.0);
            let reach = 0.5 * SAME_HOPS / hop as f64;
            match measured(span, carrier.omega, reach, hop, noise) {
                Some((omega, amplitude)) => {
                    (carrier.omega, carrier.amplitude) = (omega, amplitude);
                    carrier.phase = Complex64::ONE;
                }
                None => carrier.phase = start,
            }
            carrier.run(span, -1.0);
        }
    }

    /// The carriers as bursts that fill a span of `length` samples.
    pub(super) fn as_bursts(&self, length: usize, noise: &[f64]) -> Vec<Burst> {
        let as_burst = |c: &Carrier| {
            let middle = length as f64 / 2.0;
            let turn = c.phase * Complex64::from_polar(1.0, -c.omega * middle);
            Burst {
                amplitude: c.amplitude.map(|a| a * turn),
                energy_to_noise: over_noise(&c.amplitude, noise) * length as f64,
                ..Burst::guess(0.0, length as f64, [0.0; 2], c.omega)
            }
        };
        self.carriers.iter().map(as_burst).collect()
    }

    /// Offset from 457 kHz by the receiver's own clock, Hz, and time heard, s, of
    /// all that has been followed.
    pub(super) fn heard(&self, hop: usize, rate_hz: f64) -> Vec<(f64, f64)> {
        let mut all = Past(self.past.0.clone());
        self.carriers.iter().for_each(|c| all.take(&c.heard, hop as f64));
        let told = |h: &Heard| (h.omega() * rate_hz / TAU, h.hops * hop as f64 / rate_hz);
        all.0.iter().map(told).collect()
    }
}

fn add(frame: &mut Frame, amplitude: &[Complex64; 3], factor: Complex64) {
    frame.iter_mut().zip(amplitude).for_each(|(z, a)| *z += narrow(a * factor));
}

/// The strongest of the cells that are above the noise nearly always.
fn most_present<'a>(
    windows: impl Iterator<Item = &'a [f32]>,
    share: f64,
    allowed: impl Fn(usize) -> bool,
) -> Option<usize> {
    let (mut counts, mut sums, mut total) = (Vec::new(), Vec::new(), 0usize);
    for cells in windows {
        counts.resize(cells.len(), 0.0f32);
        sums.resize(cells.len(), 0.0f32);
        for ((count, sum), &p) in counts.iter_mut().zip(&mut sums).zip(cells) {
            *count += if p > PRESENT { 1.0 } else { 0.0 };
            // Of the magnitude, so that pulses do not outshine it.
            *sum += p.sqrt();
        }
        total += 1;
    }
    let often = (share * total as f64) as f32;
    let best = (0..counts.len()).filter(|k| counts[*k] > often && allowed(*k));
    best.max_by(|a, b| sums[*a].total_cmp(&sums[*b])).filter(|_| total >= 16)
}

/// Frequency and amplitude of the steady carrier within `reach` of `near`, its
/// phase that at the first sample; `None` if there is nothing coherent.
fn measured(
    span: &[Frame],
    near: f64,
    reach: f64,
    hop: usize,
    noise: &[f64],
) -> Option<(f64, [Complex64; 3])> {
    let over_noise = |a: &[Complex64; 3]| over_noise(a, noise);
    // Pieces with strong pulses in them would draw the frequency to the pulses'.
    let powers: Vec<f64> = pieces(span, near, hop).iter().map(over_noise).collect();
    let usual = median(powers.iter().copied());
    let quiet = |n: usize| powers.get(n / hop).is_none_or(|p| *p <= DISTURBED * usual);
    let length = span.len();
    let size = (2 * length).next_power_of_two();
    let fft = FftPlanner::new().plan_fft_forward(size);
    let mut power = vec![0.0f64; size];
    let mut buffer = vec![Complex32::ZERO; size];
    for (axis, noise) in noise.iter().enumerate() {
        buffer.fill(Complex32::ZERO);
        let heard = buffer.iter_mut().zip(span).enumerate().filter(|(n, _)| quiet(*n));
        heard.for_each(|(_, (b, f))| *b = f[axis]);
        fft.process(&mut buffer);
        power.iter_mut().zip(&buffer).for_each(|(p, z)| *p += wide(*z).norm_sqr() / noise);
    }
    let per_bin = TAU / size as f64;
    let centre = (near / per_bin).round() as isize;
    let reach = (reach / per_bin).ceil() as isize;
    let at = |k: isize| power[k.rem_euclid(size as isize) as usize];
    let best = (centre - reach..=centre + reach).max_by(|a, b| at(*a).total_cmp(&at(*b)))?;
    let (low, mid, high) = (at(best - 1).sqrt(), at(best).sqrt(), at(best + 1).sqrt());
    let shift = 0.5 * (low - high) / (low - 2.0 * mid + high).min(-1e-30);
    let omega = per_bin * (best as f64 + shift.clamp(-0.5, 0.5));
    // The amplitude of each piece, so that those with pulses in them can be left out.
    let pieces = pieces(span, omega, hop);
    let usual = median(pieces.iter().map(over_noise));
    let undisturbed = usual / DISTURBED..=usual * DISTURBED;
    let mut kept: Vec<usize> =
        (0..pieces.len()).filter(|i| undisturbed.contains(&over_noise(&pieces[*i]))).collect();
    let mut line = Turning::default();
    // Least trimmed squares (Rousseeuw, J. Am. Stat. Assoc. 79 (1984) 871–880, quoted from
    // memory): the pieces that agree decide which agree.
    for _ in 0..TRIMMINGS {
        line = Turning::fit(&pieces, &kept, noise);
        let off: Vec<f64> = (0..pieces.len()).map(|i| over_noise(&line.off(&pieces, i))).collect();
        let limit = OUTLYING * median(off.iter().copied()).max(noise.len() as f64 / hop as f64);
        kept = (0..pieces.len()).filter(|i| off[*i] <= limit).collect();
    }
    let omega = omega + line.turn / hop as f64;
    let mean = line.mean;
    let count = kept.len() as f64;
    let all: f64 = kept.iter().map(|i| over_noise(&pieces[*i])).sum::<f64>() / count;
    let alone = noise.len() as f64 / hop as f64;
    let coherent = over_noise(&mean) > COHERENT * (all - alone).max(0.5 * alone);
    coherent.then_some((omega, mean))
}

/// Mean of each `hop` of the samples, turned back by `omega`.
fn pieces(span: &[Frame], omega: f64, hop: usize) -> Vec<[Complex64; 3]> {
    let piece = |(i, frames): (usize, &[Frame])| {
        let turn = Complex64::from_polar(1.0, -omega);
        let mut phasor = Complex64::from_polar(1.0, -omega * (i * hop) as f64);
        let mut sum = [Complex64::ZERO; 3];
        for frame in frames {
            sum.iter_mut().zip(frame).for_each(|(s, z)| *s += wide(*z) * phasor);
            phasor *= turn;
        }
        sum.map(|s| s / hop as f64)
    };
    span.chunks_exact(hop).enumerate().map(piece).collect()
}

/// A vector that turns from piece to piece.
#[derive(Default)]
struct Turning {
    mean: [Complex64; 3],
    turn: f64,
}

impl Turning {
    /// The turn for which the pieces `kept` add up to most.
    fn fit(pieces: &[[Complex64; 3]], kept: &[usize], noise: &[f64]) -> Self {
        let mean = |turn: f64| {
            let mut mean = [Complex64::ZERO; 3];
            for &i in kept {
                let back = Complex64::from_polar(1.0 / kept.len() as f64, -turn * i as f64);
                mean.iter_mut().zip(&pieces[i]).for_each(|(m, p)| *m += p * back);
            }
            mean
        };
        let step = TAU / (8 * pieces.len()) as f64;
        let power = |k: f64| over_noise(&mean(k * step), noise);
        let grid = (-REACH_STEPS..=REACH_STEPS).map(f64::from);
        let best = grid.max_by(|a, b| power(*a).total_cmp(&power(*b))).unwrap_or(0.0);
        let (low, mid, high) = (power(best - 1.0), power(best), power(best + 1.0));
        let shift = 0.5 * (low - high) / (low - 2.0 * mid + high).min(-1e-30);
        let turn = (best + shift.clamp(-0.5, 0.5)) * step;
        Self { mean: mean(turn), turn }
    }

    /// What a piece is off the line.
    fn off(&self, pieces: &[[Complex64; 3]], i: usize) -> [Complex64; 3] {
        let phase = Complex64::from_polar(1.0, self.turn * i as f64);
        std::array::from_fn(|axis| pieces[i][axis] - self.mean[axis] * phase)
    }
}

/// Middle value; 0 of none.
pub(super) fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}
