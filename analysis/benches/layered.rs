//! Cost of the field over layered ground, beside that of free space in the same
//! run: `cargo bench -p coilrig-analysis --bench layered`.
//!
//! Each row is 100 couplings, all nine components, at 0.5 m to 100 m: 2000 field
//! vectors a second are 50 ms a row.

use coilrig_analysis::field::layered::{Ground, Layered, Material, Sheet};
use coilrig_analysis::field::medium::{FreeSpace, Medium};

fn main() {
    divan::main();
}

const SOURCE_M: [f64; 3] = [0.0, 0.0, -1.0];
const COIL_Z_M: f64 = 1.0;

fn ground() -> Layered {
    let snow = Material { conductivity_s_per_m: 1e-6, relative_permittivity: 1.5 };
    let soil = Material::of_resistivity(100.0, 15.0);
    Layered::new(Ground::snow_over_soil(2.0, snow, soil), 457e3).expect("a ground")
}

fn hundred(medium: &dyn Medium) -> f64 {
    let rho_m = |i: i32| 0.5 * 200f64.powf(f64::from(i) / 99.0);
    (0..100).map(|i| medium.coupling(SOURCE_M, [rho_m(i), 0.1, COIL_Z_M])[(2, 2)].re).sum()
}

#[divan::bench]
fn reference_free_space(bencher: divan::Bencher<'_, '_>) {
    bencher.bench(|| hundred(&FreeSpace { frequency_hz: 457e3 }));
}

#[divan::bench]
fn layered(bencher: divan::Bencher<'_, '_>) {
    let field = ground();
    bencher.bench(|| hundred(&field));
}

#[divan::bench]
fn sheet(bencher: divan::Bencher<'_, '_>) {
    let sheet = Sheet::new(&ground(), COIL_Z_M, (-2.0, -0.3), 100.0);
    bencher.bench(|| hundred(&sheet));
}

#[divan::bench]
fn making_the_sheet(bencher: divan::Bencher<'_, '_>) {
    let field = ground();
    bencher.bench(|| Sheet::new(&field, COIL_Z_M, (-2.0, -0.3), 100.0));
}
