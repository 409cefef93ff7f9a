//! Scenes that are not what the analysis would like.

mod synth;

use coilrig_analysis::signal::{
    Analyser, Calibration, Event, Measurement, StreamFormat, Transmitter,
};
use num_complex::{Complex32, Complex64};
use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx};

fn unit() -> Tx {
    Tx::new(23.4, [0.8e-6, -0.5e-6, 0.33e-6], 1.013, 0.092, 0.31)
}

fn analyse(format: StreamFormat, samples: &[Complex32]) -> Measurement {
    let calibration =
        Calibration { field_per_count: Some(vec![1.0; format.axes]), ..Calibration::default() };
    let mut analyser = Analyser::new(format, calibration).unwrap();
    analyser.push(samples, &mut |_| ());
    analyser.finish(&mut |_| ())
}

fn only(result: &Measurement) -> &Transmitter {
    let brief = |t: &Transmitter| {
        (t.carrier_hz.value, t.period_s.value, t.on_time_s.value, t.amplitude.value, t.pulses)
    };
    let all: Vec<_> = result.transmitters.iter().map(brief).collect();
    assert_eq!(all.len(), 1, "{all:?}, {:?}", result.steady_carriers);
    &result.transmitters[0]
}

/// Within `k` times the stated uncertainty.
fn agrees(found: &Transmitter, tx: &Tx, magnitude: f64, k: f64) {
    let off = |r: coilrig_analysis::reading::Reading, truth: f64| (r.value - truth).abs() / r.u;
    let checks = [
        off(found.carrier_hz, 457_000.0 + tx.offset_hz),
        off(found.period_s, tx.period_s),
        off(found.on_time_s, tx.on_s),
        off(found.field_a_per_m.unwrap(), magnitude),
    ];
    assert!(checks.iter().all(|c| *c < k), "errors over u {checks:?}: {found:#?}");
}

/// Another device's carrier that never stops, at 8 kS/s on three axes.
fn add_carrier(samples: &mut [Complex32], offset_hz: f64, vector: [f64; 3], from_s: f64) {
    for (n, frame) in samples.chunks_exact_mut(3).enumerate() {
        let t = n as f64 / 8000.0;
        let turn = Complex64::from_polar(1.0, std::f64::consts::TAU * offset_hz * t);
        if t >= from_s {
            for (z, v) in frame.iter_mut().zip(vector) {
                *z += Complex32::new((turn.re * v) as f32, (turn.im * v) as f32);
            }
        }
    }
}

#[test]
fn other_rates_tunings_and_axes() {
    for (rate_hz, tuned_hz, axes) in [
        (1_000.0, 457_000.0, 3),
        (2_500.0, 456_500.0, 1),
        (3_000.0, 457_000.0, 3),
        (48_000.0, 450_000.0, 1),
        (250_000.0, 430_000.0, 3),
    ] {
        let tx = unit();
        let scene =
            Scene { rate_hz, tuned_hz, axes, ..Scene::new(15.0, 1e-9, vec![tx.clone()], 5) };
        let magnitude = tx.vector[..axes].iter().map(|v| v * v).sum::<f64>().sqrt();
        println!("{rate_hz} Hz, {axes} axes");
        agrees(only(&scene.measure()), &tx, magnitude, 5.0);
    }
}

