//! Units whose oscillator never stops, and units whose starts anew: only the former
//! are measured by the phase from pulse to pulse, and then far better.

mod synth;

use coilrig_analysis::signal::Transmitter;
use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx, random_vector, rms};

const SECONDS: f64 = 61.0;

fn unit(rng: &mut rand_chacha::ChaCha8Rng, field_a_per_m: f64) -> Tx {
    let direction = random_vector(rng, field_a_per_m);
    let (offset, period) = (rng.random_range(-80.0..80.0), rng.random_range(0.8..1.2));
    let (on, first) = (rng.random_range(0.07..0.12), rng.random_range(0.1..0.7));
    // Timers that are not the carrier's own crystal: a pace that jitters.
    Tx { wander_s: 1e-3, ..Tx::new(offset, direction, period, on, first) }
}

fn says_so(found: &Transmitter) -> bool {
    found.notes.iter().any(|note| note.contains("phase runs on"))
}

#[test]
fn a_carrier_that_never_stops_is_measured_by_its_phase() {
    for field_a_per_m in [1e-7, 1e-6] {
        let (mut in_u, mut worst_hz, mut known) = (Vec::new(), 0.0f64, 0);
        let seeds = synth::seeds(30);
        for seed in 0..seeds {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(31_000 + seed);
            let tx = unit(&mut rng, field_a_per_m);
            let result = Scene::new(SECONDS, 1e-9, vec![tx.clone()], seed).measure();
            assert_eq!(result.transmitters.len(), 1, "seed {seed}");
            let found = &result.transmitters[0];
            if says_so(found) {
                known += 1;
                let error_hz = found.carrier_hz.value - 457_000.0 - tx.offset_hz;
                worst_hz = worst_hz.max(error_hz.abs());
                in_u.push(error_hz / found.carrier_hz.u);
            }
        }
        println!(
            "{field_a_per_m:e} A/m: {known} of {seeds}, carrier worst {worst_hz:.1e} Hz, error over u {:.2}",
            rms(&in_u)
        );
        assert!(known as f64 >= 0.9 * seeds as f64);
        // One by one, pulses of 30 dB tell it to 0.02 Hz.
        assert!(worst_hz < 1e-3);
        assert!(rms(&in_u) < 1.25);
        // Strong pulses are placed no better than their phases are by all else.
        assert!(field_a_per_m > 1e-7 || rms(&in_u) > 0.2);
    }
}

#[test]
fn a_carrier_that_starts_anew_is_not() {
    for seed in 0..synth::seeds(30) {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(32_000 + seed);
        let mut tx = unit(&mut rng, 1e-6);
        tx.continuous = false;
        let result = Scene::new(SECONDS, 1e-9, vec![tx.clone()], seed).measure();
        assert!(!says_so(&result.transmitters[0]), "seed {seed}");
    }
}

/// A crystal makes pace and carrier, and the carrier begins anew with each pulse: it has
/// a course too, but hardly ever one that counts.
#[test]
fn a_carrier_that_starts_anew_in_step_is_not_overruled() {
    let (mut wrong, mut all) = (0, 0);
    for field_a_per_m in [3e-8, 1e-7, 1e-6] {
        for seed in 0..synth::seeds(20) {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(34_000 + seed);
            let mut tx = unit(&mut rng, field_a_per_m);
            (tx.restarts, tx.wander_s) = (true, 0.0);
            let result = Scene::new(SECONDS, 1e-9, vec![tx.clone()], seed).measure();
            let found = &result.transmitters[0];
            let error_hz = found.carrier_hz.value - 457_000.0 - tx.offset_hz;
            wrong += usize::from(says_so(found) && error_hz.abs() > 4.0 * found.carrier_hz.u);
            all += 1;
        }
    }
    println!("{wrong} of {all} taken for running on");
    assert!(wrong <= 1 + all / 50);
}

/// The carrier of a unit that drifts belongs to the middle of its pulses, however strong
/// it is and however far from 457 kHz, also where the analysis begins anew on the way.
#[test]
fn the_carrier_of_a_drifting_unit_is_its_mean() {
    for continuous in [true, false] {
        for seed in 0..synth::seeds(12) {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(35_000 + seed);
            let field_a_per_m = 10f64.powf(rng.random_range(-6.5..-5.0));
            let mut tx = unit(&mut rng, field_a_per_m);
            (tx.continuous, tx.drift_hz_per_s) = (continuous, 0.05);
            tx.offset_hz = if seed % 2 == 0 { 60.0 } else { -75.0 };
            let result = Scene::new(SECONDS, 1e-9, vec![tx.clone()], seed).measure();
            let found = &result.transmitters[0];
            // Mean of the pulses' middles; the capture begins with the drift at zero.
            let count = ((SECONDS - tx.first_s - tx.on_s) / tx.period_s).floor();
            let middle_s = tx.first_s + 0.5 * count * tx.period_s + 0.5 * tx.on_s;
            let truth_hz = 457_000.0 + tx.offset_hz + tx.drift_hz_per_s * middle_s;
            let error_hz = found.carrier_hz.value - truth_hz;
            // The mean time of the pulses found is uncertain by less than one of them.
            assert!(error_hz.abs() < 0.05 + 4.0 * found.carrier_hz.u, "seed {seed}: {error_hz} Hz");
        }
    }
}

/// Two units whose pulses run through each other: the pulses that stand clear do.
#[test]
fn overlap_takes_nothing_but_pulses() {
    let (mut in_u, mut known) = (Vec::new(), 0);
    for seed in 0..synth::seeds(20) {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(33_000 + seed);
        let units = [unit(&mut rng, 1e-6), unit(&mut rng, 4e-7)];
        let result = Scene::new(SECONDS, 1e-9, units.to_vec(), seed).measure();
        for found in &result.transmitters {
            let error_hz = |tx: &Tx| found.carrier_hz.value - 457_000.0 - tx.offset_hz;
            let error_hz = units.iter().map(error_hz).min_by(|a, b| a.abs().total_cmp(&b.abs()));
            if says_so(found) {
                known += 1;
                in_u.push(error_hz.unwrap() / found.carrier_hz.u);
            }
        }
    }
    println!("{known} units of two each, error over u {:.2}", rms(&in_u));
    assert!(known > 30);
    assert!(rms(&in_u) < 1.4);
}
