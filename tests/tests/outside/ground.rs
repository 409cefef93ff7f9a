//! Dipoles in layered ground against the table that empymod made.

use coilrig_analysis::field::layered::{Ground, Layered, Material, Slab};
use coilrig_analysis::field::medium::Medium;

const TABLE: &str = include_str!("../../outside/empymod_ground.csv");

/// Relative to the magnitude of the field. The largest difference is 1.3e-7, where
/// snow without loss guides a wave that puts a pole beside the script's way; all
/// others are below 1e-8.
const AGREEMENT: f64 = 5e-7;
/// Rows for which the default filter of empymod has itself converged.
const CONVERGED: f64 = 2e-3;

#[test]
fn layered_ground_agrees_with_empymod() {
    let (mut rows, mut converged, mut worst) = (0, 0, 0.0_f64);
    for line in TABLE.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let n: Vec<f64> = line.split(',').map(|n| n.parse().expect("number")).collect();
        let material = |i| Material { conductivity_s_per_m: n[i], relative_permittivity: n[i + 1] };
        let ground = Ground {
            surface_z_m: 0.0,
            slabs: [0, 3].map(|i| Slab { thickness_m: n[i], material: material(i + 1) }).to_vec(),
            bottom: material(6),
        };
        let field = Layered::new(ground, 457e3).expect("a ground");
        let (sin, cos) = n[10].sin_cos();
        let g = field.coupling([0.0, 0.0, n[8]], [n[9] * cos, n[9] * sin, n[11]]);
        let (mut off, mut size) = (0.0, 0.0);
        for i in 0..3 {
            let ours = g[(i, 0)] * n[12] + g[(i, 1)] * n[13] + g[(i, 2)] * n[14];
            off += (ours.re - n[15 + 2 * i]).powi(2) + (ours.im - n[16 + 2 * i]).powi(2);
            size += ours.norm_sqr();
        }
        let off = (off / size).sqrt();
        worst = worst.max(off);
        rows += 1;
        converged += usize::from(n[21] < CONVERGED);
        assert!(off < AGREEMENT, "row {rows}: {off:e} off {line}");
    }
    println!(
        "{rows} rows, the default filter within {CONVERGED} in {converged}; worst {worst:.1e}"
    );
    assert!(rows >= 100 && converged >= 50, "{rows} {converged}");
}