#[test]
fn steady_carriers_and_impulses_do_not_matter_much() {
    let tx = unit();
    let scene = Scene::new(30.0, 1e-9, vec![tx.clone()], 6);
    let mut samples = scene.samples();
    add_carrier(&mut samples, -61.0, [3e-8, 2e-8, 0.0], 0.0);
    add_carrier(&mut samples, 110.0, [0.0, 1e-7, 1e-7], 0.0);
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(9);
    for _ in 0..90 {
        let at = rng.random_range(0..samples.len() / 3) * 3;
        samples[at..at + 3].iter_mut().for_each(|z| *z += Complex32::new(2e-5, -1e-5));
    }
    let result = analyse(scene.format(), &samples);
    let found = only(&result);
    assert_eq!(found.pulses.found, found.pulses.expected);
    assert!((found.carrier_hz.value - 457_023.4).abs() < 0.05, "{found:#?}");
    assert!((found.field_a_per_m.unwrap().value / tx.magnitude() - 1.0).abs() < 0.01);
    assert!((found.on_time_s.value - tx.on_s).abs() < 5e-4);
    assert!((result.noise_a_per_m_rthz.unwrap()[0] / 1e-9 - 1.0).abs() < 0.2);
}

/// A carrier of another device close to the unit's, from the start or from half way on.
#[test]
fn a_steady_carrier_within_hertz_of_a_unit_is_not_a_transmitter() {
    for (seed, apart_hz, strength, from_s) in [
        (1, 0.6, 1.0, 0.0),
        (2, 2.0, 1.0, 0.0),
        (3, -2.0, 0.2, 0.0),
        (4, 3.0, 5.0, 0.0),
        (5, 5.0, 0.2, 0.0),
        (6, 2.0, 1.0, 14.2),
        (7, -5.0, 0.2, 17.7),
        (8, 5.0, 5.0, 13.1),
    ] {
        let tx = unit();
        let scene = Scene::new(30.0, 1e-9, vec![tx.clone()], seed);
        let mut samples = scene.samples();
        let vector = [0.2, 0.7, -0.68].map(|v| v * strength * tx.magnitude());
        add_carrier(&mut samples, tx.offset_hz + apart_hz, vector, from_s);
        let result = analyse(scene.format(), &samples);
        let found = only(&result);
        assert_eq!(found.pulses.found, found.pulses.expected, "seed {seed}");
        let field = found.field_a_per_m.unwrap().value / tx.magnitude() - 1.0;
        assert!(field.abs() < 0.02, "seed {seed}: field off by {field}");
        assert!((found.carrier_hz.value - 457_023.4).abs() < 0.05, "seed {seed}: {found:#?}");
        assert!((found.on_time_s.value - tx.on_s).abs() < 5e-4, "seed {seed}: {found:#?}");
    }
}

/// Carriers beside the units in a full station: what is left of them between the pulses
/// is no unit that is on for most of the time.
#[test]
fn carriers_cut_by_pulses_are_no_transmitters() {
    for seed in 2..6 {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(77_000 + seed);
        let mut unit = |magnitude: f64| {
            let vector = synth::random_vector(&mut rng, magnitude);
            let (offset, period) = (rng.random_range(-80.0..80.0), rng.random_range(0.8..1.2));
            Tx::new(offset, vector, period, rng.random_range(0.07..0.12), 0.4)
        };
        let units = vec![unit(1e-6), unit(3e-7), unit(2e-6)];
        let beside = [(units[0].offset_hz + 3.0, 1e-6), (units[1].offset_hz - 3.0, 5e-7)];
        let scene = Scene::new(60.0, 1e-9, units, seed);
        let mut samples = scene.samples();
        for (offset_hz, magnitude) in beside {
            let vector = synth::random_vector(&mut rng, magnitude);
            add_carrier(&mut samples, offset_hz, vector, 0.0);
        }
        let result = analyse(scene.format(), &samples);
        let longest_s = result.transmitters.iter().map(|t| t.on_time_s.value).fold(0.0, f64::max);
        assert!(result.transmitters.len() >= 3 && longest_s < 0.2, "seed {seed}: {result:#?}");
    }
}

