//! Trains too weak for their single pulses, looked for and followed in the
//! history of a stretch.

use std::f64::consts::TAU;

use super::faint::EVIDENCE;
use super::pulse::Pulse;
use super::stack::{Guess, Stack, Stacked};
use super::stretch::Stretch;
use super::tracker::{Tracker, Train};
use super::train::Summed;

/// Pulses of a faint train that are measured together, at least.
const LEAST_STACK: f64 = 8.0;
/// Looks after which a faint train that is not seen any more is over.
const MOST_UNSEEN: usize = 3;

/// Measure the faint trains that are known once more, then look for new ones.
pub(super) fn look(
    stretch: &mut Stretch,
    tracker: &mut Tracker,
    rate_hz: f64,
    stretch_start_s: f64,
) {
    let candidates = stretch.history.search();
    let history = &stretch.history;
    let noise = stretch.noise_per_sample();
    let stack = Stack { samples: &history.samples, noise: &noise, rate_hz };
    let start_s = stretch_start_s + history.passed as f64 / rate_hz;
    let to_field = tracker.to_field;
    for train in tracker.trains.iter_mut().filter(|t| t.faint && t.unseen < MOST_UNSEEN) {
        follow(train, &stack, start_s, &to_field);
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
        if let Some(found) = stack.measure(guess).filter(|f| f.evidence > EVIDENCE) {
            let first = first_pulse(&found, start_s + found.on / rate_hz, rate_hz);
            tracker.trains.push(Train::faint(&first, &summed(&found, rate_hz), &to_field));
        }
    }
}

/// Measure the pulses of a known train that have not been counted before.
fn follow(train: &mut Train, stack: &Stack<'_>, start_s: f64, to_field: &[[f64; 3]; 3]) {
    let rate_hz = stack.rate_hz;
    let end_s = start_s + stack.samples.len() as f64 / rate_hz;
    let (middle_s, period_s, offset_hz, length_s) = train.outlook(start_s);
    if middle_s + LEAST_STACK * period_s > end_s {
        return;
    }
    let guess = Guess {
        first: (middle_s - start_s) * rate_hz,
        period: period_s * rate_hz,
        omega: TAU * offset_hz / rate_hz,
        length: length_s * rate_hz,
    };
    train.unseen += 1;
    if let Some(found) = stack.measure(guess) {
        train.unseen = 0;
        train.take_stack(start_s + found.on / rate_hz, &summed(&found, rate_hz), to_field);
    }
}

fn summed(found: &Stacked, rate_hz: f64) -> Summed {
    Summed {
        period_s: found.period / rate_hz,
        length_s: found.length / rate_hz,
        offset_hz: found.omega * rate_hz / TAU,
        u_on_s: found.u_edge / rate_hz,
        u_offset_hz: found.u_omega * rate_hz / TAU,
        slots: found.slots,
        found: found.found,
        vectors: found.vectors,
        amplitude_noise: found.amplitude_noise,
        energy_to_noise: found.energy_to_noise,
    }
}

/// A pulse that stands for the first of a faint train.
fn first_pulse(found: &Stacked, on_s: f64, rate_hz: f64) -> Pulse {
    let magnitude = |axis: usize| found.vectors[(axis, axis)].max(0.0).sqrt();
    Pulse {
        id: 0,
        on_s,
        off_s: on_s + found.length / rate_hz,
        u_edge_s: found.u_edge / rate_hz,
        edge_s: [0.0; 2],
        offset_hz: found.omega * rate_hz / TAU,
        u_offset_hz: found.u_omega * rate_hz / TAU,
        amplitude: std::array::from_fn(|axis| magnitude(axis).into()),
        amplitude_noise: found.amplitude_noise,
        energy_to_noise: found.energy_to_noise,
        overlapped: false,
    }
}
