//! Drives the analysis of what the conditioner gives, hop by hop, in constant memory.

use std::f64::consts::TAU;

use super::burst::Burst;
use super::format::{Calibration, FormatError, StreamFormat};
use super::frontend::{Frame, Frontend};
use super::measurement::Measurement;
use super::noise::NoiseFloor;
use super::pulse::Pulse;
use super::separate::Found;
use super::stretch::Stretch;
use super::tracker::{Assigned, Expected, Tracker};
use super::{CARRIER_HZ, faint_trains, report, residual};

/// Carriers are looked for within this distance of 457 kHz.
const BAND_HZ: f64 = 300.0;

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

/// Streaming analysis of one capture behind its [`super::Conditioner`].
pub struct Analysis {
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

impl Analysis {
    pub(super) fn new(format: StreamFormat, calibration: Calibration) -> Result<Self, FormatError> {
        format.check()?;
        calibration.check(format.axes)?;
        let frontend = Frontend::new(&format);
        let rate_hz = format.sample_rate_hz / frontend.decimation() as f64;
        let visible = 0.47 * format.sample_rate_hz;
        let centre = CARRIER_HZ - format.tuned_hz;
        let widest = BAND_HZ.min(0.4 * rate_hz);
        let band = (-widest).max(-visible - centre)..widest.min(visible - centre);
        let to_field = calibration.magnitude_matrix(format.axes);
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

    /// Each part of each sample was rounded to a multiple of `step` counts.
    pub(super) fn set_quantum(&mut self, step: f64) {
        // Two parts of variance step² / 12 each, white over the recorded band.
        let per_working_sample = step * step / 6.0 / self.frontend.decimation() as f64;
        self.stretch.noise = NoiseFloor::new(per_working_sample);
    }

    /// Take in what [`super::Conditioner::push`] gave for `samples` samples per axis.
    pub fn push(&mut self, fine: &[f32], samples: u64, on_event: &mut dyn FnMut(Event)) {
        self.fine().extend_from_slice(fine);
        self.go_on(samples, on_event);
    }

    /// Where the conditioner may write, to be followed by [`Analysis::go_on`].
    pub(super) fn fine(&mut self) -> &mut Vec<f32> {
        &mut self.frontend.fine.numbers
    }

    /// Analyse what was written to [`Analysis::fine`] for `samples` samples per axis.
    pub(super) fn go_on(&mut self, samples: u64, on_event: &mut dyn FnMut(Event)) {
        self.samples += samples;
        self.frontend.filter(false, &mut self.incoming);
        self.hops(false, on_event);
    }

    /// `missing` samples per axis were lost here; `fine` is what
    /// [`super::Conditioner::finish`] gave.
    pub fn gap(&mut self, fine: &[f32], missing: u64, on_event: &mut dyn FnMut(Event)) {
        self.end_stretch(fine, on_event);
        let from_s = self.samples as f64 / self.format.sample_rate_hz;
        self.samples = self.samples.saturating_add(missing);
        self.gaps += 1;
        self.stretch_start_s = self.samples as f64 / self.format.sample_rate_hz;
        self.tracker.gap(from_s, self.stretch_start_s);
    }

    /// End of the capture: analyse what is still inside, and `fine`, which
    /// [`super::Conditioner::finish`] gave, and sum up.
    pub fn finish(mut self, fine: &[f32], on_event: &mut dyn FnMut(Event)) -> Measurement {
        self.end_stretch(fine, on_event);
        for Assigned { pulse, train, .. } in self.tracker.finish() {
            on_event(Event::Assigned { pulse, train });
        }
        self.measurement()
    }

    /// What is known so far.
    pub fn measurement(&self) -> Measurement {
        let mean = self.stretch.noise.mean_per_sample();
        let noise = mean.map(|n| (n / self.rate_hz).sqrt());
        let so_far = report::SoFar {
            samples: self.samples,
            gaps: self.gaps,
            noise_counts_rthz: noise[..self.format.axes].to_vec(),
            stray: self.tracker.stray,
            steady: self.stretch.steady.heard(self.stretch.hop(), self.rate_hz),
        };
        report::report(&self.format, &self.calibration, &self.tracker, so_far)
    }

    /// Pulses found so far, whether or not they belong to a train.
    pub fn pulses_found(&self) -> u64 {
        self.pulses
    }

    fn end_stretch(&mut self, fine: &[f32], on_event: &mut dyn FnMut(Event)) {
        self.fine().extend_from_slice(fine);
        self.frontend.filter(true, &mut self.incoming);
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
            let mut pulses: Vec<Pulse> = settled.iter().map(|f| self.as_pulse(f)).collect();
            pulses.sort_by(|a, b| a.on_s.total_cmp(&b.on_s));
            for pulse in pulses {
                self.assign(pulse, on_event);
            }
        }
        self.stretch.move_on(&mut self.frontend);
        if last {
            self.stretch.remember(self.stretch.hops());
        }
        if last || self.stretch.history.is_due() {
            let Self { stretch, tracker, rate_hz, stretch_start_s, .. } = self;
            faint_trains::look(stretch, tracker, *rate_hz, *stretch_start_s, last);
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
            shape: found.shape.clone(),
        }
    }

    fn assign(&mut self, mut pulse: Pulse, on_event: &mut dyn FnMut(Event)) {
        pulse.id = self.pulses;
        self.pulses += 1;
        on_event(Event::Pulse(pulse.clone()));
        for Assigned { pulse: id, train, follows } in self.tracker.push(pulse.clone()) {
            on_event(Event::Assigned { pulse: id, train });
            if let Some(before) = follows {
                let ratios =
                    residual::between(&self.stretch, &before, &pulse, self.rate_hz, self.start_s());
                let sums = &mut self.tracker.trains[train].sums;
                ratios.into_iter().for_each(|(at_s, ratio)| sums.add_residual(at_s, ratio));
            }
        }
    }
}

/// An expected pulse in samples of the span that begins at `start_s`.
fn as_burst(expected: &Expected, start_s: f64, rate_hz: f64) -> Burst {
    let at = |s: f64| (s - start_s) * rate_hz;
    let widths = expected.edge_s.map(|w| w * rate_hz);
    let omega = TAU * expected.offset_hz / rate_hz;
    let plain = Burst::guess(at(expected.on_s), at(expected.off_s), widths, omega);
    Burst { shape: expected.shape.clone(), ..plain }
}
