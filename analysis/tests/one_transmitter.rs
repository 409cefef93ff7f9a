//! One transmitter: errors within the figures the project promises, and stated
//! uncertainties that cover them, over many seeds.

mod synth;

use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx, random_vector, rms};

/// Error of each quantity, and error over stated uncertainty, over the seeds.
#[derive(Default)]
struct Errors {
    worst: f64,
    in_u: Vec<f64>,
}

impl Errors {
    fn add(&mut self, error: f64, u: f64) {
        self.worst = self.worst.max(error.abs());
        self.in_u.push(error / u);
    }

    fn check(&self, name: &str, most: f64) {
        let spread = rms(&self.in_u);
        println!(
            "{name}: worst error {:.3e} (at most {most:e}), error over u {spread:.2}, its mean {:.2}",
            self.worst,
            self.in_u.iter().sum::<f64>() / self.in_u.len() as f64
        );
        assert!(self.worst <= most, "{name}: error {}", self.worst);
        assert!((0.6..=1.5).contains(&spread), "{name}: error over u has RMS {spread}");
    }
}

#[test]
fn strong_unit_over_thirty_seconds() {
    let [mut carrier, mut period, mut on_time, mut field, mut noise] =
        std::array::from_fn(|_| Errors::default());
    for seed in 0..40 {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1000 + seed);
        let direction = random_vector(&mut rng, 1e-6);
        let mut tx = Tx::new(
            rng.random_range(-80.0..80.0),
            direction,
            rng.random_range(0.8..1.2),
            rng.random_range(0.07..0.14),
            rng.random_range(0.1..0.9),
        );
        tx.edge_s = rng.random_range(0.0005..0.004);
        tx.continuous = false;
        let scene = Scene::new(30.0, 1e-9, vec![tx.clone()], seed);
        let result = scene.measure();
        assert_eq!(result.transmitters.len(), 1, "seed {seed}: {result:#?}");
        let found = &result.transmitters[0];
        assert_eq!(found.pulses.found, found.pulses.expected);
        carrier.add(found.carrier_hz.value - 457_000.0 - tx.offset_hz, found.carrier_hz.u);
        period.add(found.period_s.value - tx.period_s, found.period_s.u);
        on_time.add(found.on_time_s.value - tx.on_s, found.on_time_s.u);
        let measured = found.field_a_per_m.unwrap();
        field.add(measured.value / 1e-6 - 1.0, measured.u / 1e-6);
        let floor = result.noise_a_per_m_rthz.unwrap();
        floor.iter().for_each(|n| noise.add(n / 1e-9 - 1.0, 0.02));
        assert!((found.first_pulse_s - tx.first_s).abs() < 2e-4, "{found:?}");
        let vector = found.field_vector_a_per_m.as_ref().unwrap();
        let dot: f64 = vector.iter().zip(direction).map(|(a, b)| a * b).sum();
        assert!(dot.abs() > 0.995e-12, "{vector:?} {direction:?}");
    }
    carrier.check("carrier_hz", 0.05);
    period.check("period_s", 50e-6);
    on_time.check("on_time_s", 0.5e-3);
    field.check("field, relative", 0.01);
    assert!(noise.worst < 0.08, "noise floor off by {}", noise.worst);
}
