//! The mean shape of a unit's pulses, from the samples themselves.
//!
//! Each pulse is turned back by its own carrier and phase, projected on its own
//! field direction and scaled to its own amplitude, so that what adds up is 1 while
//! the carrier is on; noise averages away. Pulses that overlap with another
//! unit's are left out.
//!
//! Resolution: one sample of the capture. Noise: that of a sample over the
//! amplitude and the root of the number of pulses.

use std::f64::consts::TAU;

use num_complex::{Complex32, Complex64};

use super::CARRIER_HZ;
use super::format::{Calibration, StreamFormat};
use super::pulse::Pulse;

/// Shown before the rising and after the falling edge, s.
const MARGIN_S: f64 = 0.015;
/// More pulses make the picture no better.
const MOST_PULSES: usize = 40;

/// Amplitude over the course of a pulse.
#[derive(Clone, Debug, PartialEq)]
pub struct Envelope {
    /// True time of the first entry from the half-amplitude point of the rising edge, s.
    pub from_s: f64,
    /// From one entry to the next, s.
    pub step_s: f64,
    /// Magnitude, 1 while on.
    pub amplitude: Vec<f64>,
    /// Pulses averaged over.
    pub pulses: usize,
}

/// Gathers the envelope in a second pass over the samples.
#[derive(Clone, Debug)]
pub struct EnvelopeCollector {
    format: StreamFormat,
    clock: f64,
    pulses: Vec<Pulse>,
    /// The first pulse whose window is not over.
    open: usize,
    /// Samples of each axis so far, those of gaps included.
    index: u64,
    sums: Vec<(Complex64, u32)>,
}

