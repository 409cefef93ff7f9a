//! Cost of finding a buried unit, beside a reference in the same run:
//! `cargo bench -p coilrig-analysis --bench locate`.
//!
//! The reference is a hundred thousand dipole fields, what a plain search over a
//! grid of a few thousand places with 36 readings would compute and no more.

use coilrig_analysis::field::dipole;
use coilrig_analysis::field::layered::{Ground, Layered, Material};
use coilrig_analysis::field::medium::Medium;
use coilrig_analysis::locate::{Measured, Options, PlacedReading, analyse};

fn main() {
    divan::main();
}

/// Readings 0.3 m over the snow of a unit 1.2 m deep, on a square grid over 8 m.
/// Errors of 3 % follow a fixed pattern, since any will do here.
fn readings(a_side: usize) -> Vec<PlacedReading> {
    let along = |k: usize| 8.0 * k as f64 / (a_side - 1) as f64 - 4.0;
    (0..a_side * a_side)
        .map(|i| {
            let place_m = [along(i % a_side), along(i / a_side), 0.3];
            let offset_m = [place_m[0] - 0.7, place_m[1] + 1.1, place_m[2] + 1.2];
            let h = dipole::field([3e-3, 2e-3, 4e-3], offset_m, 457e3).map(|c| c.re);
            let magnitude = h.iter().map(|c| c * c).sum::<f64>().sqrt();
            let error = |k: usize| 0.03 * magnitude * (7.0 * i as f64 + 3.0 * k as f64).sin();
            let field = Measured::Vector(std::array::from_fn(|k| h[k] + error(k)));
            PlacedReading { place_m, field, u_a_per_m: 0.03 * magnitude }
        })
        .collect()
}

fn magnitudes(a_side: usize) -> Vec<PlacedReading> {
    let only =
        |r: PlacedReading| PlacedReading { field: Measured::Magnitude(r.field.magnitude()), ..r };
    readings(a_side).into_iter().map(only).collect()
}

#[divan::bench(sample_count = 10)]
fn reference_dipole_fields() -> f64 {
    (1..=100_000)
        .map(|i| dipole::field([3e-3, 2e-3, 4e-3], [1e-4 * f64::from(i), 0.5, 1.2], 457e3)[2].re)
        .sum()
}

#[divan::bench(args = [5, 6, 9], sample_count = 10)]
fn vectors(bencher: divan::Bencher<'_, '_>, a_side: usize) {
    let readings = readings(a_side);
    bencher.bench(|| analyse(&readings, &Options::default()).expect("a place"));
}

#[divan::bench(args = [6, 9], sample_count = 10)]
fn magnitudes_alone(bencher: divan::Bencher<'_, '_>, a_side: usize) {
    let readings = magnitudes(a_side);
    bencher.bench(|| analyse(&readings, &Options::default()).expect("a place"));
}

#[divan::bench(args = [false, true], sample_count = 3)]
fn over_layered_ground(bencher: divan::Bencher<'_, '_>, magnitudes_alone: bool) {
    let readings = if magnitudes_alone { magnitudes(9) } else { readings(6) };
    let snow = Material { conductivity_s_per_m: 1e-6, relative_permittivity: 1.5 };
    let ground = Ground::snow_over_soil(2.0, snow, Material::of_resistivity(100.0, 15.0));
    let layered = Layered::new(ground, 457e3).expect("a ground");
    let options =
        Options { ground: Some(&layered as &dyn Medium), coil_height_m: 0.3, ..Options::default() };
    bencher.bench(|| analyse(&readings, &options).expect("a place"));
}