/// What the pulses of an old unit have that the model has not is no second unit.
#[test]
fn flaws_of_pulses_are_no_transmitters() {
    for (seed, sag, chirp_hz) in [(1, 0.1, 0.0), (2, 0.3, 0.0), (3, 0.0, 5.0), (4, 0.0, -5.0)] {
        let mut tx = unit();
        (tx.sag, tx.chirp_hz, tx.continuous) = (sag, chirp_hz, seed % 2 == 0);
        let result = Scene::new(60.0, 1e-9, vec![tx.clone()], seed).measure();
        let found = only(&result);
        assert!(found.pulses.found * 10 > found.pulses.expected * 9, "seed {seed}: {found:#?}");
        assert!((found.period_s.value - tx.period_s).abs() < 5e-5, "seed {seed}: {found:#?}");
    }
}

#[test]
fn two_units_that_stay_on_top_of_each_other() {
    for (seed, offset_hz, vector) in
        [(1, -31.0, [0.2e-6, 0.4e-6, -0.1e-6]), (2, 41.0, [-0.2e-6, 0.5e-6, 0.4e-6])]
    {
        let mut other = unit();
        (other.offset_hz, other.vector) = (offset_hz, vector);
        (other.first_s, other.period_s, other.on_s) = (0.34, 1.0134, 0.081);
        let units = vec![unit(), other];
        let scene = Scene::new(30.0, 1e-9, units.clone(), seed);
        let result = scene.measure();
        assert_eq!(result.transmitters.len(), 2, "{result:#?}");
        for (tx, found) in units.iter().zip(&result.transmitters) {
            assert!(found.pulses.found * 10 >= found.pulses.expected * 9, "{found:#?}");
            assert!(found.pulses.overlapped > 20);
            assert!((found.carrier_hz.value - 457_000.0 - tx.offset_hz).abs() < 0.3, "{found:#?}");
            assert!((found.on_time_s.value - tx.on_s).abs() < 2e-3, "{found:#?}");
            let field = found.field_a_per_m.unwrap().value;
            assert!((field / tx.magnitude() - 1.0).abs() < 0.05, "{found:#?}");
        }
    }
}

#[test]
fn gaps_cost_only_the_pulses_in_them() {
    let tx = unit();
    let scene = Scene::new(40.0, 1e-9, vec![tx.clone()], 8);
    let samples = scene.samples();
    let calibration = Calibration { field_per_count: Some(vec![1.0; 3]), ..Calibration::default() };
    let mut analyser = Analyser::new(scene.format(), calibration).unwrap();
    // The second gap swallows two pulses whole, the first and third none.
    let mut at = 0;
    for (from, until) in [(7.5, 7.52), (15.4, 17.1), (20.0, 20.16)] {
        let frame = |t: f64| (t * 8000.0) as usize * 3;
        analyser.push(&samples[at..frame(from)], &mut |_| ());
        analyser.gap(((frame(until) - frame(from)) / 3) as u64, &mut |_| ());
        at = frame(until);
    }
    analyser.push(&samples[at..], &mut |_| ());
    let result = analyser.finish(&mut |_| ());
    assert_eq!(result.gaps, 3);
    assert!((result.duration_s - 40.0).abs() < 1e-9);
    let found = only(&result);
    assert_eq!((found.pulses.expected, found.pulses.found), (38, 38), "{found:#?}");
    agrees(found, &tx, tx.magnitude(), 5.0);
}

#[test]
fn the_same_samples_give_the_same_result_however_they_are_cut() {
    let mut second = unit();
    (second.offset_hz, second.period_s, second.first_s) = (-40.0, 0.93, 0.5);
    let scene = Scene::new(12.0, 2e-9, vec![unit(), second], 10);
    let samples = scene.samples();
    let run = |piece: usize| {
        let mut analyser = Analyser::new(scene.format(), Calibration::default()).unwrap();
        samples.chunks(piece * 3).for_each(|c| analyser.push(c, &mut |_| ()));
        analyser.finish(&mut |_| ())
    };
    let whole = run(samples.len());
    assert_eq!(whole.transmitters.len(), 2);
    assert_eq!(whole, run(1));
    assert_eq!(whole, run(997));
}

