//! Drives the analysis of a stream, hop by hop, in constant memory.

use std::f64::consts::TAU;

use num_complex::Complex32;

use super::burst::Burst;
use super::faint::EVIDENCE;
use super::fit::LONGEST_EDGE_S;
use super::format::{Calibration, FormatError, StreamFormat};
use super::frontend::{Frame, Frontend};
use super::measurement::Measurement;
use super::noise::NoiseFloor;
use super::pulse::Pulse;
use super::residual::power_ratio;
use super::separate::Found;
use super::stack::{Guess, Stack, Stacked};
use super::stretch::Stretch;
use super::tracker::{Expected, Tracker, Train};
use super::train::Summed;
use super::{CARRIER_HZ, report};

/// Carriers are looked for within this distance of 457 kHz.
const BAND_HZ: f64 = 300.0;
/// Residual carrier is measured in windows of this length between the pulses.
const WINDOW_S: f64 = 0.1;
const MOST_WINDOWS: usize = 4;
/// Kept clear of the pulses' edges.
const CLEAR_S: f64 = 0.02;
/// Pulses of a faint train that are measured together, at least.
const LEAST_STACK: f64 = 8.0;
/// Looks after which a faint train that is not seen any more is over.
const MOST_UNSEEN: usize = 3;
/// A steady carrier this close may be what the unit leaks.
const LEAK_HZ: f64 = 1.0;

/// Something the analysis has just found out.
#[derive(Clone, Debug)]
pub enum Event {
    /// A pulse, in order of start within a hop.
    Pulse(Pulse),
    /// The pulse of that number belongs to the train of that number.
    Assigned {
        /// [`Pulse::id`].
        pulse: u64,
        /// [`super::Transmitter::trains`].
        train: usize,
    },
}

/// Streaming analysis of one capture. See the module's documentation.
pub struct Analyser {
    format: StreamFormat,
    calibration: Calibration,
    rate_hz: f64,
    frontend: Frontend,
    stretch: Stretch,
    tracker: Tracker,
    /// Filtered but not yet analysed.
    incoming: Vec<Frame>,
    /// Time of the stretch's first sample, s.
    stretch_start_s: f64,
    /// Input samples per axis so far, missing ones included.
    samples: u64,
    gaps: usize,
    pulses: u64,
}

impl Analyser {
    /// An analysis of a stream of this shape.
    ///
    /// # Errors
    /// A format or calibration that cannot be one, with the reason.
    pub fn new(format: StreamFormat, calibration: Calibration) -> Result<Self, FormatError> {
        format.check()?;
        calibration.check(format.axes)?;
        let frontend = Frontend::new(&format);
        let rate_hz = format.sample_rate_hz / frontend.decimation() as f64;
        let visible = 0.47 * format.sample_rate_hz;
        let centre = CARRIER_HZ - format.tuned_hz;
        let widest = BAND_HZ.min(0.4 * rate_hz);
        let band = (-widest).max(-visible - centre)..widest.min(visible - centre);
        let to_field = calibration.field_matrix(format.axes).unwrap_or([
            [1.0, 0.0, 0.0],
            [0.0, 1.0, 0.0],
            [0.0, 0.0, 1.0],
        ]);
        Ok(Self {
            stretch: Stretch::new(&frontend, format.axes, rate_hz, band),
            frontend,
            rate_hz,
            tracker: Tracker::new(to_field),
            incoming: Vec::new(),
            stretch_start_s: 0.0,
            samples: 0,
            gaps: 0,
            pulses: 0,
            format,
            calibration,
        })
    }

    /// Say that each part of each sample was rounded to a multiple of `step`
    /// counts: no axis can be quieter than that, even one that shows nothing.
    pub fn quantised(mut self, step: f64) -> Self {
        // Two parts of variance step² / 12 each, white over the recorded band.
        let per_working_sample = step * step / 6.0 / self.frontend.decimation() as f64;
        self.stretch.noise = NoiseFloor::new(per_working_sample);
        self
    }

