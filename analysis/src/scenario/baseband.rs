//! Complex baseband without the receiver's signal chain.

use num_complex::{Complex32, Complex64};
use rand_distr::{Distribution, StandardNormal};

use super::scene::Scene;
use super::{Change, Scenario, ScenarioError};

/// Complex baseband at any rate, as an ideal receiver would give it: no
/// filter, no delay, no rounding, no overload. 457 kHz of the receiver's clock
/// is at 0 Hz, the spectrum not inverted.
///
/// A carrier of RMS field H on an axis shows as a complex magnitude of
/// H / field_per_count, noise of density n as E|z|² = n² · rate / field_per_count².
/// Everything is sampled as it stands: what edges and the ringing of impulses
/// hold beyond half the rate folds. Steady carriers beyond it are refused.
///
/// Cost: 0.1 µs a sample of three axes, with three units that are keyed on for
/// a tenth of the time (`cargo bench -p coilrig --bench emulator`).
#[derive(Clone, Debug)]
pub struct Baseband {
    scene: Scene,
}

impl Baseband {
    /// `scenario` from its beginning at a nominal `sample_rate_hz`.
    ///
    /// # Errors
    ///
    /// A field of the scenario that makes no sense, or a carrier that is
    /// beyond half the sample rate.
    pub fn new(scenario: &Scenario, sample_rate_hz: f64) -> Result<Self, ScenarioError> {
        let scene = Scene::new(scenario, sample_rate_hz)?;
        let farthest_hz = scenario.farthest_carrier_hz();
        if !sample_rate_hz.is_finite() || farthest_hz >= sample_rate_hz / 2.0 {
            return Err(ScenarioError::new(
                "the sample rate",
                format!("of {sample_rate_hz} Hz cannot hold a carrier {farthest_hz} Hz off tune"),
                "sample at more than twice the farthest carrier's offset",
            ));
        }
        Ok(Self { scene })
    }

    /// The next samples: counts of x, y, z; y and z stay 0 with one axis.
    pub fn fill(&mut self, samples: &mut [[Complex32; 3]]) {
        let receiver = &self.scene.scenario().receiver;
        let axes = usize::from(receiver.axes);
        let per_count = receiver.true_field_per_count(self.scene.gain_step());
        let noise = receiver.noise_a_per_m_rthz.0;
        let half_rate_hz = self.scene.clock().rate_hz() / 2.0;
        // Half of the power on I, half on Q.
        let sigma: [f64; 3] =
            std::array::from_fn(|axis| noise[axis] / per_count[axis] * half_rate_hz.sqrt());
        for sample in samples.iter_mut() {
            *sample = [Complex32::ZERO; 3];
            for axis in 0..axes {
                let re: f64 = StandardNormal.sample(&mut self.scene.noise_rng);
                let im: f64 = StandardNormal.sample(&mut self.scene.noise_rng);
                sample[axis] = narrow(Complex64::new(re, im) * sigma[axis]);
            }
        }
        self.scene.tones(samples.len(), |tone| {
            let mut phasor = tone.phasor;
            let stretch = &mut samples[tone.first..tone.first + tone.len];
            for (i, sample) in stretch.iter_mut().enumerate() {
                let level = phasor * tone.envelope.at(i);
                for axis in 0..axes {
                    sample[axis] += narrow(tone.field[axis] * level / per_count[axis]);
                }
                phasor *= tone.step;
            }
        });
    }

    /// True time of the next sample, s.
    pub fn time_s(&self) -> f64 {
        self.scene.time_s()
    }

    /// Change the scene from the next sample on.
    ///
    /// # Errors
    ///
    /// A change that makes no sense; the scene then stays as it was.
    pub fn change(&mut self, change: &Change) -> Result<(), ScenarioError> {
        self.scene.change(change)
    }
}

