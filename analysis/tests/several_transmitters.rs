//! Two and three transmitters at once: none missed, none invented, every
//! number within its stated uncertainty.

mod synth;

use coilrig_analysis::signal::Transmitter;
use rand::{Rng, RngExt, SeedableRng};
use synth::{Scene, Tx, random_vector, rms};

fn random(rng: &mut impl Rng, magnitude: f64) -> Tx {
    let direction = random_vector(rng, magnitude);
    let mut tx = Tx::new(
        rng.random_range(-80.0..80.0),
        direction,
        rng.random_range(0.8..1.2),
        rng.random_range(0.07..0.12),
        rng.random_range(0.1..0.9),
    );
    tx.edge_s = rng.random_range(0.0005..0.004);
    tx.continuous = rng.random();
    tx
}

/// Each unit with the transmitter nearest to it in carrier, period and field.
fn pair<'a>(scene: &Scene, found: &'a [Transmitter]) -> Vec<(Tx, &'a Transmitter)> {
    let distance = |tx: &Tx, t: &Transmitter| {
        (t.carrier_hz.value - 457_000.0 - tx.offset_hz).abs() / 0.5
            + (t.period_s.value - tx.period_s).abs() / 1e-4
            + (t.field_a_per_m.unwrap().value / tx.magnitude()).ln().abs() * 10.0
    };
    let nearest = |tx: &Tx| {
        let by = |a: &&Transmitter, b: &&Transmitter| distance(tx, a).total_cmp(&distance(tx, b));
        found.iter().min_by(by).unwrap()
    };
    scene.transmitters.iter().map(|tx| (tx.clone(), nearest(tx))).collect()
}

#[test]
fn three_units_of_random_strength() {
    let mut in_u: [Vec<f64>; 4] = Default::default();
    let (mut due, mut found) = (0, 0);
    for seed in 0..24 {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(2000 + seed);
        let units = (0..3)
            .map(|_| {
                let decades = rng.random_range(-7.0..-5.5);
                random(&mut rng, 10f64.powf(decades))
            })
            .collect();
        let scene = Scene::new(40.0, 1e-9, units, seed);
        let result = scene.measure();
        let labels: Vec<_> = result
            .transmitters
            .iter()
            .map(|t| {
                (
                    t.carrier_hz.value - 457e3,
                    t.period_s.value,
                    t.on_time_s.value,
                    t.field_a_per_m.unwrap().value,
                    t.pulses,
                )
            })
            .collect();
        let sent: Vec<_> = scene
            .transmitters
            .iter()
            .map(|t| (t.offset_hz, t.period_s, t.on_s, t.magnitude()))
            .collect();
        assert_eq!(labels.len(), 3, "seed {seed}: {labels:?} of {sent:?}");
        for (tx, t) in pair(&scene, &result.transmitters) {
            let errors = [
                (t.carrier_hz.value - 457_000.0 - tx.offset_hz, t.carrier_hz.u, 0.2),
                (t.period_s.value - tx.period_s, t.period_s.u, 1e-4),
                (t.on_time_s.value - tx.on_s, t.on_time_s.u, 1e-3),
                (
                    t.field_a_per_m.unwrap().value - tx.magnitude(),
                    t.field_a_per_m.unwrap().u,
                    0.03 * tx.magnitude(),
                ),
            ];
            for (i, (error, u, most)) in errors.into_iter().enumerate() {
                if (error / u).abs() > 4.0 || error.abs() > most {
                    println!(
                        "seed {seed} quantity {i}: {error:e} u {u:e} {tx:?} {:?} {:?}",
                        t.pulses, t.notes
                    );
                }
                in_u[i].push(error / u);
            }
            due += t.pulses.expected;
            found += t.pulses.found;
        }
    }
    let spreads = in_u.map(|e| rms(&e));
    println!(
        "error over u of carrier, period, on time, field: {spreads:.2?}; {found} of {due} pulses"
    );
    assert!(spreads.iter().all(|s| (0.6..=1.6).contains(s)), "{spreads:?}");
    assert!(found as f64 > 0.98 * due as f64);
}
