//! Trains whose single pulses are hidden by noise, and noise alone for a day.

mod synth;

use coilrig_analysis::signal::{Analyser, Calibration, Event, StreamFormat, Transmitter};
use num_complex::Complex32;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use synth::{Scene, Tx, random_vector, rms};

#[test]
fn trains_of_eight_decibels_a_pulse_are_found_in_a_minute() {
    let mut errors: [Vec<f64>; 4] = Default::default();
    let mut in_u: [Vec<f64>; 4] = Default::default();
    let (seeds, mut found, mut extra) = (synth::seeds(40), 0, 0);
    for seed in 0..seeds {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7000 + seed);
        let on_s: f64 = rng.random_range(0.08..0.12);
        let rho = 10f64.powf(0.8);
        let magnitude = (rho / on_s).sqrt() * 1e-9;
        let direction = random_vector(&mut rng, magnitude);
        let (offset, period) = (rng.random_range(-80.0..80.0), rng.random_range(0.8..1.2));
        let mut tx = Tx::new(offset, direction, period, on_s, rng.random_range(0.1..0.9));
        tx.continuous = false;
        let result = Scene::new(60.0, 1e-9, vec![tx.clone()], seed).measure();
        let right = |t: &&Transmitter| {
            (t.carrier_hz.value - 457_000.0 - tx.offset_hz).abs() < 2.0
                && (t.period_s.value - tx.period_s).abs() < 5e-3
        };
        let Some(t) = result.transmitters.iter().find(right) else {
            println!(
                "seed {seed}: not found, but {:?}",
                result
                    .transmitters
                    .iter()
                    .map(|t| (t.carrier_hz.value - 457e3, t.period_s.value))
                    .collect::<Vec<_>>()
            );
            continue;
        };
        found += 1;
        extra += result.transmitters.len() - 1;
        let field = t.field_a_per_m.unwrap();
        let all = [
            (t.carrier_hz.value - 457_000.0 - tx.offset_hz, t.carrier_hz.u),
            (t.period_s.value - tx.period_s, t.period_s.u),
            (t.on_time_s.value - tx.on_s, t.on_time_s.u),
            (field.value / magnitude - 1.0, field.u / magnitude),
        ];
        for (i, (error, u)) in all.into_iter().enumerate() {
            errors[i].push(error);
            in_u[i].push(error / u);
        }
    }
    let bias: Vec<f64> = errors.iter().map(|e| e.iter().sum::<f64>() / e.len() as f64).collect();
    println!(
        "{found} of {seeds} found, {extra} extra; RMS errors of carrier, period, on time, field {:?}, bias {bias:?}, in u {:.2?}",
        errors.each_ref().map(|e| rms(e)),
        in_u.each_ref().map(|e| rms(e))
    );
    assert!(found * 100 >= seeds * 95);
    assert_eq!(extra, 0);
}

/// Two hours at 1 kS/s (MINUTES=1440 for a day): noise, with impulses, steady carriers that come and go,
/// clipped and constant stretches.
#[test]
fn noise_has_no_transmitter() {
    let format = StreamFormat { sample_rate_hz: 1000.0, tuned_hz: 457_000.0, axes: 3 };
    let mut analyser = Analyser::new(format, Calibration::default()).unwrap();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(99);
    let minutes = std::env::var("MINUTES").ok().and_then(|s| s.parse().ok()).unwrap_or(120u32);
    let (mut pulses, mut plain) = (0u32, 0u32);
    for minute in 0..minutes {
        let mut samples: Vec<Complex32> = (0..3 * 60_000)
            .map(|_| {
                let mut part = || -> f32 { StandardNormal.sample(&mut rng) };
                Complex32::new(part(), part())
            })
            .collect();
        let kind = minute % 12;
        match kind {
            3 => {
                for _ in 0..200 {
                    let at = 3 * rng.random_range(0..59_990);
                    let strength = 10f32.powf(rng.random_range(0.5..4.0));
                    for (i, z) in samples[at..at + 24].iter_mut().enumerate() {
                        *z += Complex32::new(strength, -strength) * (-((i / 3) as f32) / 2.0).exp();
                    }
                }
            }
            5 => {
                for (offset_hz, strength) in [(-61.3, 3.0f32), (17.0, 0.3), (0.0, 10.0)] {
                    for (n, frame) in samples.chunks_exact_mut(3).enumerate() {
                        let turn = std::f64::consts::TAU * offset_hz * n as f64 / 1000.0;
                        let z = Complex32::from_polar(strength, turn as f32);
                        frame.iter_mut().zip([1.0, -0.4, 0.2]).for_each(|(f, v)| *f += z * v);
                    }
                }
            }
            7 => samples.iter_mut().for_each(|z| {
                *z = Complex32::new(z.re.clamp(-0.8, 0.8), z.im.clamp(-0.8, 0.8));
            }),
            9 => samples[60_000..120_000].fill(Complex32::new(5.0, 3.0)),
            _ => {}
        }
        let mut seen = 0u32;
        analyser.push(&samples, &mut |event| seen += u32::from(matches!(event, Event::Pulse(_))));
        pulses += seen;
        plain += if matches!(kind, 0 | 1 | 2 | 11) { seen } else { 0 };
    }
    let result = analyser.finish(&mut |_| ());
    let hours = f64::from(minutes) / 60.0;
    println!(
        "{} transmitters; {pulses} pulses in {hours} h, {plain} of them in {} h of plain noise",
        result.transmitters.len(),
        hours / 3.0
    );
    let brief = |t: &Transmitter| (t.carrier_hz.value, t.period_s.value, t.pulses, t.notes.clone());
    assert!(
        result.transmitters.is_empty(),
        "{:?}",
        result.transmitters.iter().map(brief).collect::<Vec<_>>()
    );
    assert!(f64::from(plain) < 1.0 + hours / 3.0, "{plain} pulses in plain noise");
}
