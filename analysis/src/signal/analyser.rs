//! Drives the analysis of a stream, hop by hop, in constant memory.

use std::f64::consts::TAU;

use num_complex::{Complex32, Complex64};

use super::bank::{Bank, threshold};
use super::edges::FineSpan;
use super::fit::Burst;
use super::format::{Calibration, FormatError, StreamFormat};
use super::frontend::{Filtered, Frame, Frame32, Frontend};
use super::measurement::Measurement;
use super::noise::NoiseFloor;
use super::pulse::Pulse;
use super::separate::{Found, Kind, Separation};
use super::template::StepTemplate;
use super::tracker::{Tracker, Train};
use super::{CARRIER_HZ, report};

/// The samples that stay in view.
const SPAN_S: f64 = 2.0;
/// The analysis moves on in steps of this many blocks of the bank.
const HOP_BLOCKS: usize = 8;
/// A burst that ended less than this ago may go on.
const UNSURE_S: f64 = 0.06;
/// An edge closer than this to a break in the samples has not been seen whole.
const BREAK_S: f64 = 0.004;
/// Carriers are looked for within this distance of 457 kHz.
const BAND_HZ: f64 = 300.0;
/// Chance that one filter full of noise passes for a pulse. The fit looks at
/// some 10⁹ distinguishable carriers, starts and lengths an hour, so that less
/// than one false pulse an hour is left (`nothing_is_invented` counts them).
const FALSE_PULSE: f64 = 4e-10;
/// The coarse filters lose up to 2 dB, so they look at weaker candidates.
const FALSE_CANDIDATE: f64 = 4e-6;
/// Noise power per working sample over that of the strongest sample in view below
/// which nothing is looked for: −55 dB.
const MODEL_FLOOR: f64 = 3e-6;
/// Residual carrier is measured in windows of this length between the pulses.
const WINDOW_S: f64 = 0.1;
/// Kept clear of the pulses' edges.
const CLEAR_S: f64 = 0.02;

/// Something the analysis has just found out.
#[derive(Clone, Debug)]
pub enum Event {
    /// A pulse, in order of start within a hop.
    Pulse(Pulse),
    /// The pulse of that number belongs to the train of that number.
    Assigned {
        /// [`Pulse::id`].
        pulse: u64,
        /// [`super::Transmitter::train`].
        train: usize,
    },
}

