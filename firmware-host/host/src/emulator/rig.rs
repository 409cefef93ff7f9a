//! The emulated receiver without its cable: a scenario's coils on the
//! receiver's own firmware core.

use coilrig_analysis::scenario::{
    AdcChain, AdcFrames, Change, PacketFaults, Scenario, ScenarioError,
};
use coilrig_receiver::{
    ADC_RATE_HZ, Axes, DECIMATION, GAIN, Identity, PACKET_SAMPLES, Receiver, SAMPLE_RATE_HZ,
};
use coilrig_wire::{FromHost, FromReceiver, MAX_PACKET_BYTES, encode};

use crate::error::{Error, Result};

/// Seconds of samples in a packet.
pub(super) const PACKET_S: f64 = PACKET_SAMPLES as f64 / SAMPLE_RATE_HZ as f64;
const PACKET_FRAMES: usize = PACKET_SAMPLES * DECIMATION;

/// A receiver and the world its coils are in. Everything it wants to send is
/// appended to `outgoing`.
pub(super) struct Rig {
    adc: AdcFrames,
    receiver: Receiver,
    faults: PacketFaults,
    frames: Vec<[i16; 3]>,
    /// Bytes on their way to the cable.
    pub(super) outgoing: Vec<u8>,
}

impl Rig {
    pub(super) fn new(scenario: &Scenario) -> Result<Self> {
        let chain = AdcChain { sample_rate_hz: ADC_RATE_HZ, output_per_adc_count: GAIN };
        let adc = AdcFrames::new(scenario, chain)
            .map_err(|e| Error::file(format!("scenario, {}", e.field), e.what, e.remedy))?;
        Ok(Self {
            receiver: switched_on(scenario)?,
            adc,
            faults: PacketFaults::new(scenario),
            frames: vec![[0; 3]; PACKET_FRAMES],
            outgoing: Vec::new(),
        })
    }

    /// Switch the receiver off and on.
    pub(super) fn reboot(&mut self) -> Result<()> {
        self.receiver = switched_on(self.adc.scenario())?;
        self.outgoing.clear();
        Ok(())
    }

    /// The scenario's time.
    pub(super) fn time_s(&self) -> f64 {
        self.adc.time_s()
    }

    pub(super) fn is_streaming(&self) -> bool {
        self.receiver.is_streaming()
    }

    pub(super) fn change(&mut self, change: &Change) -> std::result::Result<(), ScenarioError> {
        self.adc.change(change)
    }

    /// Let time go by to about `time_s` while nobody listens.
    pub(super) fn idle_until(&mut self, time_s: f64) {
        let samples = (time_s - self.time_s()).max(0.0) * f64::from(SAMPLE_RATE_HZ);
        self.adc.skip(samples as u64 * DECIMATION as u64);
    }

    /// Do what the host asks for; whether the receiver did it.
    pub(super) fn command(&mut self, command: FromHost) -> bool {
        let reply = self.receiver.command(command);
        if let Some(before) = &reply.before {
            append(&mut self.outgoing, before, Some(&mut self.faults));
        }
        append(&mut self.outgoing, &reply.answer, None);
        !matches!(reply.answer, FromReceiver::Answer(answer) if answer.refused.is_some())
    }

    /// Take the samples of one packet.
    pub(super) fn stream(&mut self) {
        self.adc.set_gain_step(self.receiver.gain_step());
        self.adc.fill(&mut self.frames);
        for &frame in &self.frames {
            if let Some(message) = self.receiver.push(frame) {
                append(&mut self.outgoing, &message, Some(&mut self.faults));
            }
        }
    }

    /// Drop the samples of one packet.
    pub(super) fn drop_samples(&mut self) {
        self.adc.skip(PACKET_FRAMES as u64);
        if let Some(before) = self.receiver.note_dropped(PACKET_SAMPLES as u64) {
            append(&mut self.outgoing, &before, Some(&mut self.faults));
        }
    }
}

