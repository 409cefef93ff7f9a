//! Pulses that sag or chirp: one unit, its values right, the flaw told.

mod synth;

use coilrig_analysis::signal::Transmitter;
use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx, random_vector, rms};

fn scene(seed: u64, magnitude: f64, flaw: impl Fn(&mut Tx)) -> Scene {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(9000 + seed);
    let mut tx = Tx::new(
        rng.random_range(-60.0..60.0),
        random_vector(&mut rng, magnitude),
        rng.random_range(0.9..1.1),
        rng.random_range(0.075..0.12),
        rng.random_range(0.0..1.0),
    );
    tx.edge_s = rng.random_range(0.0005..0.003);
    flaw(&mut tx);
    Scene::new(40.0, 1e-9, vec![tx], seed)
}

/// The only transmitter of each scene, with what was sent.
fn measured(magnitude: f64, flaw: impl Fn(&mut Tx)) -> Vec<(Tx, Transmitter)> {
    (0..synth::seeds(4))
        .map(|seed| {
            let scene = scene(seed, magnitude, &flaw);
            let result = scene.measure();
            assert_eq!(result.transmitters.len(), 1, "seed {seed}: {:#?}", result.transmitters);
            (scene.transmitters[0].clone(), result.transmitters[0].clone())
        })
        .collect()
}

/// Errors of carrier and on time over their uncertainty, and their greatest.
fn errors(all: &[(Tx, Transmitter)]) -> ([f64; 2], [f64; 2]) {
    let off = |i: usize| -> Vec<(f64, f64)> {
        let one = |(tx, t): &(Tx, Transmitter)| match i {
            0 => (t.carrier_hz.value - 457e3 - tx.offset_hz, t.carrier_hz.u),
            _ => (t.on_time_s.value - tx.on_s, t.on_time_s.u),
        };
        all.iter().map(one).collect()
    };
    let in_u = [0, 1].map(|i| rms(&off(i).iter().map(|(e, u)| e / u).collect::<Vec<_>>()));
    let worst = [0, 1].map(|i| off(i).iter().map(|(e, _)| e.abs()).fold(0.0, f64::max));
    (in_u, worst)
}

#[test]
fn pulses_that_sag() {
    for magnitude in [1e-6, 1e-5] {
        for sag in [0.1, 0.3, 0.5] {
            let all = measured(magnitude, |tx| tx.sag = sag);
            let (in_u, worst) = errors(&all);
            println!("{magnitude:.0e} A/m, sag {sag}: errors over u {in_u:.2?}, worst {worst:?}");
            assert!(worst[0] < 0.02 && worst[1] < 0.25e-3, "{worst:?}");
            assert!(in_u.iter().all(|e| *e < 4.0), "{in_u:?}");
            for (_, found) in &all {
                let told =
                    found.notes.iter().find_map(|n| n.strip_prefix("the amplitude falls by "));
                let percent =
                    told.and_then(|n| n.split(' ').next()).map(|n| n.parse::<f64>().unwrap());
                let off = percent.map(|p| p - 100.0 * sag);
                assert!(off.is_some_and(|o| o.abs() < 4.0), "{:?}", found.notes);
            }
        }
    }
}

#[test]
fn carriers_that_settle_after_key_on() {
    for magnitude in [1e-6, 1e-5] {
        for (chirp_hz, settling_s, sag) in
            [(5.0, 0.005, 0.0), (-20.0, 0.005, 0.0), (10.0, 0.02, 0.0), (20.0, 0.01, 0.2)]
        {
            let all = measured(magnitude, |tx| {
                (tx.chirp_hz, tx.settling_s, tx.sag) = (chirp_hz, settling_s, sag);
            });
            let (in_u, worst) = errors(&all);
            println!(
                "{magnitude:.0e} A/m, {chirp_hz} Hz for {settling_s} s: errors over u {in_u:.2?}, \
                 worst {worst:?}"
            );
            assert!(worst[0] < 0.1 && worst[1] < 0.2e-3, "{worst:?}");
            assert!(in_u[0] < 2.0, "{in_u:?}");
            // Mean of chirp · exp(−t / settling) over the first 10 ms.
            let truth = chirp_hz * settling_s / 0.01 * (1.0 - (-0.01 / settling_s).exp());
            for (_, found) in &all {
                let told = found.key_on_chirp_hz.expect("a chirp");
                let off = (told.value - truth).abs();
                assert!(off < 3.0 * told.u, "{told:?}, sent {truth}");
                assert!(found.notes.iter().any(|n| n.starts_with("chirp")), "{:?}", found.notes);
            }
        }
    }
}

#[test]
fn plain_pulses_have_no_flaw() {
    for magnitude in [1e-7, 1e-6, 1e-5] {
        for (_, found) in measured(magnitude, |_| ()) {
            assert_eq!(found.key_on_chirp_hz, None);
            assert!(!found.notes.iter().any(|n| n.contains("amplitude")), "{:?}", found.notes);
        }
    }
}