    /// Take in samples, interleaved by axis (a whole number of frames).
    pub fn push(&mut self, samples: &[Complex32], on_event: &mut dyn FnMut(Event)) {
        // Pieces bound the memory between the front end and the hops.
        for piece in samples.chunks(self.format.axes << 13) {
            self.samples += (piece.len() / self.format.axes) as u64;
            self.frontend.push(piece, &mut self.incoming);
            self.hops(false, on_event);
        }
    }

    /// `missing` samples per axis were lost here.
    pub fn gap(&mut self, missing: u64, on_event: &mut dyn FnMut(Event)) {
        self.end_stretch(on_event);
        let from_s = self.samples as f64 / self.format.sample_rate_hz;
        self.samples = self.samples.saturating_add(missing);
        self.gaps += 1;
        self.stretch_start_s = self.samples as f64 / self.format.sample_rate_hz;
        self.tracker.gap(from_s, self.stretch_start_s);
    }

    /// End of the capture: analyse what is still inside and sum up.
    pub fn finish(mut self, on_event: &mut dyn FnMut(Event)) -> Measurement {
        self.end_stretch(on_event);
        for (pulse, train) in self.tracker.finish() {
            on_event(Event::Assigned { pulse, train });
        }
        self.measurement()
    }

    /// What is known so far.
    pub fn measurement(&self) -> Measurement {
        let mean = self.stretch.noise.mean_per_sample();
        let noise = mean.map(|n| (n / self.rate_hz).sqrt());
        let hop_s = self.stretch.hop() as f64 / self.rate_hz;
        let so_far = report::SoFar {
            samples: self.samples,
            gaps: self.gaps,
            noise_counts_rthz: noise[..self.format.axes].to_vec(),
            stray: self.tracker.stray,
            steady: self.stretch.steady.summary(hop_s, self.rate_hz),
        };
        report::report(&self.format, &self.calibration, &self.tracker, so_far)
    }

    /// Pulses found so far, whether or not they belong to a train.
    pub fn pulses_found(&self) -> u64 {
        self.pulses
    }

    fn end_stretch(&mut self, on_event: &mut dyn FnMut(Event)) {
        self.frontend.finish(&mut self.incoming);
        self.hops(true, on_event);
        self.frontend.restart();
        self.stretch.restart();
    }

    fn hops(&mut self, last: bool, on_event: &mut dyn FnMut(Event)) {
        let hop = self.stretch.hop();
        let incoming = std::mem::take(&mut self.incoming);
        let mut hops = incoming.chunks_exact(hop);
        let rest = hops.remainder();
        while let Some(frames) = hops.next() {
            let ends = last && hops.len() == 0 && rest.is_empty();
            self.watch(frames, ends, on_event);
        }
        if last && !rest.is_empty() {
            self.watch(rest, true, on_event);
        } else {
            self.incoming.extend_from_slice(rest);
        }
    }

    fn watch(&mut self, frames: &[Frame], last: bool, on_event: &mut dyn FnMut(Event)) {
        if !self.stretch.take_in(frames, last) {
            return;
        }
        loop {
            let Self { stretch, tracker, frontend, rate_hz, stretch_start_s, .. } = self;
            let start_s = *stretch_start_s + stretch.passed as f64 / *rate_hz;
            let mut expected = |samples: std::ops::Range<f64>| -> Vec<Burst> {
                let time = |n: f64| start_s + n / *rate_hz;
                let expected = tracker.expected(time(samples.start), time(samples.end));
                expected.iter().map(|e| as_burst(e, start_s, *rate_hz)).collect()
            };
            let Some(settled) = stretch.watch(frontend, last, &mut expected) else { break };
            let mut pulses: Vec<(Pulse, Vec<Burst>)> = Vec::new();
            for (found, own) in settled.pulses {
                pulses.push((self.as_pulse(&found), own));
            }
            pulses.sort_by(|a, b| a.0.on_s.total_cmp(&b.0.on_s));
            for (pulse, _) in pulses {
                self.assign(pulse, on_event);
            }
        }
        self.stretch.move_on(&mut self.frontend);
        if last {
            self.stretch.remember(self.stretch.hops());
        }
        if last || self.stretch.history.is_due() {
            self.look_for_faint();
        }
    }