#[test]
fn nothing_is_invented() {
    let format = StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_000.0, axes: 3 };
    let constant = |value: f32| vec![Complex32::new(value, 0.5 * value); 3 * 8000 * 12];
    for samples in [vec![], constant(0.0), constant(1e-3), constant(f32::MAX.sqrt() / 1e3)] {
        let result = analyse(format, &samples);
        assert!(result.transmitters.is_empty(), "{result:#?}");
        assert_eq!(result.stray_pulses, 0);
    }
    let scene = Scene::new(300.0, 1e-9, vec![], 12);
    let mut samples = scene.samples();
    let result = analyse(format, &samples);
    assert!(result.transmitters.is_empty(), "{result:#?}");
    assert!(result.stray_pulses <= 1, "{} stray pulses in noise", result.stray_pulses);
    samples.truncate(3 * 8000 * 120);
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(13);
    for _ in 0..240 {
        let at = rng.random_range(0..samples.len() - 30);
        let strength = 10f32.powf(rng.random_range(-7.0..-4.0));
        for (i, z) in samples[at..at + 30].iter_mut().enumerate() {
            *z += Complex32::new(strength, 0.0) * (-(i as f32) / 6.0).exp();
        }
    }
    let result = analyse(format, &samples);
    assert!(result.transmitters.is_empty(), "{result:#?}");
    samples.truncate(3 * 8000 * 60);
    samples.iter_mut().for_each(|z| {
        *z = Complex32::new(z.re.clamp(-5e-8, 5e-8), z.im.clamp(-5e-8, 5e-8));
    });
    assert!(analyse(format, &samples).transmitters.is_empty());
}

#[test]
fn residual_carrier_is_measured_and_absence_is_too() {
    for residual in [0.0, 0.02, 0.1] {
        let mut tx = unit();
        tx.residual = residual;
        let found = Scene::new(30.0, 1e-9, vec![tx.clone()], 21).measure();
        let found = only(&found);
        let ratio = found.residual_carrier_ratio;
        assert!((ratio.value - residual).abs() < 3.0 * ratio.u + 0.05 * residual, "{ratio:?}");
        assert!(ratio.u < 0.003, "{ratio:?}");
        let field = found.field_a_per_m.unwrap().value;
        assert!((field / tx.magnitude() - 1.0).abs() < 0.01, "{field} with residual {residual}");
    }
}

#[test]
fn wandering_period_is_said_and_covered() {
    let mut in_u = Vec::new();
    for seed in 0..12 {
        let mut tx = unit();
        tx.wander_s = 0.8e-3;
        let result = Scene::new(60.0, 1e-9, vec![tx.clone()], 30 + seed).measure();
        let found = only(&result);
        assert_eq!(found.pulses.found, found.pulses.expected);
        assert!((0.5e-3..1.1e-3).contains(&found.period_jitter_s), "{found:#?}");
        in_u.push((found.period_s.value - tx.period_s) / found.period_s.u);
    }
    let spread = synth::rms(&in_u);
    assert!((0.5..1.7).contains(&spread), "{spread}: {in_u:?}");
}

#[test]
fn the_noise_floor_does_not_depend_on_where_a_capture_ends() {
    let scene = Scene::new(7.0, 1e-9, vec![unit()], 41);
    let samples = scene.samples();
    for frames in (40_000..41_100).step_by(37) {
        let result = analyse(scene.format(), &samples[..frames * 3]);
        let noise = result.noise_a_per_m_rthz.unwrap();
        assert!(noise.iter().all(|n| (n / 1e-9 - 1.0).abs() < 0.1), "{frames}: {noise:?}");
    }
}

#[test]
fn a_residual_carrier_is_not_lost_beside_a_strong_pulse() {
    for (strength, residual) in [(10.0, 0.01), (10.0, 0.02), (100.0, 0.015)] {
        let mut tx = unit();
        tx.vector = tx.vector.map(|v| v * strength);
        tx.residual = residual;
        let result = Scene::new(20.0, 1e-9, vec![tx], 43).measure();
        let ratio = only(&result).residual_carrier_ratio;
        let off = (ratio.value - residual).abs();
        assert!(off < 4.0 * ratio.u + 0.05 * residual, "{strength}, {residual}: {ratio:?}");
    }
}

