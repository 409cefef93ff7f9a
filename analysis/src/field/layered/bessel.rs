//! Bessel functions J0 and J1 near the real axis.

use num_complex::Complex64;

/// (J0(z), J1(z)) for z ≠ 0 with a small imaginary part, by Miller's recurrence
/// from far above, J_(n−1) = (2n/z) J_n − J_(n+1), set to scale by
/// J0 + 2 J2 + 2 J4 + … = 1 (Abramowitz and Stegun 9.1.27 and 9.1.46, from
/// memory).
///
/// Accuracy: 1e-14 · e^|Im z|. Cost: one complex division and |z| + 30 steps.
pub(super) fn j0_j1(z: Complex64) -> (Complex64, Complex64) {
    let size = z.norm();
    if size < 1e-8 {
        return (Complex64::ONE, 0.5 * z);
    }
    // Even, and so far beyond |z| that what is left out is below rounding.
    let first = 2 * ((size + 12.0 * size.cbrt() + 24.0) / 2.0) as usize;
    let two_over_z = 2.0 / z;
    let (mut above, mut here) = (Complex64::ZERO, Complex64::from(1e-100));
    let mut sum = Complex64::ZERO;
    let mut j1 = Complex64::ZERO;
    for n in (1..=first).rev() {
        if n % 2 == 0 {
            sum += 2.0 * here;
        }
        if n == 1 {
            j1 = here;
        }
        (above, here) = (here, two_over_z * n as f64 * here - above);
        if here.re.abs() > 1e100 || here.im.abs() > 1e100 {
            for value in [&mut above, &mut here, &mut sum, &mut j1] {
                *value *= 1e-150;
            }
        }
    }
    let scale = 1.0 / (sum + here);
    (here * scale, j1 * scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun, table 9.1 (from memory), and for complex z the
    /// modified functions: J0(jx) = I0(x), I0(1) = 1.2660658777520084.
    #[test]
    fn tabulated_values() {
        for (x, j0, j1) in [
            (1.0, 0.765_197_686_557_966_6, 0.440_050_585_744_933_5),
            (5.0, -0.177_596_771_314_338_3, -0.327_579_137_591_465_2),
            (10.0, -0.245_935_764_451_348_3, 0.043_472_746_168_861_44),
        ] {
            let (a, b) = j0_j1(x.into());
            assert!((a - j0).norm() < 1e-14 && (b - j1).norm() < 1e-14, "{x}: {a} {b}");
        }
        let (a, _) = j0_j1(Complex64::I);
        assert!((a - 1.266_065_877_752_008_4).norm() < 1e-14);
    }

    /// J1 = −J0', and Bessel's equation, from tiny to large arguments.
    #[test]
    fn derivative_and_equation_hold() {
        for z in [1e-6, 1e-3, 0.3, 2.4, 14.0, 60.0, 400.0].map(|x| Complex64::new(x, 0.4)) {
            let step = 1e-4;
            let at = |d: f64| j0_j1(z + d);
            let slope = (at(step).0 - at(-step).0) / (2.0 * step);
            assert!((slope + at(0.0).1).norm() < 1e-8, "{z}");
            // J1' = J0 − J1/z.
            let slope = (at(step).1 - at(-step).1) / (2.0 * step);
            assert!((slope - at(0.0).0 + at(0.0).1 / z).norm() < 1e-8, "{z}");
        }
    }
}