fn narrow(z: Complex64) -> Complex32 {
    Complex32::new(z.re as f32, z.im as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::truth;

    const RATE_HZ: f64 = 8000.0;

    fn scenario(receiver: &str, unit: &str) -> Scenario {
        toml::from_str(&format!(
            "[receiver]\nposition_m = [3, 4, 5]\n{receiver}\n\
             [[unit]]\nname = \"hut\"\nposition_m = [0, 0, 0]\nmoment_a_m2 = [0.003, -0.001, 0.002]\n{unit}"
        ))
        .unwrap()
    }

    fn samples(scenario: &Scenario, duration_s: f64) -> Vec<[Complex32; 3]> {
        let mut samples = vec![[Complex32::ZERO; 3]; (duration_s * RATE_HZ) as usize];
        Baseband::new(scenario, RATE_HZ).unwrap().fill(&mut samples);
        samples
    }

    #[test]
    fn the_field_shows_as_counts_and_the_phases_between_axes_hold() {
        let scenario =
            scenario("noise_a_per_m_rthz = 0\naxis_factors = [1, 1.1, 0.9]", "first_pulse_s = 0");
        let truth = &truth(&scenario)[0];
        let sample = samples(&scenario, 0.05)[300];
        let per_count = scenario.receiver.true_field_per_count(0);
        let seen: Vec<Complex64> = (0..3)
            .map(|a| Complex64::new(sample[a].re.into(), sample[a].im.into()) * per_count[a])
            .collect();
        for axis in 0..3 {
            let ratio = (seen[axis] / seen[0])
                / (truth.field_phasor_a_per_m[axis] / truth.field_phasor_a_per_m[0]);
            assert!((ratio - 1.0).norm() < 1e-5, "{ratio}");
        }
        let magnitude = seen.iter().map(|h| h.norm_sqr()).sum::<f64>().sqrt();
        assert!((magnitude / truth.field_a_per_m - 1.0).abs() < 1e-6);
    }

    #[test]
    fn noise_has_the_stated_density_on_each_axis() {
        let mut scenario = scenario("noise_a_per_m_rthz = [1e-9, 2e-9, 4e-9]", "");
        scenario.units.clear();
        let samples = samples(&scenario, 20.0);
        let n = samples.len() as f64;
        for axis in 0..3 {
            let power = samples.iter().map(|s| f64::from(s[axis].norm_sqr())).sum::<f64>() / n;
            let density = (power / RATE_HZ).sqrt() * 1e-9;
            let stated = scenario.receiver.noise_a_per_m_rthz.0[axis];
            // |z|² is exponential: its mean has a relative error of 1/√n,
            // the root of it half that. Five of them.
            assert!((density / stated - 1.0).abs() < 2.5 / n.sqrt(), "{density} for {stated}");
        }
    }

    #[test]
    fn a_fast_clock_lowers_carriers_and_lengthens_pulses() {
        let sends = "first_pulse_s = 1\nperiod_s = 40\non_time_s = 30\ncarrier_offset_hz = 10\n\
                     edge = { rise_s = 0, fall_s = 0 }";
        let scenario = scenario("noise_a_per_m_rthz = 0\nclock_offset_ppm = 500", sends);
        let samples = samples(&scenario, 33.0);
        let on: Vec<bool> = samples.iter().map(|s| s[0].norm() > 1.0).collect();
        let first = on.iter().position(|&on| on).unwrap();
        let last = on.iter().rposition(|&on| on).unwrap();
        // 1 s and 30 s of a clock that takes 4 more samples a second.
        assert!(first.abs_diff(8004) <= 1, "{first}");
        assert!((last - first).abs_diff(240_120) <= 1, "{}", last - first);
        let cycles: f64 = samples[first..=last]
            .windows(2)
            .map(|w| {
                let turn = w[1][0] * w[0][0].conj();
                f64::from(turn.im).atan2(f64::from(turn.re)) / std::f64::consts::TAU
            })
            .sum();
        let seen_hz = cycles / (last - first) as f64 * RATE_HZ;
        // Divided by 1 + e, as the receiver's hertz is too long by 1 + e.
        let meant_hz = (10.0 - 457e3 * 500e-6) / (1.0 + 500e-6);
        assert!((seen_hz - meant_hz).abs() < 1e-4, "{seen_hz} for {meant_hz}");
    }

    #[test]
    fn the_seed_alone_decides_and_blocks_do_not_matter() {
        let busy = "jitter_s = 0.001\nphase = \"random\"\n[[interference]]\nkind = \"impulse\"\n\
                    rate_per_s = 100\npeak_field_a_per_m = 1e-6";
        let scenario = scenario("", busy);
        let whole = samples(&scenario, 3.0);
        let mut baseband = Baseband::new(&scenario, RATE_HZ).unwrap();
        let mut parts = vec![[Complex32::ZERO; 3]; whole.len()];
        parts.chunks_mut(777).for_each(|part| baseband.fill(part));
        assert!(whole == parts);
        let other = Scenario { seed: 2, ..scenario };
        assert!(whole != samples(&other, 3.0));
    }

    #[test]
    fn carriers_drift_and_interfere_where_stated() {
        let drifting = "carrier_offset_hz = -50\ncarrier_drift_hz_per_s = 20\nfirst_pulse_s = 0\n\
                        period_s = 10\non_time_s = 8";
        let samples = samples(&scenario("noise_a_per_m_rthz = 0", drifting), 4.0);
        let hz_at = |n: usize| {
            let turn = samples[n + 1][0] * samples[n][0].conj();
            f64::from(turn.im).atan2(f64::from(turn.re)) / std::f64::consts::TAU * RATE_HZ
        };
        for t in [0.5, 2.0, 3.9] {
            let hz = hz_at((t * RATE_HZ) as usize);
            assert!((hz - (-50.0 + 20.0 * t)).abs() < 0.02, "{hz} at {t}");
        }
    }

    #[test]
    fn a_carrier_beyond_half_the_rate_is_refused() {
        let mut scenario = scenario("", "carrier_offset_hz = 1500");
        assert!(Baseband::new(&scenario, 2000.0).is_err());
        scenario.units[0].carrier_offset_hz = 500.0;
        assert!(Baseband::new(&scenario, 2000.0).is_ok());
    }

    #[test]
    fn changes_hold_from_the_next_sample_on() {
        let scenario = scenario("noise_a_per_m_rthz = 0", "first_pulse_s = -0.05\non_time_s = 0.5");
        let mut baseband = Baseband::new(&scenario, RATE_HZ).unwrap();
        let mut magnitude = || {
            let mut one = [[Complex32::ZERO; 3]];
            baseband.fill(&mut one);
            (one[0].iter().map(|z| z.norm_sqr()).sum::<f32>().sqrt(), baseband.clone())
        };
        let (near, mut after) = magnitude();
        let off = Change::Switch { unit: "hut".into(), on: false };
        after.change(&off).unwrap();
        after.change(&Change::Place([6.0, 8.0, 10.0])).unwrap();
        let mut one = [[Complex32::ZERO; 3]];
        after.fill(&mut one);
        assert_eq!(one[0][0].norm(), 0.0);
        after.change(&Change::Switch { unit: "hut".into(), on: true }).unwrap();
        after.fill(&mut one);
        let far = one[0].iter().map(|z| z.norm_sqr()).sum::<f32>().sqrt();
        assert!((near / far - 8.0).abs() < 0.3, "{near} {far}");
        // Turned end for end, the unit sends the same field.
        let lay = |unit: &str, moment_a_m2| Change::Lay { unit: unit.into(), moment_a_m2 };
        after.change(&lay("hut", [-0.003, 0.001, -0.002])).unwrap();
        after.fill(&mut one);
        let turned = one[0].iter().map(|z| z.norm_sqr()).sum::<f32>().sqrt();
        assert!((turned / far - 1.0).abs() < 0.01, "{turned} {far}");
        after.change(&lay("hut", [0.0; 3])).unwrap();
        after.fill(&mut one);
        assert_eq!(one[0][0].norm(), 0.0);
        assert!(after.change(&lay("barn", [0.001; 3])).is_err());
        assert!(after.change(&lay("hut", [f64::NAN; 3])).is_err());
        assert!(after.change(&Change::Place([0.0; 3])).is_err());
        assert!(after.change(&Change::Switch { unit: "barn".into(), on: true }).is_err());
    }
}