#[test]
fn an_axis_that_shows_nothing_does_not_hide_the_others() {
    for stuck in [0.0, 3.0] {
        let mut tx = unit();
        tx.vector = [400.0, -250.0, 0.0];
        let scene = Scene::new(12.0, 0.3, vec![tx.clone()], 45);
        let mut samples = scene.samples();
        for frame in samples.chunks_exact_mut(3) {
            frame.iter_mut().for_each(|z| *z = Complex32::new(z.re.round(), z.im.round()));
            frame[2] = Complex32::new(stuck, 0.0);
        }
        let analyser = Analyser::new(scene.format(), Calibration::default()).unwrap();
        let mut analyser = analyser.quantised(1.0);
        analyser.push(&samples, &mut |_| ());
        let found = analyser.finish(&mut |_| ());
        let found = only(&found);
        assert_eq!(found.pulses.found, found.pulses.expected);
        assert!((found.amplitude.value / tx.magnitude() - 1.0).abs() < 0.01, "{found:#?}");
    }
}

#[test]
fn two_pulses_are_one_period_apart() {
    let tx = unit();
    let result = Scene::new(2.0, 1e-9, vec![tx.clone()], 47).measure();
    let found = only(&result);
    assert_eq!((found.pulses.expected, found.pulses.found), (2, 2));
    assert!((found.period_s.value - tx.period_s).abs() < 1e-3, "{found:#?}");
}

#[test]
fn a_live_consumer_hears_of_a_pulse_soon_after_its_end() {
    let mut other = unit();
    (other.offset_hz, other.period_s, other.first_s) = (-40.0, 0.93, 0.5);
    for units in [vec![unit()], vec![unit(), other]] {
        let scene = Scene::new(30.0, 1e-9, units, 51);
        let mut analyser = Analyser::new(scene.format(), Calibration::default()).unwrap();
        let mut late = Vec::new();
        for (i, piece) in scene.samples().chunks(3 * 80).enumerate() {
            let now = 0.01 * (i + 1) as f64;
            analyser.push(piece, &mut |event| {
                if let Event::Pulse(pulse) = event {
                    late.push(now - pulse.off_s);
                }
            });
        }
        // Two seconds are gathered before the analysis begins.
        let late = &late[4..];
        let worst = late.iter().copied().fold(0.0, f64::max);
        let within = late.iter().filter(|l| **l <= 0.1).count();
        println!("{} pulses, latest {:.0} ms after its end", late.len(), worst * 1e3);
        assert!(within * 100 >= late.len() * 95, "{within} of {} within 100 ms", late.len());
        assert!(worst < 0.2, "{worst}");
    }
}

#[test]
fn packets_lost_cost_no_more_than_their_pulses() {
    let tx = unit();
    let scene = Scene::new(60.0, 1e-9, vec![tx.clone()], 52);
    let samples = scene.samples();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(53);
    for (share, least) in [(0.01, 45), (0.05, 20)] {
        let mut analyser = Analyser::new(scene.format(), Calibration::default()).unwrap();
        // Packets of 20 ms.
        for packet in samples.chunks(3 * 160) {
            if rng.random::<f64>() < share {
                analyser.gap(160, &mut |_| ());
            } else {
                analyser.push(packet, &mut |_| ());
            }
        }
        let result = analyser.finish(&mut |_| ());
        let found = only(&result);
        assert!(found.pulses.found >= least, "{share}: {:?}", found.pulses);
        assert!(
            (found.period_s.value - tx.period_s).abs() < 5.0 * found.period_s.u.max(2e-6),
            "{found:#?}"
        );
    }
}
