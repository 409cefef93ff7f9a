//! Coil voltages as the receiver's ADC takes them.

use std::f64::consts::TAU;

use num_complex::Complex64;
use rand_distr::{Distribution, StandardNormal};

use super::scene::Scene;
use super::{Change, Scenario, ScenarioError};
use crate::field::constants::NOMINAL_CARRIER_HZ;

/// The receiver's signal chain as the coil model must know it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdcChain {
    /// Nominal ADC frames per second. The carrier is taken in the Nyquist zone
    /// it lies in and must not be inverted by that.
    pub sample_rate_hz: u32,
    /// Complex magnitude at the receiver's output for a carrier whose
    /// amplitude (peak) at the ADC is one count.
    pub output_per_adc_count: f64,
}

/// ADC frames `[x, y, z]` of coils, tuned amplifiers and converter.
///
/// After the receiver's own signal chain, a carrier of RMS field H on an axis
/// shows as a complex magnitude of H / field_per_count at the gain in force.
/// Noise is white over the ADC's band with the stated density, referred to the
/// field and the same at each gain. The converter rounds to whole counts and
/// clips at −32768 and 32767.
///
/// Cost: 0.03 µs a frame of three axes, with three units that are keyed on for
/// a tenth of the time (`cargo bench -p coilrig --bench emulator`): a second of
/// them takes 5 to 8 ms, and 11 to 16 ms together with the receiver core.
#[derive(Clone, Debug)]
pub struct AdcFrames {
    scene: Scene,
    chain: AdcChain,
    /// Sums of a block, kept to spare allocation.
    volts: Vec<[f64; 3]>,
}

impl AdcFrames {
    /// `scenario` from its beginning.
    ///
    /// # Errors
    ///
    /// A field of the scenario that makes no sense.
    pub fn new(scenario: &Scenario, chain: AdcChain) -> Result<Self, ScenarioError> {
        let scene = Scene::new(scenario, f64::from(chain.sample_rate_hz))?;
        Ok(Self { scene, chain, volts: Vec::new() })
    }

    /// The next frames. With one axis, y and z stay 0.
    pub fn fill(&mut self, frames: &mut [[i16; 3]]) {
        let receiver = &self.scene.scenario().receiver;
        let axes = usize::from(receiver.axes);
        let adc_per_field = receiver
            .true_field_per_count(self.scene.gain_step())
            .map(|per_count| 1.0 / (per_count * self.chain.output_per_adc_count));
        let noise = receiver.noise_a_per_m_rthz.0;
        // A carrier of amplitude A has a mean square of A²/2, and noise of
        // density n up to half the rate one of n² · rate / 2.
        let quarter_rate_hz = self.scene.clock().rate_hz() / 4.0;
        let sigma: [f64; 3] =
            std::array::from_fn(|axis| noise[axis] * adc_per_field[axis] * quarter_rate_hz.sqrt());

        self.volts.clear();
        self.volts.resize(frames.len(), [0.0; 3]);
        for frame in &mut self.volts {
            for axis in 0..axes {
                let draw: f64 = StandardNormal.sample(&mut self.scene.noise_rng);
                frame[axis] = draw * sigma[axis];
            }
        }
        let (start, volts) = (self.scene.index(), &mut self.volts);
        let chain = self.chain;
        let carrier_step = Complex64::cis(TAU * chain.folded_cycles(1));
        self.scene.tones(frames.len(), |tone| {
            let n = start + tone.first as u64;
            let mut phasor = tone.phasor * Complex64::cis(TAU * chain.folded_cycles(n));
            let step = tone.step * carrier_step;
            let reach: [Complex64; 3] =
                std::array::from_fn(|axis| tone.field[axis] * adc_per_field[axis]);
            let stretch = &mut volts[tone.first..tone.first + tone.len];
            for (i, frame) in stretch.iter_mut().enumerate() {
                let now = phasor * tone.envelope.at(i);
                for axis in 0..3 {
                    frame[axis] += reach[axis].re * now.re - reach[axis].im * now.im;
                }
                phasor *= step;
            }
        });
        for (frame, volts) in frames.iter_mut().zip(&self.volts) {
            *frame = volts.map(convert);
        }
    }

    /// Let `frames` go by unseen.
    pub fn skip(&mut self, frames: u64) {
        self.scene.skip(frames);
    }

    /// True time of the next frame, s.
    pub fn time_s(&self) -> f64 {
        self.scene.time_s()
    }

    /// Set the gain step from the next frame on.
    pub fn set_gain_step(&mut self, step: u8) {
        self.scene.set_gain_step(step);
    }

    /// Change the scene from the next frame on.
    ///
    /// # Errors
    ///
    /// A change that makes no sense; the scene then stays as it was.
    pub fn change(&mut self, change: &Change) -> Result<(), ScenarioError> {
        self.scene.change(change)
    }

    /// The scenario with all changes of place and orientation made so far.
    pub fn scenario(&self) -> &Scenario {
        self.scene.scenario()
    }
}

