//! The real vector that stands for an alternating field.
//!
//! At one place the field's tip runs round an ellipse: H(t) = Re(H e^(jωt)).
//! Turned by the phase φ = ½ arg(H·H) (no conjugate), the real part of H is the
//! ellipse's long half axis and the imaginary part its short one. In free space
//! the short axis is below k³r³/3 of the long one, 3·10⁻⁴ at 10 m, and a receiver
//! gives the long axis as its vector, so that is what a vector reading is
//! compared with; a magnitude holds both. The phase itself is left out: nothing
//! links the phase of one reading to the next.

use nalgebra::{Matrix3, Vector3};
use num_complex::Complex64;

/// Half axes of the ellipse of `h`, long and short, and the factor e^(−jφ) that
/// brings them forth. The long axis is given up to its sign.
pub fn axes(h: &Vector3<Complex64>) -> (Vector3<f64>, Vector3<f64>, Complex64) {
    let square: Complex64 = h.iter().map(|c| c * c).sum();
    let turn = Complex64::cis(-0.5 * square.arg());
    let turned = h.map(|c| c * turn);
    (turned.map(|c| c.re), turned.map(|c| c.im), turn)
}

/// The long half axis of `h`, up to its sign.
pub fn long_axis(h: &Vector3<Complex64>) -> Vector3<f64> {
    axes(h).0
}

/// How the long half axis follows a change of the field: row k holds a with
/// dv_k = Re(Σ a_i dH_i). It grows without bound as the ellipse becomes a circle,
/// which has no long axis.
pub fn long_axis_gradient(h: &Vector3<Complex64>) -> Matrix3<Complex64> {
    let (long, short, turn) = axes(h);
    let difference = long.norm_squared() - short.norm_squared();
    // dφ = Im(H'·dH')/(H'·H'), and the long axis moves along the short one by it.
    Matrix3::from_fn(|k, i| {
        let turned = Complex64::new(long[i], short[i]);
        let straight = if k == i { Complex64::ONE } else { Complex64::ZERO };
        turn * (straight - Complex64::I * turned * (short[k] / difference))
    })
}

/// RMS magnitude of `h` over all directions.
pub fn magnitude(h: &Vector3<Complex64>) -> f64 {
    h.norm()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::dipole;

    fn field() -> Vector3<Complex64> {
        Vector3::new(Complex64::new(1.0, 0.3), Complex64::new(-0.4, 0.8), Complex64::new(0.2, -0.5))
    }

    /// The tip of the ellipse is the farthest of H(t), and its axes are square.
    #[test]
    fn the_long_axis_is_the_longest_reach_of_the_field() {
        let (long, short, _) = axes(&field());
        assert!(long.dot(&short).abs() < 1e-15);
        let reach = (0..3600)
            .map(|step| field().map(|c| (c * Complex64::cis(f64::from(step) * 0.001745)).re).norm())
            .fold(0.0, f64::max);
        assert!((reach - long.norm()).abs() < 1e-6);
        assert!((long.norm().hypot(short.norm()) - magnitude(&field())).abs() < 1e-15);
    }

    #[test]
    fn the_gradient_is_that_of_differences() {
        let gradient = long_axis_gradient(&field());
        for (i, part) in (0..3).flat_map(|i| [(i, Complex64::ONE), (i, Complex64::I)]) {
            let step = 1e-6 * part;
            let (mut up, mut down) = (field(), field());
            up[i] += step;
            down[i] -= step;
            let slope = (long_axis(&up) - long_axis(&down)) / 2.0;
            for k in 0..3 {
                assert!((slope[k] - (gradient[(k, i)] * step).re).abs() < 1e-15, "{k} {i}");
            }
        }
    }

    #[test]
    fn near_by_the_ellipse_of_a_dipole_is_a_line() {
        let h = Vector3::from(dipole::field([0.0, 0.0, 1.0], [7.0, 0.0, 7.0], 457e3));
        let (long, short, _) = axes(&h);
        assert!(short.norm() < 3.5e-4 * long.norm(), "{}", short.norm() / long.norm());
    }
}
