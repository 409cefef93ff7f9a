//! An oscillating magnetic dipole in free space.
//!
//! With k = 2πf/c and n the unit vector from source to observer,
//!
//! ```text
//! H = e^(−jkr) / (4πr³) · [ (3n(n·m) − m)(1 + jkr) + k²r² (m − n(n·m)) ]
//! ```
//!
//! which is H_r = m cosθ / (2πr³) · (1 + jkr) e^(−jkr) and
//! H_θ = m sinθ / (4πr³) · (1 + jkr − k²r²) e^(−jkr) in one line
//! (C. A. Balanis, *Antenna Theory*, chapter 5, fields of a small circular loop
//! with m = I·S; cited from memory).
//! The time factor is e^(+jωt). The terms in 1, jkr and k²r² are the static,
//! the induction and the radiation field.
//!
//! The dipole stands for a coil only beyond some multiple of the coil's own
//! size; nearer, see [`circular_loop`](super::circular_loop).

use std::f64::consts::PI;

use nalgebra::{Matrix3, Vector3};
use num_complex::Complex64;

use super::constants::wave_number_rad_per_m;

/// H (A/m, complex amplitude along x, y, z) of a dipole of moment `moment_a_m2`
/// (A·m²) at `offset_m` (observer minus source, m), at `frequency_hz` (Hz;
/// 0 gives the static field).
///
/// An RMS moment gives an RMS field. All components are NaN at the source
/// itself, where there is no field to speak of.
///
/// Accuracy: rounding only, below 1e-14 of the field's magnitude.
///
/// ```
/// use coilrig_analysis::field::dipole::field;
///
/// // 10 m from 6.3 mA·m², along the axis and beside it.
/// let m = [0.0, 0.0, 6.3e-3];
/// let coaxial = field(m, [0.0, 0.0, 10.0], 457e3)[2].norm();
/// let coplanar = field(m, [10.0, 0.0, 0.0], 457e3)[2].norm();
/// assert!((coaxial - 1.007e-6).abs() < 1e-9);
/// assert!((coplanar - 0.499e-6).abs() < 1e-9);
/// ```
pub fn field(moment_a_m2: [f64; 3], offset_m: [f64; 3], frequency_hz: f64) -> [Complex64; 3] {
    let offset = Vector3::from(offset_m);
    let r = offset.norm();
    if r == 0.0 {
        return [Complex64::new(f64::NAN, f64::NAN); 3];
    }
    let m = Vector3::from(moment_a_m2);
    let n = offset / r;
    let radial = n * n.dot(&m);
    let kr = wave_number_rad_per_m(frequency_hz) * r;

    let scale = Complex64::cis(-kr) / (4.0 * PI * r.powi(3));
    let quasi_static = radial * 3.0 - m;
    let radiating = (m - radial) * (kr * kr);
    std::array::from_fn(|i| {
        scale * (Complex64::new(1.0, kr) * quasi_static[i] + Complex64::from(radiating[i]))
    })
}

/// |H| (A/m) on the axis of a dipole at distance `distance_m` (> 0; NaN at 0):
/// the field a coaxial receiver coil sees.
///
/// m / (2πr³) · √(1 + k²r²), falling strictly with distance.
pub fn coaxial(moment_a_m2: f64, distance_m: f64, frequency_hz: f64) -> f64 {
    let kr = wave_number_rad_per_m(frequency_hz) * distance_m;
    at(moment_a_m2 / (2.0 * PI), distance_m) * (1.0 + kr * kr).sqrt()
}

/// |H| (A/m) in the equatorial plane of a dipole at distance `distance_m`
/// (> 0; NaN at 0): the field a coplanar receiver coil sees.
///
/// m / (4πr³) · √(1 − k²r² + k⁴r⁴), falling strictly with distance: the
/// near-zone dip of the root is shallower than the fall of 1/r³.
pub fn coplanar(moment_a_m2: f64, distance_m: f64, frequency_hz: f64) -> f64 {
    let kr2 = (wave_number_rad_per_m(frequency_hz) * distance_m).powi(2);
    at(moment_a_m2 / (4.0 * PI), distance_m) * (1.0 - kr2 + kr2 * kr2).sqrt()
}

