//! dbg
#[path = "../tests/synth/mod.rs"]
mod synth;
use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx, rms};
fn main() {
    let mut all = vec![];
    for seed in 0..200 {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1000 + seed);
        let mut direction = [0.0; 3].map(|_: f64| rng.random_range(-1.0..1.0));
        let norm = direction.iter().map(|d: &f64| d * d).sum::<f64>().sqrt();
        direction.iter_mut().for_each(|d| *d *= 1e-6 / norm);
        let mut tx = Tx::new(rng.random_range(-80.0..80.0), direction, rng.random_range(0.8..1.2), rng.random_range(0.07..0.14), rng.random_range(0.1..0.9));
        tx.edge_s = rng.random_range(0.0005..0.004);
        tx.continuous = false;
        let scene = Scene::new(30.0, 1e-9, vec![tx.clone()], seed);
        let (m, p) = scene.measure_with_pulses();
        let t = &m.transmitters[0];
        let z = (t.period_s.value - tx.period_s) / t.period_s.u;
        all.push(z);
        if z.abs() > 2.5 {
            println!("seed {seed} z {z:.2} err {:.2e} u {:.2e} edge {:.2} ms {:?}", t.period_s.value - tx.period_s, t.period_s.u, tx.edge_s * 1e3, t.notes.len());
            let e: Vec<String> = p.iter().enumerate().map(|(k, p)| format!("{:.0}/{:.0}", (p.0.on_s - tx.first_s - k as f64 * tx.period_s) * 1e6, p.0.edge_s[0]*1e6)).collect();
            println!("  {}", e.join(" "));
        }
    }
    println!("{:.3}", rms(&all));
}