impl AdcChain {
    /// Phase of 457 kHz after `n` frames, whole cycles left out.
    fn folded_cycles(&self, n: u64) -> f64 {
        let rate = u64::from(self.sample_rate_hz);
        let tuned = NOMINAL_CARRIER_HZ as u64 % rate;
        (n % rate * tuned % rate) as f64 / rate as f64
    }
}

/// To whole counts, halves away from zero; the cast clips.
fn convert(volts: f64) -> i16 {
    (volts + 0.5f64.copysign(volts)) as i16
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::truth;

    const CHAIN: AdcChain = AdcChain { sample_rate_hz: 192_000, output_per_adc_count: 0.5 };

    fn scenario(text: &str) -> Scenario {
        toml::from_str(&format!(
            "{text}\n[[unit]]\nname = \"hut\"\nposition_m = [0, 0, 0]\n\
             moment_a_m2 = [0.03, -0.01, 0.02]\nfirst_pulse_s = 0\nperiod_s = 10\non_time_s = 5\n\
             carrier_offset_hz = 17\nedge = {{ rise_s = 0 }}"
        ))
        .unwrap()
    }

    fn frames(scenario: &Scenario, n: usize) -> Vec<[i16; 3]> {
        let mut frames = vec![[0; 3]; n];
        AdcFrames::new(scenario, CHAIN).unwrap().fill(&mut frames);
        frames
    }

    /// Complex amplitude of `cycles_per_frame` on each axis.
    fn amplitude(frames: &[[i16; 3]], cycles_per_frame: f64) -> [Complex64; 3] {
        let mut sums = [Complex64::ZERO; 3];
        for (n, frame) in frames.iter().enumerate() {
            let turn = Complex64::cis(-TAU * cycles_per_frame * n as f64);
            for axis in 0..3 {
                sums[axis] += turn * f64::from(frame[axis]);
            }
        }
        sums.map(|sum| sum * 2.0 / frames.len() as f64)
    }

    #[test]
    fn the_carrier_folds_to_73_khz_at_the_stated_amplitude_and_phase() {
        let scenario = scenario("[receiver]\nposition_m = [6, 8, 1]\nnoise_a_per_m_rthz = 0");
        let truth = &truth(&scenario)[0];
        let frames = frames(&scenario, 192_000);
        // 457 017 Hz − 2 · 192 kHz, upright.
        let seen = amplitude(&frames[100..], 73_017.0 / 192e3);
        for axis in 0..3 {
            let meant = truth.field_phasor_a_per_m[axis].norm() / 1e-9 / 0.5;
            assert!(
                (seen[axis].norm() / meant - 1.0).abs() < 1e-4,
                "{} {meant}",
                seen[axis].norm()
            );
            let turn = (seen[axis] / seen[0])
                / (truth.field_phasor_a_per_m[axis] / truth.field_phasor_a_per_m[0]);
            assert!(turn.arg().abs() < 1e-4);
        }
    }

    #[test]
    fn gain_raises_counts_until_the_converter_clips() {
        let scenario = scenario("[receiver]\nposition_m = [20, 0, 0]\nnoise_a_per_m_rthz = 0");
        let mut adc = AdcFrames::new(&scenario, CHAIN).unwrap();
        let peak = |adc: &mut AdcFrames| {
            let mut frames = vec![[0i16; 3]; 1920];
            adc.fill(&mut frames);
            frames.iter().map(|f| f[0]).max().unwrap()
        };
        let at_0_db = f64::from(peak(&mut adc));
        adc.set_gain_step(1);
        assert!((f64::from(peak(&mut adc)) / at_0_db - 10.0).abs() < 0.01);
        adc.change(&Change::Place([2.0, 0.0, 0.0])).unwrap();
        assert_eq!(peak(&mut adc), i16::MAX);
    }

    #[test]
    fn noise_has_the_stated_density_at_the_carrier() {
        let mut scenario = scenario("");
        scenario.units.clear();
        let frames = frames(&scenario, 192_000);
        for axis in 0..3 {
            let mean_square = frames.iter().map(|f| f64::from(f[axis]).powi(2)).sum::<f64>()
                / frames.len() as f64;
            // Amplitude squared is twice the mean square; 96 kHz of band.
            let density = (2.0 * mean_square / 96e3).sqrt() * 0.5 * 1e-9;
            assert!((density / 1.5e-9 - 1.0).abs() < 5.0 / (2.0 * 192e3f64).sqrt(), "{density}");
        }
    }

    #[test]
    fn frames_do_not_depend_on_blocks_and_skipping_keeps_time() {
        let scenario = scenario("[receiver]\nposition_m = [6, 8, 1]\nnoise_a_per_m_rthz = 0");
        let whole = frames(&scenario, 20_000);
        let mut adc = AdcFrames::new(&scenario, CHAIN).unwrap();
        adc.skip(7000);
        let mut late = vec![[0; 3]; 13_000];
        late.chunks_mut(1001).for_each(|part| adc.fill(part));
        let off = whole[7000..].iter().flatten().zip(late.iter().flatten());
        // Stretches fall otherwise; phase differs by rounding alone.
        assert!(off.clone().all(|(a, b)| a.abs_diff(*b) <= 1));
    }
}