/// The matrix G (1/m³) with H = G·m for the static field alone: the near field
/// without its phase, for searches that look at very many places. NaN at the source.
///
/// At 10 m and 457 kHz it differs from [`field`] by 1 % of the magnitude.
pub fn static_coupling(offset_m: [f64; 3]) -> Matrix3<f64> {
    let offset = Vector3::from(offset_m);
    let squared = offset.norm_squared();
    let scale = 1.0 / (4.0 * PI * squared * squared.sqrt());
    (offset * offset.transpose() * (3.0 / squared) - Matrix3::identity()) * scale
}

fn at(strength: f64, distance_m: f64) -> f64 {
    if distance_m > 0.0 { strength / distance_m.powi(3) } else { f64::NAN }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::constants::NOMINAL_CARRIER_HZ;

    const M: [f64; 3] = [0.3, -0.5, 0.8];

    fn db(ratio: f64) -> f64 {
        20.0 * ratio.log10()
    }

    fn magnitude(h: [Complex64; 3]) -> f64 {
        h.iter().map(|c| c.norm_sqr()).sum::<f64>().sqrt()
    }

    #[test]
    fn coaxial_is_twice_coplanar_in_the_near_field() {
        assert!((db(coaxial(1.0, 1.0, 0.0) / coplanar(1.0, 1.0, 0.0)) - 6.0206).abs() < 1e-4);
        let carrier = db(coaxial(1.0, 5.0, NOMINAL_CARRIER_HZ) / coplanar(1.0, 5.0, 457e3));
        assert!((carrier - 6.02).abs() < 0.03, "{carrier}");
    }

    #[test]
    fn doubling_the_near_distance_costs_18_db() {
        for distance_m in [0.5, 1.0, 2.0] {
            let fall = db(coaxial(1.0, distance_m, 457e3) / coaxial(1.0, 2.0 * distance_m, 457e3));
            assert!((fall - 18.06).abs() < 0.01, "{fall}");
        }
    }

    #[test]
    fn doubling_the_far_distance_costs_6_db_beside_and_12_db_on_the_axis() {
        let far_m = 1e5;
        let beside = coplanar(1.0, far_m, 457e3) / coplanar(1.0, 2.0 * far_m, 457e3);
        let on_axis = coaxial(1.0, far_m, 457e3) / coaxial(1.0, 2.0 * far_m, 457e3);
        assert!((db(beside) - 6.0206).abs() < 1e-3);
        assert!((db(on_axis) - 12.0412).abs() < 1e-3);
    }

    #[test]
    fn magnitude_follows_the_polar_law_in_the_near_field() {
        for degrees in [0.0_f64, 20.0, 45.0, 70.0, 90.0] {
            let (s, c) = degrees.to_radians().sin_cos();
            let h = magnitude(field([0.0, 0.0, 1.0], [2.0 * s, 0.0, 2.0 * c], 0.0));
            let law = (1.0 + 3.0 * c * c).sqrt() / (4.0 * PI * 8.0);
            assert!((h / law - 1.0).abs() < 1e-14);
        }
    }

    #[test]
    fn helpers_are_the_field_on_the_axis_and_in_the_plane() {
        for r in [0.3, 10.0, 104.4, 500.0] {
            let on_axis = magnitude(field([0.0, 2.0, 0.0], [0.0, -r, 0.0], 457e3));
            let beside = magnitude(field([0.0, 2.0, 0.0], [r * 0.6, 0.0, r * 0.8], 457e3));
            assert!((on_axis / coaxial(2.0, r, 457e3) - 1.0).abs() < 1e-13);
            assert!((beside / coplanar(2.0, r, 457e3) - 1.0).abs() < 1e-13);
        }
    }

    #[test]
    fn static_coupling_times_moment_is_the_static_field() {
        let offset = [1.3, -0.7, 2.1];
        let h = static_coupling(offset) * Vector3::from(M);
        for (quick, full) in h.iter().zip(field(M, offset, 0.0)) {
            assert!((quick - full.re).abs() < 1e-16);
        }
        let carrier = magnitude(field(M, [6.0, 0.0, 8.0], 457e3));
        let quick = (static_coupling([6.0, 0.0, 8.0]) * Vector3::from(M)).norm();
        assert!((quick / carrier - 1.0).abs() < 0.01, "{}", quick / carrier);
    }

    #[test]
    fn both_magnitudes_fall_strictly_with_distance() {
        let mut last = (f64::INFINITY, f64::INFINITY);
        for step in 0..4000 {
            let r = 10f64.powf(-1.0 + step as f64 / 800.0);
            let now = (coaxial(1.0, r, 457e3), coplanar(1.0, r, 457e3));
            assert!(now.0 < last.0 && now.1 < last.1, "at {r} m");
            last = now;
        }
    }

    /// ∇·H = 0 at every frequency, by central differences.
    #[test]
    fn divergence_is_zero() {
        let at = [1.3, -0.7, 2.1];
        let step = 1e-4;
        for frequency_hz in [0.0, 457e3, 50e6] {
            let divergence: Complex64 = (0..3)
                .map(|i| {
                    let (mut up, mut down) = (at, at);
                    up[i] += step;
                    down[i] -= step;
                    (field(M, up, frequency_hz)[i] - field(M, down, frequency_hz)[i]) / (2.0 * step)
                })
                .sum();
            let scale = magnitude(field(M, at, frequency_hz));
            assert!(divergence.norm() < 1e-7 * scale, "{} at {frequency_hz}", divergence.norm());
        }
    }

    /// Outside the source every component obeys ∇²H + k²H = 0, which ties the
    /// three terms and the phase factor together.
    #[test]
    fn helmholtz_equation_holds() {
        let at = [0.9, 1.4, -1.1];
        let (step, frequency_hz) = (2e-3, 60e6);
        let k = wave_number_rad_per_m(frequency_hz);
        let here = field(M, at, frequency_hz);
        for i in 0..3 {
            let mut laplacian = Complex64::default();
            for axis in 0..3 {
                let (mut up, mut down) = (at, at);
                up[axis] += step;
                down[axis] -= step;
                let sum = field(M, up, frequency_hz)[i] + field(M, down, frequency_hz)[i];
                laplacian += (sum - 2.0 * here[i]) / (step * step);
            }
            let left = (laplacian + k * k * here[i]).norm();
            assert!(left < 1e-4 * k * k * magnitude(here), "{left}");
        }
    }

    #[test]
    fn far_wave_runs_outward() {
        let ahead = field([0.0, 0.0, 1.0], [1e6 + 1.0, 0.0, 0.0], 457e3)[2];
        let behind = field([0.0, 0.0, 1.0], [1e6, 0.0, 0.0], 457e3)[2];
        let turn = (ahead / behind).arg();
        assert!((turn + wave_number_rad_per_m(457e3)).abs() < 1e-6, "{turn}");
    }

    #[test]
    fn reversing_the_moment_reverses_the_field() {
        let plus = field(M, [1.0, 2.0, 3.0], 457e3);
        let minus = field(M.map(|c| -c), [1.0, 2.0, 3.0], 457e3);
        for i in 0..3 {
            assert_eq!(plus[i], -minus[i]);
        }
    }

    #[test]
    fn at_the_source_there_is_no_number() {
        assert!(field(M, [0.0; 3], 457e3).iter().all(|c| c.re.is_nan()));
        assert!(coaxial(1.0, 0.0, 457e3).is_nan() && coplanar(1.0, 0.0, 457e3).is_nan());
    }
}