    /// Trains too weak for their single pulses, in the half minute before the span.
    fn look_for_faint(&mut self) {
        let Self { stretch, tracker, format, rate_hz, stretch_start_s, .. } = self;
        let rate_hz = *rate_hz;
        let noise = stretch.noise.per_sample();
        let history = &stretch.history;
        let start_s = *stretch_start_s + history.passed as f64 / rate_hz;
        let end_s = start_s + history.samples.len() as f64 / rate_hz;
        let stack = Stack { samples: &history.samples, noise: &noise[..format.axes], rate_hz };
        let to_field = tracker.to_field;
        for train in tracker.trains.iter_mut().filter(|t| t.faint && t.unseen < MOST_UNSEEN) {
            // Not the pulses that have been counted before.
            let (middle_s, period_s, offset_hz, length_s) = train.outlook(start_s);
            if middle_s + (LEAST_STACK * period_s) > end_s {
                continue;
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
                let summed = summed(&found, rate_hz);
                train.take_stack(start_s + found.on / rate_hz, &summed, &to_field);
            }
        }
        for candidate in self.stretch.history.search() {
            let Self { stretch, tracker, .. } = self;
            let omega = stretch.omega(candidate.cell);
            let (offset_hz, period_s) = (omega * rate_hz / TAU, candidate.period / rate_hz);
            let alive = |t: &&Train| if t.faint { t.unseen < MOST_UNSEEN } else { t.is_sure() };
            if tracker.trains.iter().filter(alive).any(|t| t.explains(offset_hz, period_s)) {
                continue;
            }
            let history = &stretch.history;
            let stack =
                Stack { samples: &history.samples, noise: &noise[..self.format.axes], rate_hz };
            let length = 2.0 * stretch.hop() as f64;
            let guess = Guess { first: candidate.first, period: candidate.period, omega, length };
            let Some(found) = stack.measure(guess).filter(|f| f.evidence > EVIDENCE) else {
                continue;
            };
            let on_s = start_s + found.on / rate_hz;
            let first = faint_pulse(&found, on_s, rate_hz);
            tracker.trains.push(Train::faint(&first, &summed(&found, rate_hz), &to_field));
        }
    }

    fn start_s(&self) -> f64 {
        self.stretch_start_s + self.stretch.passed as f64 / self.rate_hz
    }

    fn as_pulse(&self, found: &Found) -> Pulse {
        let burst = &found.burst;
        let noise = self.stretch.noise.per_sample();
        let offset_hz = burst.omega * self.rate_hz / TAU;
        let gain = self.frontend.gain(offset_hz);
        Pulse {
            id: 0,
            on_s: self.start_s() + burst.on / self.rate_hz,
            off_s: self.start_s() + burst.off / self.rate_hz,
            u_edge_s: burst.u_edge / self.rate_hz,
            edge_s: burst.seen_widths.map(|w| w / self.rate_hz),
            offset_hz,
            u_offset_hz: burst.u_omega * self.rate_hz / TAU,
            amplitude: burst.amplitude.map(|a| a / gain),
            amplitude_noise: std::array::from_fn(|a| {
                if a < self.format.axes { noise[a] / burst.plateau } else { 0.0 }
            }),
            energy_to_noise: burst.energy_to_noise,
            overlapped: found.overlapped,
        }
    }