/// Streaming analysis of one capture. See the module's documentation.
pub struct Analyser {
    format: StreamFormat,
    calibration: Calibration,
    rate_hz: f64,
    frontend: Frontend,
    /// Of the fine and of the working rate.
    templates: [StepTemplate; 2],
    bank: Bank,
    noise: NoiseFloor,
    tracker: Tracker,
    /// Filtered but not yet analysed.
    incoming: Filtered,
    /// Samples in view, finished pulses taken out.
    span: Vec<Frame>,
    /// The same time at the fine rate, nothing taken out.
    fine: Vec<Frame32>,
    /// Time of the span's first sample, s.
    span_start_s: f64,
    /// Samples of the span that have been in a hop before.
    seen: usize,
    /// Pulses taken out of the span, in its samples, and of the two seconds before.
    taken: Vec<Burst>,
    /// The same of the carrier that units leak between their pulses.
    leaks: Vec<Burst>,
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
            templates: frontend.templates(),
            bank: Bank::new(format.axes, rate_hz, band),
            frontend,
            rate_hz,
            noise: NoiseFloor::new(0.0),
            tracker: Tracker::new(to_field),
            incoming: Filtered::default(),
            fine: Vec::new(),
            span: Vec::new(),
            span_start_s: 0.0,
            seen: 0,
            taken: Vec::new(),
            leaks: Vec::new(),
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
        self.noise = NoiseFloor::new(per_working_sample);
        self
    }

    /// Take in samples, interleaved by axis (a whole number of frames).
    pub fn push(&mut self, samples: &[Complex32], on_event: &mut dyn FnMut(Event)) {
        // Pieces bound the memory between the front end and the hops.
        for piece in samples.chunks(self.format.axes << 14) {
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
        self.span_start_s = self.samples as f64 / self.format.sample_rate_hz;
        self.tracker.gap(from_s, self.span_start_s);
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
        let noise = self.noise.mean_per_sample().map(|n| (n / self.rate_hz).sqrt());
        let so_far = report::SoFar {
            samples: self.samples,
            gaps: self.gaps,
            noise_counts_rthz: noise[..self.format.axes].to_vec(),
            stray: self.tracker.stray,
        };
        report::report(&self.format, &self.calibration, &self.tracker.trains, so_far)
    }

    /// Pulses found so far, whether or not they belong to a train.
    pub fn pulses_found(&self) -> u64 {
        self.pulses
    }

    fn end_stretch(&mut self, on_event: &mut dyn FnMut(Event)) {
        self.frontend.finish(&mut self.incoming);
        self.hops(true, on_event);
        self.span.clear();
        self.fine.clear();
        self.taken.clear();
        self.leaks.clear();
        self.seen = 0;
        self.bank.clear();
    }

    fn hops(&mut self, last: bool, on_event: &mut dyn FnMut(Event)) {
        let hop = HOP_BLOCKS * self.bank.block();
        while self.incoming.working.len() >= hop {
            self.take_in(hop);
            let ends_here = last && self.incoming.working.is_empty();
            self.hop(ends_here, on_event);
        }
        if last && !self.incoming.working.is_empty() {
            // Whole blocks only; less than 16 ms at a break hold no pulse.
            self.take_in(self.incoming.working.len());
            self.hop(true, on_event);
        }
    }

    fn take_in(&mut self, frames: usize) {
        self.span.extend(self.incoming.working.drain(..frames));
        // At the end of a stretch the last working sample may have no full set.
        let fine = (frames * self.frontend.ratio()).min(self.incoming.fine.len());
        self.fine.extend(self.incoming.fine.drain(..fine));
    }

    fn hop(&mut self, last: bool, on_event: &mut dyn FnMut(Event)) {
        self.bank.refresh(&self.span, self.seen..self.span.len());
        let full = self.span.len() as f64 >= SPAN_S * self.rate_hz;
        if !last && !full && !self.noise.is_known() {
            return;
        }
        // The filter runs out of samples in the last block of a stretch.
        let whole = self.bank.blocks() - usize::from(last && self.bank.blocks() > 0);
        let fresh = (self.seen / self.bank.block()).min(whole)..whole;
        self.seen = self.span.len();
        let strongest = self.span.iter().flatten().map(Complex64::norm_sqr).fold(0.0, f64::max);
        self.noise.raise_floor(strongest);
        if !self.noise.is_known() {
            self.noise.begin(&mut self.bank.cell_power(0..self.bank.blocks()), strongest);
        }
        let found = self.separate(last, strongest);
        self.noise.update(&mut self.bank.cell_power(fresh));
        let pulses = self.settle(found, last);
        for pulse in pulses {
            self.assign(pulse, on_event);
        }
        self.move_on();
    }

    fn separate(&mut self, last: bool, strongest: f64) -> Vec<Found> {
        let axes = self.format.axes;
        // Against a strong pulse its model is what limits, not the noise: below
        // this there is nothing to find but its flaws.
        let noise = self.noise.per_sample().map(|n| n.max(MODEL_FLOOR * strongest));
        let noise = &noise[..axes];
        self.bank.search(0..self.span.len(), noise);
        let unsure = if last { BREAK_S } else { UNSURE_S };
        Separation {
            span: &mut self.span,
            bank: &mut self.bank,
            noise,
            template: &self.templates[1],
            rate_hz: self.rate_hz,
            taken: &self.taken,
            trigger: threshold(axes, FALSE_CANDIDATE),
            detection: threshold(axes, FALSE_PULSE),
            margins: [BREAK_S * self.rate_hz, unsure * self.rate_hz],
        }
        .run()
    }

    /// Keep what is over and done with out of the span, put the rest back.
    fn settle(&mut self, found: Vec<Found>, last: bool) -> Vec<Pulse> {
        let end = self.span.len() as f64 - UNSURE_S * self.rate_hz;
        let goes_on: Vec<Burst> =
            found.iter().filter(|f| f.burst.off > end).map(|f| f.burst.clone()).collect();
        // A burst is better fitted together with one that still goes on, but
        // must not wait until it leaves the span.
        let old = self.span.len() as f64 - 0.6 * SPAN_S * self.rate_hz;
        let waits = |burst: &Burst| {
            let shares = |o: &Burst| burst.on < o.off && o.on < burst.off;
            !last && (burst.off > end || (burst.on > old && goes_on.iter().any(shares)))
        };
        let (put_back, gone): (Vec<Found>, Vec<Found>) =
            found.into_iter().partition(|f| waits(&f.burst));
        for found in &put_back {
            let axes = self.format.axes;
            let touched = found.burst.apply(&mut self.span, axes, &self.templates[1], 1.0);
            self.bank.refresh(&self.span, touched);
        }
        let mut pulses = Vec::new();
        let noise = self.noise.per_sample();
        let (leaks, gone): (Vec<Found>, Vec<Found>) =
            gone.into_iter().partition(|f| f.kind == Kind::Leak || (last && f.kind == Kind::Open));
        self.leaks.extend(leaks.into_iter().map(|f| f.burst));
        for (mut pulse, own) in self.refined(&gone, &put_back, &noise) {
            pulses.push(self.as_pulse(&pulse, &noise));
            // What was taken out is the pulse without the unit's own leak.
            own.iter().for_each(|leak| pulse.burst.join(leak, -1.0));
            self.taken.push(pulse.burst);
        }
        pulses.sort_by(|a, b| a.on_s.total_cmp(&b.on_s));
        pulses
    }

    /// The pulses among `found`, their edges placed at the fine rate, each with
    /// the unit's own leaking carrier that it stands on. Where that was taken
    /// out first, the fit saw the pulse less the leak; the pulse is both.
    fn refined(
        &self,
        found: &[Found],
        put_back: &[Found],
        noise: &[f64; 3],
    ) -> Vec<(Found, Vec<Burst>)> {
        let ratio = self.frontend.ratio() as f64;
        let fine = FineSpan {
            samples: &self.fine,
            ratio,
            noise: noise[..self.format.axes].iter().map(|n| n * ratio).collect(),
            template: &self.templates[0],
        };
        let is_pulse = |i: &usize| found[*i].kind == Kind::Pulse;
        let refined = (0..found.len()).filter(is_pulse).map(|i| {
            let mut pulse = found[i].clone();
            let rest = found.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, f)| &f.burst);
            let all = rest.chain(put_back.iter().map(|f| &f.burst));
            let (own, others): (Vec<&Burst>, Vec<&Burst>) = (all.chain(&self.taken))
                .chain(&self.leaks)
                .partition(|b| b.may_leak_from(&pulse.burst, self.rate_hz));
            let under = own.into_iter().filter(|leak| leak.spans(&pulse.burst)).cloned();
            let under: Vec<Burst> = under.collect();
            under.iter().for_each(|leak| pulse.burst.join(leak, 1.0));
            fine.refine(&mut pulse.burst, &others);
            (pulse, under)
        });
        refined.collect()
    }

    fn as_pulse(&self, found: &Found, noise: &[f64; 3]) -> Pulse {
        let burst = &found.burst;
        let length_s = burst.length() / self.rate_hz;
        let rho = burst.energy_to_noise;
        Pulse {
            id: 0,
            on_s: self.span_start_s + burst.on / self.rate_hz,
            off_s: self.span_start_s + burst.off / self.rate_hz,
            u_edge_s: burst.u_edge / self.rate_hz,
            offset_hz: burst.omega * self.rate_hz / TAU,
            // Rife and Boorstyn 1974, eq. 20 for many samples: var ω = 6 / (ρ T²).
            u_offset_hz: (6.0 / rho).sqrt() / (TAU * length_s),
            amplitude: burst.amplitude,
            amplitude_noise: std::array::from_fn(|a| {
                if a < self.format.axes { noise[a] / burst.plateau } else { 0.0 }
            }),
            energy_to_noise: rho,
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
        let from = before.off_s + CLEAR_S;
        let until = after.on_s - CLEAR_S;
        let windows = (((until - from) / WINDOW_S) as usize).min(8);
        let omega = TAU * before.offset_hz / self.rate_hz;
        for w in 0..windows {
            let start_s = from + w as f64 * WINDOW_S;
            let first = (start_s - self.span_start_s) * self.rate_hz;
            let clear = CLEAR_S * self.rate_hz;
            let last = first + WINDOW_S * self.rate_hz;
            let free = |b: &Burst| b.off + clear < first || b.on - clear > last;
            if first < 0.0 || !self.taken.iter().all(free) {
                continue;
            }
            let (first, length) = (first as usize, (WINDOW_S * self.rate_hz) as usize);
            if let Some(samples) = self.span.get(first..first + length) {
                let mut samples = samples.to_vec();
                for leak in &self.leaks {
                    let moved = leak.moved(-(first as f64));
                    moved.apply(&mut samples, self.format.axes, &self.templates[1], 1.0);
                }
                let noise = self.noise.per_sample();
                let ratio = power_ratio(&samples, omega, before, &noise[..self.format.axes]);
                self.tracker.trains[train].sums.add_residual(start_s, ratio);
            }
        }
    }

    fn move_on(&mut self) {
        let keep = (SPAN_S * self.rate_hz) as usize;
        let blocks = self.span.len().saturating_sub(keep) / self.bank.block();
        if blocks > 0 {
            let samples = blocks * self.bank.block();
            self.span.drain(..samples);
            self.fine.drain(..samples * self.frontend.ratio());
            self.seen -= samples;
            self.span_start_s += samples as f64 / self.rate_hz;
            self.bank.advance(blocks);
            let oldest = -SPAN_S * self.rate_hz;
            for list in [&mut self.taken, &mut self.leaks] {
                list.retain_mut(|burst| {
                    *burst = burst.moved(-(samples as f64));
                    burst.off > oldest
                });
            }
        }
    }
}

