//! Trains whose single pulses are hidden by noise, and noise alone for a day.

mod synth;

use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx, rms};

fn seeds(default: u64) -> u64 {
    std::env::var("SEEDS").ok().and_then(|s| s.parse().ok()).unwrap_or(default)
}

#[test]
fn trains_of_eight_decibels_a_pulse_are_found_in_a_minute() {
    let mut errors: [Vec<f64>; 4] = Default::default();
    let mut in_u: [Vec<f64>; 4] = Default::default();
    let (seeds, mut found, mut extra) = (seeds(40), 0, 0);
    for seed in 0..seeds {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7000 + seed);
        let on_s: f64 = rng.random_range(0.08..0.12);
        let mut direction = [0.0; 3].map(|_: f64| rng.random_range(-1.0..1.0));
        let norm = direction.iter().map(|d: &f64| d * d).sum::<f64>().sqrt();
        let rho = 10f64.powf(0.8);
        let magnitude = (rho / on_s).sqrt() * 1e-9;
        direction.iter_mut().for_each(|d| *d *= magnitude / norm);
        let (offset, period) = (rng.random_range(-80.0..80.0), rng.random_range(0.8..1.2));
        let mut tx = Tx::new(offset, direction, period, on_s, rng.random_range(0.1..0.9));
        tx.continuous = false;
        let result = Scene::new(60.0, 1e-9, vec![tx.clone()], seed).measure();
        let right = |t: &&coilrig_analysis::signal::Transmitter| {
            (t.carrier_hz.value - 457_000.0 - tx.offset_hz).abs() < 2.0
                && (t.period_s.value - tx.period_s).abs() < 5e-3
        };
        let Some(t) = result.transmitters.iter().find(right) else {
            println!("seed {seed}: not found, but {:?}", result.transmitters.iter().map(|t| (t.carrier_hz.value - 457e3, t.period_s.value)).collect::<Vec<_>>());
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