    fn assign(&mut self, mut pulse: Pulse, on_event: &mut dyn FnMut(Event)) {
        pulse.id = self.pulses;
        self.pulses += 1;
        on_event(Event::Pulse(pulse.clone()));
        let before: Vec<(usize, Pulse)> =
            self.tracker.trains.iter().map(|t| (t.last, t.last_pulse.clone())).collect();
        for (id, train) in self.tracker.push(pulse.clone()) {
            on_event(Event::Assigned { pulse: id, train });
            let Some((number, previous)) = before.get(train) else { continue };
            if self.tracker.trains[train].last == number + 1 {
                self.residual_carrier(train, previous, &pulse);
            }
        }
    }

    /// Carrier that a unit leaks between two of its pulses.
    fn residual_carrier(&mut self, train: usize, before: &Pulse, after: &Pulse) {
        let stretch = &self.stretch;
        let from = before.off_s + CLEAR_S;
        let until = after.on_s - CLEAR_S;
        let windows = (((until - from) / WINDOW_S) as usize).min(MOST_WINDOWS);
        let omega = TAU * before.offset_hz / self.rate_hz;
        let noise = stretch.noise.per_sample();
        let noise = &noise[..self.format.axes];
        let steady = stretch.steady.as_bursts(stretch.span.len(), noise);
        let far = |b: &&Burst| (b.omega - omega).abs() > TAU * LEAK_HZ / self.rate_hz;
        let others: Vec<&Burst> = steady.iter().filter(far).collect();
        let (clear, length) = (CLEAR_S * self.rate_hz, (WINDOW_S * self.rate_hz) as usize);
        let mut ratios = Vec::new();
        for w in 0..windows {
            let start_s = from + w as f64 * WINDOW_S;
            let first = (start_s - self.start_s()) * self.rate_hz;
            let last = first + length as f64;
            let free = |b: &Burst| b.off + clear < first || b.on - clear > last;
            if first < 0.0 || !stretch.taken.iter().chain(&stretch.open).all(free) {
                continue;
            }
            let first = first as usize;
            if let Some(samples) = stretch.raw.get(first..first + length) {
                let mut samples = samples.to_vec();
                for other in &others {
                    other.moved(-(first as f64)).apply(&mut samples, stretch.template(), -1.0);
                }
                ratios.push((start_s, power_ratio(&samples, omega, before, noise)));
            }
        }
        for (start_s, ratio) in ratios {
            self.tracker.trains[train].sums.add_residual(start_s, ratio);
        }
    }
}

/// An expected pulse in samples of the span that begins at `start_s`.
fn as_burst(expected: &Expected, start_s: f64, rate_hz: f64) -> Burst {
    let at = |s: f64| (s - start_s) * rate_hz;
    Burst {
        on: at(expected.on_s),
        off: at(expected.off_s),
        widths: expected.edge_s.map(|w| w.clamp(0.0, LONGEST_EDGE_S) * rate_hz),
        seen_widths: [0.0; 2],
        omega: TAU * expected.offset_hz / rate_hz,
        amplitude: Default::default(),
        plateau: 0.0,
        energy_to_noise: 0.0,
        u_edge: 0.0,
        u_omega: 0.0,
        unsteadiness: 0.0,
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
fn faint_pulse(found: &Stacked, on_s: f64, rate_hz: f64) -> Pulse {
    let magnitude = |axis: usize| found.vectors[(axis, axis)].max(0.0).sqrt();
    Pulse {
        id: 0,
        on_s,
        off_s: on_s + found.length / rate_hz,
        u_edge_s: found.u_edge / rate_hz,
        edge_s: [0.0; 2],
        offset_hz: found.omega * rate_hz / TAU,
        u_offset_hz: found.u_omega * rate_hz / TAU,
        amplitude: std::array::from_fn(|a| magnitude(a).into()),
        amplitude_noise: found.amplitude_noise,
        energy_to_noise: found.energy_to_noise,
        overlapped: false,
    }
}

impl Train {
    /// Pulses due from the first to the last one found, those in gaps not counted.
    pub(super) fn expected(&self) -> usize {
        self.last + 1 - self.slots_in_gaps
    }
}
