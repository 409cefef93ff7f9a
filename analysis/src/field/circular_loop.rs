//! A circular loop of thin wire carrying a quasi-static current.
//!
//! In cylindrical coordinates about the loop's axis, with
//! α² = (a − ρ)² + z², β² = (a + ρ)² + z² and parameter m = 4aρ/β², the
//! textbook field (W. R. Smythe, *Static and Dynamic Electricity*, section
//! 7.10, cited from memory) is
//!
//! ```text
//! H_z = NI / (2πβ)      · [ K(m) + (a² − ρ² − z²)/α² · E(m) ]
//! H_ρ = NI z / (2πρβ)   · [ (a² + ρ² + z²)/α² · E(m) − K(m) ]
//! ```
//!
//! Both brackets cancel near the axis and far away, to nothing at 1e8 radii.
//! The arithmetic-geometric mean gives K and E = K · (1 − m/2 − m²τ) with a
//! remainder τ that it finds without a subtraction; put in by hand, the large
//! terms drop out and what is left holds its digits everywhere:
//!
//! ```text
//! H_z = NI a² K / (πβα²)     · [ (a² + z² − ρ²)/β² − 8ρ²(a² − ρ² − z²)τ/β⁴ ]
//! H_ρ = 4 NI a² ρ z K / (πβ³α²) · [ 1/2 + mτ − 2τ ]
//! ```
//!
//! Cost: one square root for each of 3 to 8 steps of the mean.

use std::f64::consts::PI;

use nalgebra::Vector3;

/// A circular loop: the reference source of the rig.
///
/// Retardation and the phase along the wire are left out, so distances must
/// stay well inside 1/k (104 m at 457 kHz), where the error is about (kr)²/2;
/// farther out the loop is a [`dipole`](super::dipole) of moment
/// [`moment_a_m2`](Self::moment_a_m2).
///
/// ```
/// use coilrig_analysis::field::circular_loop::CircularLoop;
///
/// let reference = CircularLoop { turns: 10.0, radius_m: 0.15, current_a: 1e-3 };
/// // At the centre H = NI / 2a, and the vector form agrees.
/// assert!((reference.on_axis(0.0) - 10.0 * 1e-3 / 0.3).abs() < 1e-12);
/// let h = reference.field([1.0, 0.0, 0.0], [0.5, 0.0, 0.0]);
/// assert!((h[0] - reference.on_axis(0.5)).abs() < 1e-15 && h[1] == 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CircularLoop {
    /// Turns N, all on the same circle.
    pub turns: f64,
    /// Radius a of the circle, m (> 0).
    pub radius_m: f64,
    /// Current in each turn, A; RMS current gives RMS field.
    pub current_a: f64,
}

impl CircularLoop {
    /// Magnetic moment N·I·π·a², A·m².
    pub fn moment_a_m2(&self) -> f64 {
        self.turns * self.current_a * PI * self.radius_m.powi(2)
    }

    /// H along the axis (A/m) at `x_m` from the centre on the axis, m:
    /// N I a² / (2 (a² + x²)^(3/2)). Exact to rounding.
    pub fn on_axis(&self, x_m: f64) -> f64 {
        let a = self.radius_m;
        self.turns * self.current_a * a * a / (2.0 * a.hypot(x_m).powi(3))
    }

    /// (H_ρ, H_z) in A/m at distance `rho_m` (≥ 0) from the axis and height
    /// `z_m` over the plane of the loop, m.
    ///
    /// On the wire the field is unbounded: infinite or NaN is returned.
    ///
    /// Accuracy: within 2e-14 of |H| over 60 000 points from 1e-6 radii off the
    /// wire to 1e6 radii away, against the textbook form in 60-digit arithmetic.
    pub fn off_axis(&self, rho_m: f64, z_m: f64) -> (f64, f64) {
        // In radii, so that no square can overflow for any sensible loop.
        let a = self.radius_m;
        let (rho, z) = (rho_m / a, z_m / a);
        // From the metres themselves: near the wire the difference is all.
        let inside = (a - rho_m) / a;
        let near = inside.hypot(z);
        let far = (1.0 + rho).hypot(z);
        let far2 = far * far;
        let m = 4.0 * rho / far2;
        let Elliptic { k, tau } = Elliptic::of(m, near / far);

        let scale = self.turns * self.current_a * k / (PI * a * far * near * near);
        let along = (inside * (1.0 + rho) + z * z) / far2
            - 8.0 * (rho / far2).powi(2) * (inside * (1.0 + rho) - z * z) * tau;
        let across = 4.0 * rho * z / far2 * (0.5 + m * tau - 2.0 * tau);
        (scale * across, scale * along)
    }