fn switched_on(scenario: &Scenario) -> Result<Receiver> {
    let model = &scenario.receiver;
    let axes = if model.axes == 1 { Axes::One } else { Axes::Three };
    let identity = Identity::new(&model.serial, axes, &model.gain_steps_db).map_err(|e| {
        Error::file("scenario, receiver", e.to_string(), "mend serial and gain_steps_db")
    })?;
    let mut receiver = Receiver::new(identity);
    receiver.note_housekeeping(model.temperature_c, model.supply_v);
    receiver.command(FromHost::SetGain(model.gain_step));
    Ok(receiver)
}

fn append(outgoing: &mut Vec<u8>, message: &FromReceiver, faults: Option<&mut PacketFaults>) {
    let mut buffer = [0; MAX_PACKET_BYTES];
    let packet = encode(message, &mut buffer)
        .expect("the format holds the longest hello and 20 ms of samples");
    match faults {
        None => outgoing.extend_from_slice(packet),
        Some(faults) => {
            let mut packet = packet.to_vec();
            faults.damage(&mut packet);
            outgoing.append(&mut packet);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use coilrig_analysis::scenario::{Baseband, truth};
    use coilrig_receiver::GROUP_DELAY_S;
    use coilrig_wire::Decoder;
    use num_complex::{Complex32, Complex64};

    /// Everything that is sent in `packets` packets, samples as complex counts.
    fn record(scenario: &Scenario, packets: usize) -> Vec<[Complex64; 3]> {
        let mut rig = Rig::new(scenario).unwrap();
        assert!(rig.command(FromHost::Start));
        (0..packets).for_each(|_| rig.stream());
        let mut decoder = Decoder::<MAX_PACKET_BYTES>::new();
        let mut input = rig.outgoing.as_slice();
        let mut samples = Vec::new();
        while let Some(message) = decoder.next::<FromReceiver>(&mut input) {
            if let FromReceiver::Samples(packet) = message.unwrap() {
                assert!(!packet.overload);
                let numbers = packet.iq.chunks_exact(2).map(|b| i16::from_le_bytes([b[0], b[1]]));
                let numbers: Vec<f64> = numbers.map(f64::from).collect();
                samples.extend(
                    numbers
                        .chunks_exact(6)
                        .map(|n| [0, 2, 4].map(|axis| Complex64::new(n[axis], n[axis + 1]))),
                );
            }
        }
        samples
    }

    fn scenario(receiver: &str, unit: &str) -> Scenario {
        toml::from_str(&format!(
            "[receiver]\nposition_m = [3, 4, 5]\naxis_factors = [1, 1.1, 0.9]\n{receiver}\n\
             [[unit]]\nname = \"hut\"\nposition_m = [0, 0, 0]\n\
             moment_a_m2 = [0.009, -0.003, 0.006]\n{unit}"
        ))
        .unwrap()
    }

    #[test]
    fn the_receiver_core_and_the_ideal_baseband_agree() {
        let scenario = scenario(
            "noise_a_per_m_rthz = 0\nclock_offset_ppm = -4",
            "carrier_offset_hz = 63\ncarrier_drift_hz_per_s = 5\nfirst_pulse_s = 0.1\n\
             on_time_s = 0.2\nkey_on_chirp_hz = 10",
        );
        let chain = record(&scenario, 25);
        // Sample k of the chain ends with frame 24 k + 23 and is late by the
        // group delay: it shows where the coils were at this true time.
        let rate_hz = f64::from(ADC_RATE_HZ);
        let mut ideal = vec![[Complex32::ZERO; 3]; (0.6 * rate_hz) as usize];
        Baseband::new(&scenario, rate_hz).unwrap().fill(&mut ideal);
        let late = |k: usize| 24.0 * k as f64 + 23.0 - GROUP_DELAY_S * rate_hz;

        // In the middle of the pulse, where every filter has settled. The
        // receiver's oscillator started with the first frame, as the ideal one.
        for k in [1100, 1500, 2000, 2300] {
            let at = late(k);
            assert_eq!(at.fract(), 0.5);
            for axis in 0..3 {
                let between = (ideal[at as usize][axis] + ideal[at as usize + 1][axis]) / 2.0;
                let between = Complex64::new(between.re.into(), between.im.into());
                let off = (chain[k][axis] / between).norm() - 1.0;
                assert!(off.abs() < 2.0 / between.norm(), "{off} at {k}");
            }
            let across = (chain[k][1] / chain[k][0]).arg();
            let meant = {
                let h = truth(&scenario)[0].field_phasor_a_per_m;
                (h[1] / h[0]).arg()
            };
            let apart = Complex64::cis(across - meant).arg().abs();
            // Each sample is rounded by at most 0.71 counts.
            let rounding = 0.71 / chain[k][0].norm() + 0.71 / chain[k][1].norm();
            assert!(apart < 1.1 * rounding, "{apart} {rounding}");
        }
        let turns = |samples: &dyn Fn(usize) -> Complex64| -> f64 {
            (1100..2300).map(|k| (samples(k + 1) * samples(k).conj()).arg()).sum()
        };
        let chain_turns = turns(&|k| chain[k][0]);
        let ideal_turns = turns(&|k| {
            let z = ideal[late(k) as usize][0];
            Complex64::new(z.re.into(), z.im.into())
        });
        assert!((chain_turns - ideal_turns).abs() < 2e-3, "{chain_turns} {ideal_turns}");

        // The pulse's half-amplitude points, by the chain's own clock.
        let half = chain[2000][0].norm() / 2.0;
        let first = chain.iter().position(|z| z[0].norm() > half).unwrap();
        let last = chain.iter().rposition(|z| z[0].norm() > half).unwrap();
        assert!((late(first) / rate_hz - 0.1).abs() < 1.5 / 8000.0);
        assert!((late(last) / rate_hz - 0.3).abs() < 1.5 / 8000.0);
    }

    #[test]
    fn noise_near_the_carrier_has_the_stated_density() {
        let mut scenario = scenario("noise_a_per_m_rthz = [1e-9, 2e-9, 4e-9]", "");
        scenario.units.clear();
        let samples = record(&scenario, 500);
        let per_count = scenario.receiver.true_field_per_count(0);
        for axis in 0..3 {
            // Sums over 10 ms keep ±50 Hz about the carrier.
            let sums: Vec<f64> = samples
                .chunks_exact(80)
                .map(|part| part.iter().map(|z| z[axis]).sum::<Complex64>().norm_sqr())
                .collect();
            let mean = sums.iter().sum::<f64>() / sums.len() as f64;
            let density = (mean / 80.0 / 8000.0).sqrt() * per_count[axis];
            let stated = scenario.receiver.noise_a_per_m_rthz.0[axis];
            let five_errors = 2.5 / (sums.len() as f64).sqrt();
            assert!((density / stated - 1.0).abs() < five_errors, "{density} for {stated}");
        }
    }

    #[test]
    fn a_record_follows_from_the_seed() {
        let scenario = scenario("", "jitter_s = 0.01\nphase = \"random\"\nfirst_pulse_s = 0.01");
        assert!(record(&scenario, 20) == record(&scenario, 20));
        let other = Scenario { seed: 2, ..scenario.clone() };
        assert!(record(&scenario, 20) != record(&other, 20));
    }

    #[test]
    fn dropped_samples_keep_phase_and_index() {
        let scenario = scenario("noise_a_per_m_rthz = 0", "first_pulse_s = 0\non_time_s = 0.5");
        let whole = record(&scenario, 10);
        let mut rig = Rig::new(&scenario).unwrap();
        rig.command(FromHost::Start);
        rig.stream();
        rig.drop_samples();
        rig.outgoing.clear();
        rig.stream();
        let mut decoder = Decoder::<MAX_PACKET_BYTES>::new();
        let mut input = rig.outgoing.as_slice();
        let Some(Ok(FromReceiver::Samples(packet))) = decoder.next(&mut input) else {
            panic!("no samples")
        };
        assert_eq!(packet.first_index, 320);
        let last = packet.iq.len() - 12;
        let x = [0, 2].map(|at| {
            f64::from(i16::from_le_bytes([packet.iq[last + at], packet.iq[last + at + 1]]))
        });
        assert!((Complex64::new(x[0], x[1]) - whole[479][0]).norm() < 2.0);
    }
}
