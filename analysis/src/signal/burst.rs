//! A burst of carrier as the analysis models it: plain, between two edges.

use std::sync::Arc;

use num_complex::{Complex32, Complex64};

use super::frontend::Frame;
use super::shape::Shape;
use super::template::StepTemplate;

/// A fitted burst; times in samples from the start of the span.
#[derive(Clone, Debug)]
pub(super) struct Burst {
    pub on: f64,
    pub off: f64,
    /// Duration of the two edges before filtering, as a linear ramp.
    pub widths: [f64; 2],
    /// The same as the samples show it: noisy, but right on average.
    pub seen_widths: [f64; 2],
    /// Radians per sample.
    pub omega: f64,
    /// Complex RMS amplitude at the middle of the burst.
    pub amplitude: [Complex64; 3],
    /// Noise power of a sample over that of `amplitude`: samples it is worth.
    pub plateau: f64,
    /// Energy over noise density, from the fitted amplitude and length.
    pub energy_to_noise: f64,
    /// Standard uncertainty of an edge, and of `omega`, from noise alone.
    pub u_edge: f64,
    pub u_omega: f64,
    /// Sum of the squared deviations of the amplitudes of the four quarters
    /// from the whole one's, relative to it: 2/ρ a degree of freedom from noise,
    /// 0 for a plain burst, 4 and more for something half as long or shorter.
    pub unsteadiness: f64,
    /// What the pulses of its unit look like, if not plain.
    pub shape: Option<Arc<Shape>>,
}

/// Carriers this close are one unit's, if the field's direction agrees.
const SAME_CARRIER_HZ: f64 = 3.0;
/// Power of leaking carrier over that of the pulse: above −8 dB it is no leak.
const LEAK: f64 = 0.16;

impl Burst {
    /// A burst of which nothing has been measured yet.
    pub(super) fn guess(on: f64, off: f64, widths: [f64; 2], omega: f64) -> Self {
        Self {
            on,
            off,
            widths,
            seen_widths: widths,
            omega,
            amplitude: [Complex64::ZERO; 3],
            plateau: 0.0,
            energy_to_noise: 0.0,
            u_edge: 0.0,
            u_omega: 0.0,
            unsteadiness: 0.0,
            shape: None,
        }
    }

    /// How much of the burst is over at `time`, 0 at the rising edge, 1 at the falling one.
    pub(super) fn progress(&self, time: f64) -> f64 {
        (time - self.on) / self.length()
    }

    /// Its own departure from a plain burst at `time`.
    pub(super) fn bend(&self, time: f64) -> Complex64 {
        self.shape.as_ref().map_or(Complex64::ONE, |shape| shape.at(self.progress(time)))
    }

    pub(super) fn middle(&self) -> f64 {
        0.5 * (self.on + self.off)
    }

    /// The same burst counted from another sample.
    pub(super) fn moved(&self, by: f64) -> Self {
        Self { on: self.on + by, off: self.off + by, ..self.clone() }
    }

    pub(super) fn length(&self) -> f64 {
        self.off - self.on
    }

    /// Squared amplitude over the noise power per sample, summed over the axes.
    pub(super) fn density(&self) -> f64 {
        self.energy_to_noise / self.length()
    }

    /// Move the edges, with the amplitude carried along to the new middle.
    pub(super) fn place(&mut self, on: f64, off: f64) {
        let before = self.middle();
        (self.on, self.off) = (on, off);
        let turn = Complex64::from_polar(1.0, self.omega * (self.middle() - before));
        self.amplitude.iter_mut().for_each(|a| *a *= turn);
    }

    pub(super) fn shares_time(&self, other: &Burst) -> bool {
        self.on < other.off && other.on < self.off
    }

    /// Whether both come from the same unit: one carrier, one direction.
    pub(super) fn same_source(&self, other: &Burst, rate_hz: f64) -> bool {
        let apart_hz = (self.omega - other.omega).abs() * rate_hz / std::f64::consts::TAU;
        apart_hz < SAME_CARRIER_HZ && self.parallel(other)
    }

    /// Whether both are of one source and as strong, 3 dB up or down.
    pub(super) fn is_like(&self, other: &Burst, rate_hz: f64) -> bool {
        let ratio = self.density() / other.density();
        (0.5..2.0).contains(&ratio) && self.same_source(other, rate_hz)
    }