/// Power at a pulse's carrier and direction over that pulse's, noise deducted:
/// a Hann-windowed sum (against carriers elsewhere), projected on the pulse's
/// amplitude vector.
fn power_ratio(samples: &[Frame], omega: f64, pulse: &Pulse, noise: &[f64]) -> f64 {
    let length = samples.len() as f64;
    let strength: f64 = pulse.amplitude.iter().zip(noise).map(|(a, n)| a.norm_sqr() / n).sum();
    let turn = Complex64::from_polar(1.0, -omega);
    let mut phasor = Complex64::ONE;
    let (mut sum, mut weight, mut square) = (Complex64::ZERO, 0.0, 0.0);
    for (i, frame) in samples.iter().enumerate() {
        let hann = (std::f64::consts::PI * (i as f64 + 0.5) / length).sin().powi(2);
        let along: Complex64 = (frame.iter().zip(&pulse.amplitude).zip(noise))
            .map(|((z, a), n)| z * a.conj() / n)
            .sum();
        sum += along * phasor * hann;
        weight += hann;
        square += hann * hann;
        phasor *= turn;
    }
    (sum / (weight * strength)).norm_sqr() - square / (weight * weight) / strength
}

impl Train {
    /// Pulses due from the first to the last one found, those in gaps not counted.
    pub(super) fn expected(&self) -> usize {
        self.last + 1 - self.slots_in_gaps
    }
}
