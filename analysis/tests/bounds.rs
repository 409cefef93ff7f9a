//! One transmitter from 15 dB pulse energy over noise density upward, against
//! the bounds of Rife and Boorstyn (IEEE Trans. Inf. Theory 20 (1974) 591–598;
//! their equations for many samples quoted from memory): for energy over noise
//! density ρ and length T, var f = 6 / (ρ (2πT)²) and var A / A² = 1 / (2ρ) for
//! each pulse, divided by the number of pulses of unknown phase.

mod synth;

use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx, random_vector, rms};

#[test]
fn carrier_and_amplitude_reach_the_bound_of_their_pulses() {
    let seeds = synth::seeds(24);
    for decibels in [15.0, 20.0, 25.0, 40.0] {
        let mut over_bound: [Vec<f64>; 2] = Default::default();
        let mut in_u: [Vec<f64>; 4] = Default::default();
        let (mut on_times, mut periods) = (Vec::new(), Vec::new());
        let (mut found, mut due) = (0, 0);
        for seed in 0..seeds {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(9000 + seed);
            let on_s: f64 = rng.random_range(0.07..0.12);
            let rho = 10f64.powf(decibels / 10.0);
            let magnitude = (rho / on_s).sqrt() * 1e-9;
            let direction = random_vector(&mut rng, magnitude);
            let (offset, period) = (rng.random_range(-80.0..80.0), rng.random_range(0.9..1.1));
            let mut tx = Tx::new(offset, direction, period, on_s, rng.random_range(0.1..0.9));
            tx.continuous = false;
            let result = Scene::new(61.0, 1e-9, vec![tx.clone()], seed).measure();
            let all: Vec<_> = result
                .transmitters
                .iter()
                .map(|t| (t.carrier_hz.value, t.period_s.value, t.on_time_s.value, t.pulses))
                .collect();
            assert_eq!(all.len(), 1, "{decibels} dB, seed {seed}: {all:?} of {tx:?}");
            let t = &result.transmitters[0];
            let n = t.pulses.found as f64;
            found += t.pulses.found;
            due += ((61.0 - tx.first_s - on_s) / period) as usize + 1;
            let carrier = t.carrier_hz.value - 457_000.0 - tx.offset_hz;
            let bound = (6.0 / (rho * n)).sqrt() / (std::f64::consts::TAU * on_s);
            let field = t.field_a_per_m.unwrap();
            let amplitude = field.value / magnitude - 1.0;
            over_bound[0].push(carrier / bound);
            over_bound[1].push(amplitude / (0.5 / (rho * n)).sqrt());
            on_times.push(t.on_time_s.value - on_s);
            periods.push(t.period_s.value - period);
            let errors = [
                carrier / t.carrier_hz.u,
                amplitude * magnitude / field.u,
                on_times[on_times.len() - 1] / t.on_time_s.u,
                periods[periods.len() - 1] / t.period_s.u,
            ];
            in_u.iter_mut().zip(errors).for_each(|(all, e)| all.push(e));
        }
        let [carrier, amplitude] = over_bound.each_ref().map(|v| rms(v));
        let worst = |v: &[f64]| v.iter().fold(0.0f64, |w, e| w.max(e.abs()));
        println!(
            "{decibels} dB: {found} of {due} pulses; RMS error over the bound: carrier \
             {carrier:.2}, amplitude {amplitude:.2}; worst on time {:.3} ms, period {:.1} µs; \
             error over u of carrier, amplitude, on time, period {:.2?}",
            1e3 * worst(&on_times),
            1e6 * worst(&periods),
            in_u.each_ref().map(|e| rms(e))
        );
        // The spread of an RMS over so many seeds comes on top of what is promised.
        let spread = 1.0 + 2.0 / (2.0 * seeds as f64).sqrt();
        assert!(carrier < 1.15 * spread, "carrier {carrier} times the bound");
        assert!(amplitude < 1.2 * spread, "amplitude {amplitude} times the bound");
        for (name, e) in ["carrier", "amplitude", "on time", "period"].iter().zip(&in_u) {
            let e = rms(e);
            assert!(e > 0.8 / spread && e < 1.25 * spread, "{name}: {e} u");
        }
        assert!(found * 10 >= due * 9, "{found} of {due} pulses");
        if decibels >= 25.0 {
            assert!(rms(&on_times) < 0.3e-3 && rms(&periods) < 20e-6);
        }
    }
}
