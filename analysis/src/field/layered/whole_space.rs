//! A dipole in one material without end.
//!
//! With the wave number k of the material, complex where it conducts,
//!
//! ```text
//! H = e^(−jkr) / (4πr³) · [ (3n(n·m) − m)(1 + jkr) + k²r² (m − n(n·m)) ]
//! ```
//!
//! as in [`dipole`](crate::field::dipole), which is the case of vacuum.

use std::f64::consts::PI;

use nalgebra::{Matrix3, Vector3};
use num_complex::Complex64;

/// H (A/m) at `offset_m` (observer minus source, m) of moments of 1 A·m² along x,
/// y and z as columns; NaN at the source. Accuracy: rounding only.
pub fn coupling(wave_number: Complex64, offset_m: [f64; 3]) -> Matrix3<Complex64> {
    let offset = Vector3::from(offset_m);
    let r = offset.norm();
    if r == 0.0 {
        return Matrix3::repeat(Complex64::new(f64::NAN, f64::NAN));
    }
    let n = offset / r;
    let along = (n * n.transpose()).map(Complex64::from);
    let jkr = Complex64::I * wave_number * r;
    let scale = (-jkr).exp() / (4.0 * PI * r.powi(3));
    let near = (along * Complex64::from(3.0) - Matrix3::identity()) * (1.0 + jkr);
    // k²r² = −(jkr)².
    let far = (along - Matrix3::identity()) * (jkr * jkr);
    (near + far) * scale
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::constants::wave_number_rad_per_m;
    use crate::field::medium::{FreeSpace, Medium};

    #[test]
    fn vacuum_is_free_space() {
        let at = [3.0, -40.0, 7.0];
        let ours = coupling(wave_number_rad_per_m(457e3).into(), at);
        let free = FreeSpace { frequency_hz: 457e3 }.coupling([0.0; 3], at);
        assert!((ours - free).norm() < 1e-15 * free.norm());
    }

    #[test]
    fn a_conductor_swallows_the_field() {
        let k = Complex64::new(0.13, -0.13);
        let h = |r: f64| coupling(k, [0.0, 0.0, r])[(2, 2)].norm() * r.powi(3);
        let law = |r: f64| (1.0 + Complex64::I * k * r).norm() * (-0.13 * r).exp();
        assert!((h(50.0) / h(5.0) / (law(50.0) / law(5.0)) - 1.0).abs() < 1e-12);
    }
}