    /// H (A/m, along x, y, z) at `offset_m` (observer minus centre, m) of the
    /// loop whose axis points along `axis` (any length but zero); the current
    /// turns right-handed about it.
    ///
    /// All components are NaN for a zero axis. Accuracy as
    /// [`off_axis`](Self::off_axis).
    pub fn field(&self, axis: [f64; 3], offset_m: [f64; 3]) -> [f64; 3] {
        let axis = Vector3::from(axis);
        let axis = axis / axis.norm();
        let offset = Vector3::from(offset_m);
        let z = axis.dot(&offset);
        // Twice across the axis: keeps its digits for points near the axis.
        let outward = axis.cross(&offset).cross(&axis);
        let rho = outward.norm();
        let (across, along) = self.off_axis(rho, z);
        let radial = if rho == 0.0 { Vector3::zeros() } else { outward * (across / rho) };
        (axis * along + radial).into()
    }
}

/// Complete elliptic integral K(m) and the remainder τ of
/// E(m) = K(m) · (1 − m/2 − m²τ).
struct Elliptic {
    k: f64,
    tau: f64,
}

impl Elliptic {
    /// From the parameter m and the complementary modulus kc = √(1 − m), which
    /// the caller knows without cancellation.
    ///
    /// E/K = 1 − Σ 2^(n−1) c_n² over the arithmetic-geometric mean of 1 and kc
    /// with c_0² = m and c_(n+1) = c_n² / 4a_(n+1) (Abramowitz and Stegun 17.6,
    /// from memory); d_n here is c_n / m.
    fn of(m: f64, kc: f64) -> Self {
        let (mut mean, mut geometric) = (0.5 * (1.0 + kc), kc.sqrt());
        let mut d = 1.0 / (4.0 * mean);
        let mut weight = 1.0;
        let mut tau = d * d;
        // Convergence is quadratic; the bound only ends a loop over NaN.
        for _ in 0..16 {
            (mean, geometric) = (0.5 * (mean + geometric), (mean * geometric).sqrt());
            d = m * d * d / (4.0 * mean);
            weight *= 2.0;
            let term = weight * d * d;
            tau += term;
            if term <= 1e-17 * tau {
                break;
            }
        }
        Self { k: PI / (mean + geometric), tau }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::constants::MAGNETIC_CONSTANT_N_PER_A2;
    use crate::field::dipole;

    const LOOP: CircularLoop = CircularLoop { turns: 3.0, radius_m: 0.4, current_a: 2.0 };

    /// Abramowitz and Stegun, table 17.1, m = 0.5 (from memory).
    #[test]
    fn elliptic_integrals_at_half() {
        let m: f64 = 0.5;
        let Elliptic { k, tau } = Elliptic::of(m, (1.0 - m).sqrt());
        assert!((k - 1.854_074_677_301_372).abs() < 1e-15);
        let e = k * (1.0 - m / 2.0 - m * m * tau);
        assert!((e - 1.350_643_881_047_675_5).abs() < 1e-15);
    }

    /// Legendre's relation E K' + E' K − K K' = π/2 ties K and τ over all m.
    #[test]
    fn legendre_relation_holds() {
        for i in 1..100 {
            let m = i as f64 / 100.0;
            let pair = |m: f64| {
                let Elliptic { k, tau } = Elliptic::of(m, (1.0 - m).sqrt());
                (k, k * (1.0 - m / 2.0 - m * m * tau))
            };
            let ((k, e), (k1, e1)) = (pair(m), pair(1.0 - m));
            assert!((e * k1 + e1 * k - k * k1 - PI / 2.0).abs() < 1e-14, "m = {m}");
        }
    }

    #[test]
    fn meets_the_closed_form_on_the_axis() {
        for x in [-3.0, -0.4, 0.0, 0.1, 25.0] {
            let h = LOOP.field([0.0, 0.0, 2.0], [0.0, 0.0, x]);
            assert!((h[2] / LOOP.on_axis(x) - 1.0).abs() < 1e-14);
            assert_eq!((h[0], h[1]), (0.0, 0.0));
        }
    }

    /// (ρ, z, H_ρ, H_z) in radii and in I/a, by the textbook form in 60-digit
    /// arithmetic (Python package mpmath).
    const SIXTY_DIGITS: [(f64, f64, f64, f64); 6] = [
        (1e-6, 0.5, 2.1466252584015154e-07, 0.35777087639996635),
        (0.5, 0.001, 0.0006451217697207869, 0.6228081993323359),
        (1.0009765625, 0.0009765625, 81.4471154606437, -80.8380604411483),
        (0.75, 0.0, 0.0, 0.959274758016618),
        (3.0, -2.0, -0.007655749033499586, 6.853195811510175e-05),
        (65536.0, 16384.0, 5.724520744980724e-16, -6.678607534347331e-16),
    ];

    #[test]
    fn holds_its_digits_near_and_far() {
        let unit = CircularLoop { turns: 1.0, radius_m: 1.0, current_a: 1.0 };
        for (rho, z, across, along) in SIXTY_DIGITS {
            let h = unit.off_axis(rho, z);
            let off = (h.0 - across).hypot(h.1 - along) / across.hypot(along);
            assert!(off < 3e-15, "{off:e} at ({rho}, {z})");
        }
    }

    #[test]
    fn is_smooth_from_the_axis_outward() {
        // Near the axis H_ρ = −ρ/2 · dH_z/dz, by ∇·H = 0.
        let (z, step) = (0.3, 1e-5);
        let slope = (LOOP.on_axis(z + step) - LOOP.on_axis(z - step)) / (2.0 * step);
        for rho in [1e-12, 1e-9, 1e-6] {
            let (across, _) = LOOP.off_axis(rho, z);
            assert!((across / (-rho / 2.0 * slope) - 1.0).abs() < 1e-8, "rho = {rho}");
        }
    }

    #[test]
    fn is_a_dipole_far_away() {
        let axis = Vector3::new(1.0, -2.0, 0.5).normalize();
        let moment: [f64; 3] = (axis * LOOP.moment_a_m2()).into();
        let towards = Vector3::new(0.3, 0.8, -0.5).normalize();
        for radii in [1e2, 1e4, 1e6] {
            let offset: [f64; 3] = (towards * radii * LOOP.radius_m).into();
            let of_loop = Vector3::from(LOOP.field(axis.into(), offset));
            let of_dipole = Vector3::from(dipole::field(moment, offset, 0.0).map(|c| c.re));
            let off = (of_loop - of_dipole).norm() / of_dipole.norm();
            // The next multipole is down by (a/r)².
            assert!(off < 3.0 / (radii * radii) + 1e-14, "{off} at {radii} radii");
        }
    }

    #[test]
    fn divergence_and_curl_are_zero_off_the_wire() {
        let axis = [0.2, 0.9, -0.4];
        for at in [[0.1, 0.05, 0.2], [0.5, 0.1, -0.1], [-1.0, 2.0, 0.7]] {
            let step = 1e-5;
            let gradient: [[f64; 3]; 3] = std::array::from_fn(|i| {
                let (mut up, mut down) = (at, at);
                up[i] += step;
                down[i] -= step;
                let (up, down) = (LOOP.field(axis, up), LOOP.field(axis, down));
                std::array::from_fn(|j| (up[j] - down[j]) / (2.0 * step))
            });
            let size = gradient.iter().flatten().fold(0.0_f64, |a, g| a.max(g.abs()));
            let divergence = gradient[0][0] + gradient[1][1] + gradient[2][2];
            assert!(divergence.abs() < 1e-6 * size, "{divergence}");
            for (i, j) in [(0, 1), (1, 2), (2, 0)] {
                assert!((gradient[i][j] - gradient[j][i]).abs() < 1e-6 * size);
            }
        }
    }

    /// Ampère: H once round the wire is the current in it.
    #[test]
    fn circulation_round_the_wire_is_the_current() {
        for around in [1e-6, 0.01, 0.3] {
            let steps = 400;
            let circulation: f64 = (0..steps)
                .map(|i| {
                    let (s, c) = (2.0 * PI * i as f64 / steps as f64).sin_cos();
                    let (across, along) = LOOP.off_axis(0.4 + around * c, around * s);
                    (across * s - along * c) * around * 2.0 * PI / steps as f64
                })
                .sum();
            assert!((circulation / 6.0 - 1.0).abs() < 1e-9, "{circulation} at {around} m");
        }
    }

    /// Any handbook: B = (4/5)^(3/2) µ0 N I / R at the centre, flat to fourth order.
    #[test]
    fn helmholtz_pair() {
        let pair = |x: f64| {
            let half = LOOP.radius_m / 2.0;
            let at = |centre: f64| LOOP.field([1.0, 0.0, 0.0], [x - centre, 0.0, 0.0])[0];
            MAGNETIC_CONSTANT_N_PER_A2 * (at(half) + at(-half))
        };
        let handbook = 0.8_f64.powf(1.5) * MAGNETIC_CONSTANT_N_PER_A2 * 6.0 / 0.4;
        assert!((pair(0.0) / handbook - 1.0).abs() < 1e-14);
        assert!((pair(0.04) / handbook - 1.0).abs() < 1.5e-4);
    }

    #[test]
    fn no_finite_number_on_the_wire_and_none_without_an_axis() {
        let (_, along) = LOOP.off_axis(0.4, 0.0);
        assert!(!along.is_finite());
        assert!(LOOP.field([0.0; 3], [1.0, 0.0, 0.0]).iter().all(|h| h.is_nan()));
    }
}