    pub(super) fn parallel(&self, other: &Burst) -> bool {
        let pairs = self.amplitude.iter().zip(&other.amplitude);
        let product: Complex64 = pairs.map(|(a, b)| a * b.conj()).sum();
        let norm = |b: &Burst| b.amplitude.iter().map(|a| a.norm_sqr()).sum::<f64>().sqrt();
        product.norm() > 0.95 * norm(self) * norm(other)
    }

    /// Whether this may be carrier that the unit that sent `pulse` leaks: from
    /// the same source, and much weaker.
    pub(super) fn may_leak_from(&self, pulse: &Burst, rate_hz: f64) -> bool {
        self.density() < LEAK * pulse.density() && self.same_source(pulse, rate_hz)
    }

    /// Whether an edge of `pulse` lies in this, or closer than `reach` to it.
    pub(super) fn touches_edge_of(&self, pulse: &Burst, reach: f64) -> bool {
        [pulse.on, pulse.off].iter().any(|edge| *edge > self.on - reach && *edge < self.off + reach)
    }

    /// Whether this lies within `pulse`, weaker and from its direction.
    pub(super) fn is_flaw_of(&self, pulse: &Burst) -> bool {
        let edge = 0.1 * pulse.length();
        self.on > pulse.on - edge
            && self.off < pulse.off + edge
            && self.density() < pulse.density()
            && self.parallel(pulse)
    }

    /// Whether this is on all through `pulse`.
    pub(super) fn spans(&self, pulse: &Burst) -> bool {
        let edge = 0.1 * pulse.length();
        self.on < pulse.on + edge && self.off > pulse.off - edge
    }

    /// Add the amplitude of a carrier that goes on under this burst.
    pub(super) fn join(&mut self, under: &Burst) {
        let phase = under.omega * (self.middle() - under.middle());
        let turn = Complex64::from_polar(1.0, phase);
        self.amplitude.iter_mut().zip(&under.amplitude).for_each(|(a, u)| *a += u * turn);
    }

    /// Samples that the burst reaches into, of a span of `length` samples.
    pub(super) fn reaches(&self, template: &StepTemplate, length: usize) -> std::ops::Range<usize> {
        let reach = template.reach() + self.widths[0].max(self.widths[1]);
        let first = (self.on - reach).max(0.0) as usize;
        let last = ((self.off + reach).max(0.0).ceil() as usize).min(length);
        first.min(last)..last
    }

    /// Add the burst to the span `sign` times: −1 takes it out, +1 puts it back.
    /// Returns the samples touched.
    pub(super) fn apply(
        &self,
        span: &mut [Frame],
        template: &StepTemplate,
        sign: f64,
    ) -> std::ops::Range<usize> {
        let touched = self.reaches(template, span.len());
        let turn = Complex64::from_polar(1.0, self.omega);
        let from = touched.start as f64 - self.middle();
        let mut phasor = Complex64::from_polar(sign, self.omega * from);
        for (n, frame) in touched.clone().zip(&mut span[touched.clone()]) {
            let envelope = template.pulse(n as f64, self.on, self.off, self.widths);
            let factor = phasor * self.bend(n as f64) * envelope;
            for (z, a) in frame.iter_mut().zip(&self.amplitude) {
                *z += narrow(a * factor);
            }
            phasor *= turn;
        }
        touched
    }
}

/// Power of an amplitude over the noise power of each axis, summed.
pub(super) fn over_noise(amplitude: &[Complex64; 3], noise: &[f64]) -> f64 {
    amplitude.iter().zip(noise).map(|(a, n)| a.norm_sqr() / n).sum()
}

/// Σ conj(a) · z / noise over the axes: what of `z` lies along `a`.
pub(super) fn along(a: &[Complex64; 3], z: &[Complex64; 3], noise: &[f64]) -> Complex64 {
    a.iter().zip(z).zip(noise).map(|((a, z), n)| a.conj() * z / n).sum()
}

/// A sample in the precision that sums are made in, and back.
pub(super) fn wide(z: Complex32) -> Complex64 {
    Complex64::new(z.re.into(), z.im.into())
}

pub(super) fn narrow(z: Complex64) -> Complex32 {
    Complex32::new(z.re as f32, z.im as f32)
}
