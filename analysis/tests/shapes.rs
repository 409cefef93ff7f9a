//! Pulses that sag or chirp: one unit, its values right and honest, the flaw told.

mod synth;

use rand::{RngExt, SeedableRng};
use synth::{Scene, Tx, random_vector, rms};

fn scene(seed: u64, magnitude: f64, sag: f64, chirp_hz: f64, settling_s: f64) -> Scene {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(9000 + seed);
    let mut tx = Tx::new(
        rng.random_range(-60.0..60.0),
        random_vector(&mut rng, magnitude),
        rng.random_range(0.9..1.1),
        rng.random_range(0.075..0.12),
        rng.random_range(0.0..1.0),
    );
    tx.edge_s = rng.random_range(0.0005..0.003);
    (tx.sag, tx.chirp_hz, tx.settling_s) = (sag, chirp_hz, settling_s);
    Scene::new(40.0, 1e-9, vec![tx], seed)
}

#[test]
fn sketch() {
    for magnitude in [1e-7, 1e-6, 1e-5] {
        for (sag, chirp, tau) in [
            (0.0, 0.0, 0.005),
            (0.1, 0.0, 0.005),
            (0.3, 0.0, 0.005),
            (0.5, 0.0, 0.005),
            (0.0, 5.0, 0.005),
            (0.0, 20.0, 0.005),
            (0.0, -60.0, 0.005),
            (0.0, 10.0, 0.02),
            (0.0, 40.0, 0.02),
            (0.2, 20.0, 0.01),
        ] {
            let (mut c, mut on, mut p, mut ch, mut extra, mut che) =
                (vec![], vec![], vec![], vec![], 0, vec![]);
            let mut worst: [f64; 3] = [0.0; 3];
            for seed in 0..6 {
                let s = scene(seed, magnitude, sag, chirp, tau);
                let m = s.measure();
                extra += m.transmitters.len() as i32 - 1;
                let Some(t) = m.transmitters.first() else { continue };
                let tx = &s.transmitters[0];
                let dc = t.carrier_hz.value - 457e3 - tx.offset_hz;
                c.push(dc / t.carrier_hz.u);
                on.push((t.on_time_s.value - tx.on_s) / t.on_time_s.u);
                worst[0] = worst[0].max(dc.abs());
                worst[1] = worst[1].max((t.on_time_s.value - tx.on_s).abs());
                p.push((t.period_s.value - tx.period_s) / t.period_s.u);
                if let Some(r) = t.key_on_chirp_hz {
                    let truth = chirp * tau * (1.0 - (-0.01 / tau).exp()) / 0.01;
                    ch.push((r.value - truth) / r.u);
                    che.push(r.value - truth);
                }
                if std::env::var("V").is_ok() {
                    println!(
                        "   seed {seed} dc {dc:.4} don {:.3} ms on {:.1} edge {:.2} sag {sag} {chirp} {tau} {:?} {:?} {:?} stray {}",
                        1e3 * (t.on_time_s.value - tx.on_s),
                        tx.on_s * 1e3,
                        tx.edge_s * 1e3,
                        t.pulses,
                        t.key_on_chirp_hz.map(|c| c.value),
                        t.notes,
                        m.stray_pulses
                    );
                }
            }
            println!(
                "{magnitude:.0e} sag {sag} chirp {chirp} {tau}: extra {extra} carrier {:.2} u (worst {:.4} Hz) on {:.2} (worst {:.3} ms) period {:.2} chirps {} {:.2} u {:.3} Hz",
                rms(&c),
                worst[0],
                rms(&on),
                worst[1] * 1e3,
                rms(&p),
                ch.len(),
                rms(&ch),
                rms(&che)
            );
        }
    }
}

#[test]
fn strays() {
    let s = scene(0, 1e-5, 0.0, 0.0, 0.005);
    let (m, pulses) = s.measure_with_pulses();
    println!("{:?}", s.transmitters[0]);
    for t in &m.transmitters {
        println!("{} {:?} {:?}", t.label, t.trains, t.pulses);
    }
    for (p, t) in pulses.iter().take(40) {
        println!(
            "P {:.4} {:.4} off {:.2} E {:.0} dens {:.1} ov {} {:?}",
            p.on_s,
            p.off_s,
            p.offset_hz,
            p.energy_to_noise,
            10.0 * (p.energy_to_noise / p.on_time_s()).log10(),
            p.overlapped,
            t
        );
    }
}
