//! Trains whose pulses are weak, looked for and measured in the history of a stretch.
//!
//! Those too weak for their single pulses to be seen are found and followed here
//! alone. Those whose pulses are seen, but not measured well one by one, are
//! measured once more by many pulses together.

use std::f64::consts::TAU;

use super::burst::Burst;
use super::faint::EVIDENCE;
use super::frontend::Frame;
use super::pulse::Pulse;
use super::stack::{Found, Guess, Stack};
use super::stretch::Stretch;
use super::together::{AROUND, Course, Fitted, Slot, Together};
use super::tracker::{Tracker, Train};
use super::train::Summed;

/// Pulses of a faint train that are measured together, at least.
const LEAST_STACK: f64 = 8.0;
/// Looks after which a faint train that is not seen any more is over.
const MOST_UNSEEN: usize = 3;
/// Energy over noise at which a single pulse counts as found: one in a
/// hundred windows of noise on one axis, and of three, exceeds it.
const FOUND: [f64; 2] = [4.6, 8.4];
/// Mean energy over noise, 27 dB, below which pulses are measured together.
const TOGETHER_ENERGY: f64 = 500.0;
/// Pulses measured together, at least, and at the end of a stretch.
const LEAST_TOGETHER: [usize; 2] = [8, 4];
/// Less than this share of the usual energy, and a pulse was not sent.
const NOT_SENT: f64 = 0.2;
/// Carriers further apart are not one unit's.
const OWN_CARRIER_HZ: f64 = 12.0;

/// The history, and where it lies in time.
struct Look<'a> {
    stretch: &'a Stretch,
    noise: Vec<f64>,
    rate_hz: f64,
    start_s: f64,
}

/// Measure the weak trains that are known once more, then look for new ones.
/// `last` says that the stretch ends here.
pub(super) fn look(
    stretch: &mut Stretch,
    tracker: &mut Tracker,
    rate_hz: f64,
    stretch_start_s: f64,
    last: bool,
) {
    let candidates = stretch.history.search();
    let start_s = stretch_start_s + stretch.history.passed as f64 / rate_hz;
    let look = Look { noise: stretch.noise_per_sample(), stretch, rate_hz, start_s };
    let to_field = tracker.to_field;
    for train in tracker.trains.iter_mut().filter(|t| !t.faint) {
        look.measure_together(train, last, &to_field);
    }
    let follows = |t: &Train| t.faint && t.unseen < MOST_UNSEEN;
    if candidates.is_empty() && !tracker.trains.iter().any(follows) {
        return;
    }
    let samples = stretch.history.with_weak(stretch.template());
    for train in tracker.trains.iter_mut().filter(|t| follows(t)) {
        look.follow(&samples, train, &to_field);
    }
    for candidate in candidates {
        let omega = stretch.omega(candidate.cell);
        let (offset_hz, period_s) = (omega * rate_hz / TAU, candidate.period / rate_hz);
        let alive = |t: &&Train| if t.faint { t.unseen < MOST_UNSEEN } else { t.is_sure() };
        if tracker.trains.iter().filter(alive).any(|t| t.explains(offset_hz, period_s)) {
            continue;
        }
        let length = 2.0 * stretch.hop() as f64;
        let guess = Guess { first: candidate.first, period: candidate.period, omega, length };
        let found = look.stack(&samples).find(guess).filter(|f| f.evidence > EVIDENCE);
        let measured = found.and_then(|f| look.measured(&samples, &f));
        if let Some(fitted) = measured {
            let (on_s, summed) = look.summed(&fitted);
            let first = first_pulse(&summed, on_s);
            tracker.trains.push(Train::faint(&first, &summed, &to_field));
        }
    }
}

