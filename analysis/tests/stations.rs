//! Stations of two to six units at random: units found, units invented, pulses
//! given to the right unit.

mod synth;

use coilrig_analysis::signal::{Pulse, Transmitter};
use rand::{Rng, RngExt, SeedableRng};
use synth::{Scene, Tx, random_vector};

/// Fields over 40 dB, carriers within ± 100 Hz, periods and pulses as the
/// published limits allow them.
fn random(rng: &mut impl Rng) -> Tx {
    let magnitude = 10f64.powf(rng.random_range(-7.3..-5.3));
    let direction = random_vector(rng, magnitude);
    let mut tx = Tx::new(
        rng.random_range(-100.0..100.0),
        direction,
        rng.random_range(0.75..1.3),
        rng.random_range(0.07..0.2),
        rng.random_range(0.0..1.2),
    );
    tx.edge_s = rng.random_range(0.0005..0.004);
    tx.continuous = rng.random();
    tx
}

fn is(tx: &Tx, t: &Transmitter) -> bool {
    (t.carrier_hz.value - 457_000.0 - tx.offset_hz).abs() < 1.0
        && (t.period_s.value - tx.period_s).abs() < 1e-3
        && (t.field_a_per_m.unwrap().value / tx.magnitude()).ln().abs() < 0.1
}

/// Pulses of `train` that began when `tx` did.
fn right(tx: &Tx, trains: &[usize], pulses: &[(Pulse, Option<usize>)]) -> usize {
    let own = pulses.iter().filter(|(_, of)| of.is_some_and(|n| trains.contains(&n)));
    own.filter(|(pulse, _)| {
        let slots = (pulse.on_s - tx.first_s) / tx.period_s;
        (slots - slots.round()).abs() * tx.period_s < 0.005
    })
    .count()
}

#[test]
fn all_units_found_none_invented_pulses_assigned() {
    let seeds = synth::seeds(12);
    let first = std::env::var("FIRST").ok().and_then(|s| s.parse().ok()).unwrap_or(0u64);
    let (mut units, mut found, mut invented, mut due, mut assigned) = (0, 0, 0, 0, 0);
    for seed in first..first + seeds {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5000 + seed);
        let count = rng.random_range(2..=6);
        let scene = Scene::new(120.0, 1e-9, (0..count).map(|_| random(&mut rng)).collect(), seed);
        let (result, pulses) = scene.measure_with_pulses();
        let mut left: Vec<&Transmitter> = result.transmitters.iter().collect();
        let mut lost = Vec::new();
        for tx in &scene.transmitters {
            units += 1;
            let expected = ((120.0 - tx.first_s - tx.on_s) / tx.period_s) as usize + 1;
            due += expected;
            match left.iter().position(|t| is(tx, t)) {
                Some(i) => {
                    found += 1;
                    let n = right(tx, &left[i].trains, &pulses);
                    assigned += n;
                    if n * 100 < expected * 95 {
                        println!("seed {seed}: {n} of {expected} pulses of {}", short(tx));
                    }
                    left.remove(i);
                }
                None => lost.push(tx),
            }
        }
        invented += left.len();
        if !lost.is_empty() || !left.is_empty() {
            println!("seed {seed}:");
            scene.transmitters.iter().for_each(|tx| println!("    sent  {}", short(tx)));
            lost.iter().for_each(|tx| println!("    lost  {}", short(tx)));
            for t in left {
                println!(
                    "    extra {:8.2} Hz {:8.2} ms every {:9.3} ms {:8.1} nA/m {:?} {:?}",
                    t.carrier_hz.value - 457e3,
                    t.on_time_s.value * 1e3,
                    t.period_s.value * 1e3,
                    t.field_a_per_m.unwrap().value * 1e9,
                    t.pulses,
                    t.notes
                );
            }
        }
    }
    println!("{found} of {units} units, {invented} invented, {assigned} of {due} pulses");
    assert!(found * 100 >= units * 97, "{found} of {units} units");
    assert_eq!(invented, 0);
    assert!(assigned * 100 >= due * 95, "{assigned} of {due} pulses");
}

fn short(tx: &Tx) -> String {
    format!(
        "{:8.2} Hz {:8.2} ms every {:9.3} ms {:8.1} nA/m",
        tx.offset_hz,
        tx.on_s * 1e3,
        tx.period_s * 1e3,
        tx.magnitude() * 1e9
    )
}
