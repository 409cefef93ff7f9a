//! What an emulated second costs, beside a second of a plain calculation that
//! stands for the machine's speed: a complex multiplication and addition for
//! each ADC frame and axis.
//!
//! `cargo bench -p coilrig --bench emulator`; the reciprocal of the time for
//! `emulated_second` is the speed against real time.

use std::hint::black_box;

use coilrig_analysis::scenario::{AdcChain, AdcFrames, Baseband, Scenario};
use coilrig_receiver::{ADC_RATE_HZ, Axes, GAIN, Identity, Receiver};
use coilrig_wire::FromHost;
use num_complex::{Complex32, Complex64};

fn main() {
    divan::main();
}

/// Three units that overlap often, three axes, noise.
fn scenario() -> Scenario {
    let units = [("north", 0.93), ("creek", 1.0), ("hut", 1.07)].map(|(name, period_s)| {
        format!(
            "[[unit]]\nname = \"{name}\"\nposition_m = [0, 5, -1]\n\
             moment_a_m2 = [0.003, 0, 0]\nperiod_s = {period_s}\n"
        )
    });
    toml::from_str(&units.concat()).expect("a sensible scenario")
}

fn adc() -> AdcFrames {
    let chain = AdcChain { sample_rate_hz: ADC_RATE_HZ, output_per_adc_count: GAIN };
    AdcFrames::new(&scenario(), chain).expect("a sensible scenario")
}

fn receiver() -> Receiver {
    let identity = Identity::new("EMU-0001", Axes::Three, &[0.0, 20.0]).expect("short");
    let mut receiver = Receiver::new(identity);
    receiver.command(FromHost::Start);
    receiver
}

/// Coil voltages, receiver core and packets: 1 s on three axes.
#[divan::bench]
fn emulated_second(bencher: divan::Bencher) {
    let (mut adc, mut receiver) = (adc(), receiver());
    let mut frames = vec![[0; 3]; 3840];
    bencher.bench_local(|| {
        for _ in 0..50 {
            adc.fill(&mut frames);
            for &frame in &frames {
                black_box(receiver.push(frame));
            }
        }
    });
}

/// Coil voltages alone: 1 s on three axes.
#[divan::bench]
fn coil_voltages_second(bencher: divan::Bencher) {
    let mut adc = adc();
    let mut frames = vec![[0; 3]; 3840];
    bencher.bench_local(|| (0..50).for_each(|_| adc.fill(black_box(&mut frames))));
}

/// The ideal baseband that needs no receiver: 1 s on three axes at 8 kS/s.
#[divan::bench]
fn baseband_second(bencher: divan::Bencher) {
    let mut baseband = Baseband::new(&scenario(), 8000.0).expect("a sensible scenario");
    let mut samples = vec![[Complex32::ZERO; 3]; 8000];
    bencher.bench_local(|| baseband.fill(black_box(&mut samples)));
}

/// The reference: one multiplication and addition a frame and axis, each
/// waiting for the one before.
#[divan::bench]
fn reference_second(bencher: divan::Bencher) {
    let turn = Complex64::cis(0.1);
    bencher.bench_local(|| {
        (0..3 * ADC_RATE_HZ).fold(Complex64::ONE, |z, _| z * turn + black_box(1e-9))
    });
}