impl Look<'_> {
    fn stack<'a>(&'a self, samples: &'a [Frame]) -> Stack<'a> {
        Stack { samples, noise: &self.noise, rate_hz: self.rate_hz }
    }

    /// Measure the pulses of a faint train that have not been counted before.
    fn follow(&self, samples: &[Frame], train: &mut Train, to_field: &[[f64; 3]; 3]) {
        let rate_hz = self.rate_hz;
        let end_s = self.start_s + samples.len() as f64 / rate_hz;
        let (middle_s, period_s, offset_hz, length_s) = train.outlook(self.start_s);
        if middle_s + LEAST_STACK * period_s > end_s {
            return;
        }
        let guess = Guess {
            first: (middle_s - self.start_s) * rate_hz,
            period: period_s * rate_hz,
            omega: TAU * offset_hz / rate_hz,
            length: length_s * rate_hz,
        };
        train.unseen += 1;
        let found = self.stack(samples).find(guess);
        if let Some(fitted) = found.and_then(|f| self.measured(samples, &f)) {
            train.unseen = 0;
            let (on_s, summed) = self.summed(&fitted);
            train.take_stack(on_s, &summed, to_field);
        }
    }

    /// Measure a train found in `samples`.
    fn measured(&self, samples: &[Frame], found: &Found) -> Option<Fitted> {
        let Guess { first, period, omega, length } = found.train;
        let (on, widths) = (first - 0.5 * length, [0.0; 2]);
        let course = Course { on, period, length, omega, drift: 0.0, widths };
        let slots: Vec<Slot> =
            (0..found.slots).filter_map(|k| slot(samples, &course, k as f64)).collect();
        let template = self.stretch.template();
        Together { slots: &slots, noise: &self.noise, template }.fit(course)
    }

    /// Measure the pulses of a train that were counted one by one since the last time.
    fn measure_together(&self, train: &mut Train, last: bool, to_field: &[[f64; 3]; 3]) {
        let usual = train.sums.mean_energy();
        if usual > TOGETHER_ENERGY {
            // An old pace is no beginning once the pulses have become weak.
            train.sums.pass_together(train.last + 1);
            return;
        }
        let Some((zero_s, period_s)) = train.sums.recent_course_s() else { return };
        let history = &self.stretch.history;
        let rate_hz = self.rate_hz;
        let end_s = self.start_s + history.samples.len() as f64 / rate_hz;
        let first = train
            .sums
            .next_together
            .max(((self.start_s - zero_s) / period_s).ceil().max(0.0) as usize);
        let room_s = train.on_time_s() + AROUND / rate_hz;
        let next = ((end_s - room_s - zero_s) / period_s).ceil().clamp(0.0, train.last as f64 + 1.0)
            as usize;
        if next < first + LEAST_TOGETHER[usize::from(last)] {
            return;
        }
        let course = Course {
            on: (zero_s + first as f64 * period_s - self.start_s) * rate_hz,
            period: period_s * rate_hz,
            length: train.on_time_s() * rate_hz,
            omega: TAU * train.offset_hz() / rate_hz,
            drift: 0.0,
            widths: train.usual_edges_s().map(|w| w * rate_hz),
        };
        let same = TAU * OWN_CARRIER_HZ / rate_hz;
        let template = self.stretch.template();
        let slots = (0..next - first).filter_map(|k| {
            let due = course.burst(k as f64);
            let touches = |b: &&Burst| b.shares_time(&due);
            let (own, others): (Vec<&Burst>, Vec<&Burst>) =
                history.pulses.iter().filter(touches).partition(|b| {
                    (b.omega - course.omega).abs() < same && b.energy_to_noise < 4.0 * usual
                });
            if !others.is_empty() {
                return None;
            }
            let mut slot = slot(&history.samples, &course, k as f64)?;
            for burst in own {
                burst.moved(-slot.first).apply(&mut slot.samples, template, 1.0);
            }
            Some(slot)
        });
        let mut slots: Vec<Slot> = slots.collect();
        let axes = self.noise.len() as f64;
        let together = Together { slots: &slots, noise: &self.noise, template };
        let sent: Vec<bool> =
            together.energies(&course).iter().map(|e| *e > axes + NOT_SENT * usual).collect();
        let mut sent = sent.into_iter();
        slots.retain(|_| sent.next().unwrap_or(false));
        let fitted = Together { slots: &slots, noise: &self.noise, template }.fit(course);
        let fitted = fitted.filter(|f| slots.len() >= LEAST_TOGETHER[1] && f.is_even);
        match fitted {
            Some(fitted) => {
                let middle_s = (fitted.course.on + fitted.middle * fitted.course.period) / rate_hz;
                let summed = self.summed(&fitted).1;
                train.sums.add_together(next, self.start_s + middle_s, &summed, to_field);
            }
            None => train.sums.pass_together(next),
        }
    }

    /// Time of the first pulse, and the rest in seconds and hertz.
    fn summed(&self, fitted: &Fitted) -> (f64, Summed) {
        let (course, u, rate_hz) = (&fitted.course, &fitted.u, self.rate_hz);
        let slots = fitted.energies.len();
        let axes = self.noise.len();
        let enough = |e: &&f64| **e > FOUND[usize::from(axes > 1)];
        let summed = Summed {
            period_s: course.period / rate_hz,
            length_s: course.length / rate_hz,
            offset_hz: (course.omega + fitted.middle * course.drift) * rate_hz / TAU,
            drift_hz: course.drift * rate_hz / TAU,
            u_on_s: u[0] / rate_hz,
            u_length_s: u[2] / rate_hz,
            u_offset_hz: u[3] * rate_hz / TAU,
            slots,
            found: fitted.energies.iter().filter(enough).count(),
            vectors: fitted.vectors,
            amplitude_noise: fitted.amplitude_noise,
            energy_to_noise: fitted.energies.iter().sum::<f64>() / slots as f64 - axes as f64,
        };
        (self.start_s + course.on / rate_hz, summed)
    }
}

/// The samples around pulse `number`, unless they reach out of what there is.
fn slot(samples: &[Frame], course: &Course, number: f64) -> Option<Slot> {
    let due = course.burst(number);
    let first = (due.on - AROUND).floor();
    let end = (due.off + AROUND).ceil();
    let inside = first >= 0.0 && end <= samples.len() as f64;
    inside.then(|| Slot { number, first, samples: samples[first as usize..end as usize].to_vec() })
}

/// A pulse that stands for the first of a faint train.
fn first_pulse(summed: &Summed, on_s: f64) -> Pulse {
    let magnitude = |axis: usize| summed.vectors[(axis, axis)].max(0.0).sqrt();
    Pulse {
        id: 0,
        on_s,
        off_s: on_s + summed.length_s,
        u_edge_s: summed.u_on_s,
        edge_s: [0.0; 2],
        offset_hz: summed.offset_hz,
        u_offset_hz: summed.u_offset_hz,
        amplitude: std::array::from_fn(|axis| magnitude(axis).into()),
        amplitude_noise: summed.amplitude_noise,
        energy_to_noise: summed.energy_to_noise,
        overlapped: false,
        shape: None,
    }
}