impl EnvelopeCollector {
    /// For `pulses` of one unit, in any order.
    pub fn new<'a>(
        format: StreamFormat,
        calibration: &Calibration,
        pulses: impl IntoIterator<Item = &'a Pulse>,
    ) -> Self {
        let mut pulses: Vec<Pulse> =
            pulses.into_iter().filter(|p| !p.overlapped && p.power() > 0.0).cloned().collect();
        pulses.sort_by(|a, b| a.on_s.total_cmp(&b.on_s));
        pulses.truncate(MOST_PULSES);
        let longest_s = pulses.iter().map(Pulse::on_time_s).fold(0.0, f64::max);
        let entries = ((longest_s + 2.0 * MARGIN_S) * format.sample_rate_hz).ceil();
        let sums = vec![(Complex64::ZERO, 0); if pulses.is_empty() { 0 } else { entries as usize }];
        Self { format, clock: calibration.clock_ratio(), pulses, open: 0, index: 0, sums }
    }

    /// Take in samples, interleaved by axis.
    pub fn push(&mut self, samples: &[Complex32]) {
        let (axes, rate) = (self.format.axes, self.format.sample_rate_hz);
        let frames = samples.len() / axes;
        let end_s = (self.index + frames as u64) as f64 / rate;
        let last_s = self.sums.len() as f64 / rate - MARGIN_S;
        for pulse in &self.pulses[self.open..] {
            let from_s = pulse.on_s - MARGIN_S;
            if from_s >= end_s {
                break;
            }
            let to_frame = |time_s: f64| {
                let frame = (time_s * rate).ceil() - self.index as f64;
                frame.clamp(0.0, frames as f64) as usize
            };
            let middle_s = 0.5 * (pulse.on_s + pulse.off_s);
            let baseband_hz = CARRIER_HZ + pulse.offset_hz - self.format.tuned_hz;
            for n in to_frame(from_s)..to_frame(pulse.on_s + last_s) {
                let time_s = (self.index + n as u64) as f64 / rate;
                let along: Complex64 = samples[n * axes..][..axes]
                    .iter()
                    .zip(&pulse.amplitude)
                    .map(|(s, a)| a.conj() * Complex64::new(s.re.into(), s.im.into()))
                    .sum();
                let back = Complex64::cis(-TAU * baseband_hz * (time_s - middle_s));
                let entry = ((time_s - from_s) * rate).floor() as usize;
                if let Some((sum, count)) = self.sums.get_mut(entry) {
                    *sum += along * back / pulse.power();
                    *count += 1;
                }
            }
        }
        while self.pulses.get(self.open).is_some_and(|p| p.on_s + last_s < end_s) {
            self.open += 1;
        }
        self.index += frames as u64;
    }

    /// `missing` samples per axis were lost here.
    pub fn gap(&mut self, missing: u64) {
        self.index = self.index.saturating_add(missing);
    }

    /// The envelope; `None` without a pulse of its own.
    pub fn finish(self) -> Option<Envelope> {
        let amplitude: Vec<f64> = self
            .sums
            .iter()
            .take_while(|(_, count)| *count > 0)
            .map(|(sum, count)| (sum / f64::from(*count)).norm())
            .collect();
        // Entries hold samples from their start to the next one's.
        let step_s = 1.0 / self.format.sample_rate_hz / self.clock;
        let from_s = 0.5 * step_s - MARGIN_S / self.clock;
        let pulses = self.pulses.len();
        (!amplitude.is_empty()).then_some(Envelope { from_s, step_s, amplitude, pulses })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FORMAT: StreamFormat =
        StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 456_900.0, axes: 3 };
    const VECTOR: [f64; 3] = [300.0, -400.0, 1200.0];

    fn pulse(id: u64, on_s: f64) -> Pulse {
        let phase = Complex64::cis(id as f64);
        Pulse {
            id,
            on_s,
            off_s: on_s + 0.09,
            u_edge_s: 1e-5,
            edge_s: [0.004; 2],
            offset_hz: 12.0,
            u_offset_hz: 0.01,
            amplitude: VECTOR.map(|v| v * phase),
            amplitude_noise: [0.0; 3],
            energy_to_noise: 1e4,
            overlapped: false,
            shape: None,
        }
    }

    /// Ramps of 4 ms, a residual of 5 %, each pulse with a phase of its own.
    fn samples(pulses: &[Pulse], duration_s: f64) -> Vec<Complex32> {
        let frames = (duration_s * FORMAT.sample_rate_hz) as usize;
        let mut samples = vec![Complex32::ZERO; 3 * frames];
        for n in 0..frames {
            let t = n as f64 / FORMAT.sample_rate_hz;
            let near =
                pulses.iter().min_by(|a, b| (a.on_s - t).abs().total_cmp(&(b.on_s - t).abs()));
            let p = near.unwrap();
            let ramp = |edge_s: f64| ((t - edge_s) / 0.004 + 0.5).clamp(0.0, 1.0);
            let level = 0.05 + 0.95 * (ramp(p.on_s) - ramp(p.off_s));
            let turn = Complex64::cis(TAU * 112.0 * (t - 0.5 * (p.on_s + p.off_s)));
            for axis in 0..3 {
                let z = p.amplitude[axis] * level * turn;
                samples[3 * n + axis] = Complex32::new(z.re as f32, z.im as f32);
            }
        }
        samples
    }

    #[test]
    fn ramps_and_residual_show_whatever_the_pieces() {
        let pulses: Vec<Pulse> = (0..5).map(|i| pulse(i, 0.2 + 0.9003 * i as f64)).collect();
        let samples = samples(&pulses, 5.0);
        for piece in [3 * 777, samples.len()] {
            let mut collector = EnvelopeCollector::new(FORMAT, &Calibration::default(), &pulses);
            samples.chunks(piece).for_each(|chunk| collector.push(chunk));
            let envelope = collector.finish().unwrap();
            assert_eq!(envelope.pulses, 5);
            let at = |time_s: f64| {
                envelope.amplitude[((time_s - envelope.from_s) / envelope.step_s).round() as usize]
            };
            assert!((at(0.045) - 1.0).abs() < 1e-5);
            assert!((at(-0.01) - 0.05).abs() < 1e-5 && (at(0.1) - 0.05).abs() < 1e-5);
            // Half of the way up and down at the edges, to a sample's width of the ramp.
            assert!((at(0.0) - 0.525).abs() < 0.03 && (at(0.09) - 0.525).abs() < 0.03);
            assert!((at(0.001) - at(-0.001) - 0.475).abs() < 0.03);
        }
    }

    #[test]
    fn without_a_pulse_of_its_own_there_is_none() {
        let overlapped = Pulse { overlapped: true, ..pulse(0, 0.2) };
        let mut collector = EnvelopeCollector::new(FORMAT, &Calibration::default(), [&overlapped]);
        collector.push(&vec![Complex32::ZERO; 3000]);
        assert_eq!(collector.finish(), None);
    }
}
