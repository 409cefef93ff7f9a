//! Units of the same period, half or a third of it apart: several, not one of a shorter
//! period. `SEEDS=n` makes it longer.

mod synth;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use synth::{Scene, Tx, random_vector};

fn seeds(usual: u64) -> u64 {
    std::env::var("SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(usual)
}

/// So many units of one make, evenly spread over their period, within 4 Hz of the first,
/// which is the weakest by up to 12 dB. One of them may come up later.
fn in_step(rng: &mut impl Rng, places: usize, units: usize, late_s: f64) -> Vec<Tx> {
    let period_s = rng.random_range(0.95..1.3);
    let carrier_hz = rng.random_range(-60.0..60.0);
    let first_s = rng.random_range(0.05..0.3);
    (0..units)
        .map(|i| {
            let strength = 10f64.powf(rng.random_range(-7.0..-6.4));
            let apart_hz = [0.0, 1.5, -1.2][i] + rng.random_range(-0.3..0.3);
            // Crystals differ by some parts in a million.
            let own_s = period_s * (1.0 + rng.random_range(-5e-6..5e-6));
            let since_s = if i == 0 { 0.0 } else { (late_s / period_s).floor() * period_s };
            let at_s = first_s + since_s + i as f64 * period_s / places as f64;
            Tx::new(carrier_hz + apart_hz, random_vector(rng, strength), own_s, 0.09, at_s)
        })
        .collect()
}

/// Each unit is found with its own carrier, period and field, and nothing else.
fn all_found(scene: &Scene, what: &str) {
    let result = scene.measure();
    let brief: Vec<_> = (result.transmitters.iter())
        .map(|t| (t.carrier_hz.value - 457e3, t.period_s.value, t.pulses))
        .collect();
    let due: Vec<_> = scene.transmitters.iter().map(|t| (t.offset_hz, t.period_s)).collect();
    assert_eq!(brief.len(), due.len(), "{what}: {brief:?} in place of {due:?}");
    for tx in &scene.transmitters {
        let found = result.transmitters.iter().find(|t| {
            (t.carrier_hz.value - 457e3 - tx.offset_hz).abs() < 0.3
                && (t.period_s.value - tx.period_s).abs() < 1e-4
                && (t.field_a_per_m.unwrap().value / tx.magnitude() - 1.0).abs() < 0.05
        });
        let found = found.unwrap_or_else(|| panic!("{what}: {tx:?} is not among {brief:?}"));
        let heard_s = scene.duration_s - tx.first_s;
        let expected = (heard_s / tx.period_s).floor();
        assert!(found.pulses.found as f64 > 0.85 * expected, "{what}: {:?}", found.pulses);
    }
}

#[test]
fn two_units_half_a_period_apart() {
    for seed in 0..seeds(12) {
        let units = in_step(&mut ChaCha8Rng::seed_from_u64(seed), 2, 2, 0.0);
        all_found(&Scene::new(40.0, 1e-9, units, seed), &format!("halves, seed {seed}"));
    }
}

#[test]
fn two_and_three_units_a_third_apart() {
    for seed in 0..seeds(12) {
        let count = 2 + (seed % 2) as usize;
        let units = in_step(&mut ChaCha8Rng::seed_from_u64(100 + seed), 3, count, 0.0);
        all_found(&Scene::new(40.0, 1e-9, units, seed), &format!("{count} thirds, seed {seed}"));
    }
}

/// The second comes up when the first is well known.
#[test]
fn one_that_comes_up_half_way_between() {
    for seed in 0..seeds(12) {
        let units = in_step(&mut ChaCha8Rng::seed_from_u64(200 + seed), 2, 2, 25.0);
        all_found(&Scene::new(60.0, 1e-9, units, seed), &format!("late, seed {seed}"));
    }
}

/// A single unit of a short period, drifting, before a coil that is turned.
#[test]
fn one_unit_stays_one() {
    for seed in 0..seeds(12) {
        let mut rng = ChaCha8Rng::seed_from_u64(300 + seed);
        let mut unit = in_step(&mut rng, 2, 1, 0.0).remove(0);
        unit.period_s = rng.random_range(0.4..0.7);
        unit.drift_hz_per_s = rng.random_range(-0.05..0.05);
        unit.continuous = false;
        all_found_but_carrier(&Scene::new(40.0, 1e-9, vec![unit], seed), seed);
    }
}

fn all_found_but_carrier(scene: &Scene, seed: u64) {
    let result = scene.measure();
    let brief: Vec<_> =
        result.transmitters.iter().map(|t| (t.carrier_hz.value, t.period_s.value)).collect();
    assert_eq!(brief.len(), 1, "seed {seed}: {brief:?}");
    let off_s = (brief[0].1 - scene.transmitters[0].period_s).abs();
    assert!(off_s < 1e-4, "seed {seed}: {brief:?}");
}
