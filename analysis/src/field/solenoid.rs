//! A solenoid of finite length, and with it a rod that is magnetised evenly.
//!
//! A close winding is a sheet of current round a cylinder. Its field has a closed
//! form in complete elliptic integrals (N. Derby and S. Olbert, *Cylindrical
//! magnets and ideal solenoids*, Am. J. Phys. 78 (2010) 229–235, equations 4 to 8,
//! cited from memory); on the axis
//!
//! ```text
//! H = NI / 2L · [ (x + L/2)/√((x + L/2)² + a²) − (x − L/2)/√((x − L/2)² + a²) ]
//! ```
//!
//! Outside, the field is also that of a cylinder of the same size magnetised evenly
//! by M = NI/L. A ferrite rod with a winding has its flux denser in the middle than
//! at the ends, its poles lie inside the ends: the even rod of its full length
//! differs from a dipole by more than it does, and is the careful side for the
//! question from where on a dipole is good enough.

use std::f64::consts::PI;
use std::sync::OnceLock;

use nalgebra::Vector3;

use super::circular_loop::CircularLoop;
use super::dipole;
use super::gauss::legendre;

/// Distances from the centre, in half diagonals, from which the solenoid is summed
/// from loops: the closed form is a difference of its two ends and loses digits
/// with distance.
const FAR: f64 = 3.0;
/// A single layer of turns, closely wound, carrying a quasi-static current.
///
/// ```
/// use coilrig_analysis::field::solenoid::Solenoid;
///
/// // The antenna of a transceiver: 100 turns on a rod of 100 mm by 8 mm.
/// let antenna = Solenoid { turns: 100.0, radius_m: 0.004, length_m: 0.1, current_a: 0.1 };
/// // Half a metre away the dipole is within 2 % of it, from 1 m within 0.5 %.
/// assert!(antenna.dipole_error(0.5) < 0.021);
/// let from_m = antenna.dipole_good_from_m(0.005);
/// assert!((from_m - 1.0).abs() < 0.01);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Solenoid {
    /// Turns N, evenly spread over the length.
    pub turns: f64,
    /// Radius a of the winding, m (> 0).
    pub radius_m: f64,
    /// Length L of the winding, m (> 0).
    pub length_m: f64,
    /// Current in each turn, A; RMS current gives RMS field.
    pub current_a: f64,
}

impl Solenoid {
    /// Magnetic moment N·I·π·a², A·m².
    pub fn moment_a_m2(&self) -> f64 {
        self.turns * self.current_a * PI * self.radius_m.powi(2)
    }

    /// H along the axis (A/m) at `x_m` from the centre on the axis, m. It is
    /// a difference of both ends, which costs the digits of (x/L)·(x/a)² far away.
    pub fn on_axis(&self, x_m: f64) -> f64 {
        let end = |x: f64| x / x.hypot(self.radius_m);
        let half = 0.5 * self.length_m;
        self.current_per_metre() * 0.5 * (end(x_m + half) - end(x_m - half))
    }

    /// (H_ρ, H_z) in A/m at distance `rho_m` (≥ 0) from the axis and height `z_m`
    /// over the middle of the winding, m. At the ends of the winding itself H_ρ is
    /// unbounded: infinite or NaN is returned.
    ///
    /// Accuracy: 1e-11 of |H| everywhere off the winding, against the Python package
    /// magpylib and against loops summed one by one.
    pub fn off_axis(&self, rho_m: f64, z_m: f64) -> (f64, f64) {
        let size = self.radius_m.hypot(0.5 * self.length_m);
        match rho_m.hypot(z_m) > FAR * size {
            true => self.as_loops(rho_m, z_m),
            false => self.closed_form(rho_m, z_m),
        }
    }

    /// H (A/m, along x, y, z) at `offset_m` (observer minus centre, m) of the
    /// solenoid whose axis points along `axis` (any length but zero, which gives
    /// NaN); the current turns right-handed about it.
    pub fn field(&self, axis: [f64; 3], offset_m: [f64; 3]) -> [f64; 3] {
        let axis = Vector3::from(axis).normalize();
        let offset = Vector3::from(offset_m);
        let outward = axis.cross(&offset).cross(&axis);
        let rho = outward.norm();
        let (across, along) = self.off_axis(rho, axis.dot(&offset));
        let radial = if rho == 0.0 { Vector3::zeros() } else { outward * (across / rho) };
        (axis * along + radial).into()
    }

    /// How far a static dipole of the same moment is off at `distance_m` from the
    /// centre, outside the winding: the largest |H − H_dipole| / |H_dipole| over all
    /// directions.
    ///
    /// Far away, on the axis, L²/2r² − 3a²/2r²: 2 % at five lengths of a thin rod.
    pub fn dipole_error(&self, distance_m: f64) -> f64 {
        (0..=30)
            .map(|i| {
                let (sin, cos) = (f64::from(i) * PI / 60.0).sin_cos();
                let offset = [distance_m * sin, 0.0, distance_m * cos];
                let ours = Vector3::from(self.field([0.0, 0.0, 1.0], offset));
                let moment = [0.0, 0.0, self.moment_a_m2()];
                let of_dipole = Vector3::from(dipole::field(moment, offset, 0.0).map(|c| c.re));
                (ours - of_dipole).norm() / of_dipole.norm()
            })
            .fold(0.0, f64::max)
    }

    /// The distance, m, from which on a dipole is within the share `within` (over 0,
    /// well below 1) of the field in every direction.
    pub fn dipole_good_from_m(&self, within: f64) -> f64 {
        let size = self.radius_m.hypot(0.5 * self.length_m);
        // The error falls with the square of distance once the ends are left behind.
        let (mut near, mut far) = (1.05 * size, 2.0 * size);
        while self.dipole_error(far) > within {
            (near, far) = (far, 2.0 * far);
        }
        for _ in 0..50 {
            let middle = 0.5 * (near + far);
            if self.dipole_error(middle) > within { near = middle } else { far = middle }
        }
        far
    }

    fn current_per_metre(&self) -> f64 {
        self.turns * self.current_a / self.length_m
    }

    fn closed_form(&self, rho: f64, z: f64) -> (f64, f64) {
        let a = self.radius_m;
        let gamma = (a - rho) / (a + rho);
        // (H_ρ, H_z) of the winding's end at height `below` under the observer.
        let end = |below: f64| {
            let far = below.hypot(a + rho);
            let kc = below.hypot(a - rho) / far;
            let across = a / far * generalised_elliptic(kc, 1.0, 1.0, -1.0);
            let along = match below == 0.0 {
                true => 0.0,
                false => below / far * generalised_elliptic(kc, gamma * gamma, 1.0, gamma),
            };
            (across, a / (a + rho) * along)
        };
        let half = 0.5 * self.length_m;
        let (lower, upper) = (end(z + half), end(z - half));
        let scale = self.current_per_metre() / PI;
        (scale * (lower.0 - upper.0), scale * (lower.1 - upper.1))
    }

    /// The winding as loops at Gauss–Legendre nodes of its length.
    fn as_loops(&self, rho: f64, z: f64) -> (f64, f64) {
        static NODES: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
        let half = 0.5 * self.length_m;
        NODES
            .get_or_init(|| legendre(12))
            .iter()
            .map(|(place, weight)| {
                let turns = 0.5 * weight * self.turns;
                let part =
                    CircularLoop { turns, radius_m: self.radius_m, current_a: self.current_a };
                part.off_axis(rho, z - place * half)
            })
            .fold((0.0, 0.0), |sum, part| (sum.0 + part.0, sum.1 + part.1))
    }
}

/// ∫ (c cos²φ + s sin²φ) / ((cos²φ + p sin²φ) √(cos²φ + k_c² sin²φ)) dφ from 0 to
/// π/2, for p ≥ 0 (R. Bulirsch, Numer. Math. 13 (1969) 305–315, algorithm cel, cited
/// from memory). NaN for k_c = 0. Accuracy: some 1e-15.
fn generalised_elliptic(kc: f64, p: f64, c: f64, s: f64) -> f64 {
    if kc == 0.0 {
        return f64::NAN;
    }
    // p = 0 on the cylinder through the winding, where c or s is 0 as well.
    let mut p = p.sqrt().max(1e-150);
    let (mut c, mut s) = (c, s / p);
    let (mut k, mut mean, mut product) = (kc, 1.0, kc);
    // Quadratic; the bound only ends a loop over NaN.
    for _ in 0..40 {
        let (before, ratio) = (c, product / p);
        c += s / p;
        s = 2.0 * (s + before * ratio);
        p += ratio;
        let last = mean;
        mean += k;
        if (last - k).abs() <= last * 1e-8 {
            break;
        }
        k = 2.0 * product.sqrt();
        product = k * mean;
    }
    0.5 * PI * (s + c * mean) / (mean * (mean + p))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROD: Solenoid = Solenoid { turns: 80.0, radius_m: 0.004, length_m: 0.1, current_a: 0.2 };
    const COIL: Solenoid = Solenoid { turns: 20.0, radius_m: 0.05, length_m: 0.03, current_a: 0.1 };

    #[test]
    fn meets_the_closed_form_on_the_axis() {
        for solenoid in [ROD, COIL] {
            for x in [-0.3, -0.05, 0.0, 0.02, 0.17] {
                let (across, along) = solenoid.off_axis(0.0, x);
                assert!((along / solenoid.on_axis(x) - 1.0).abs() < 1e-11, "{x}");
                assert!(across.abs() < 1e-13 * along.abs());
            }
        }
        // Long and thin: NI/L inside.
        let inside = ROD.on_axis(0.0) / (80.0 * 0.2 / 0.1);
        assert!((inside - 1.0).abs() < 0.004, "{inside}");
    }

    /// A winding is its turns: the closed form against 20 000 loops.
    #[test]
    fn closed_form_is_the_sum_of_its_turns() {
        for solenoid in [ROD, COIL] {
            for (rho, z) in [(0.0015, 0.01), (0.03, 0.02), (0.08, -0.06), (0.01, 0.09)] {
                let count = 20_000;
                let one = CircularLoop {
                    turns: solenoid.turns / f64::from(count),
                    radius_m: solenoid.radius_m,
                    current_a: solenoid.current_a,
                };
                let sum = (0..count)
                    .map(|i| (f64::from(i) + 0.5) / f64::from(count) - 0.5)
                    .map(|place| one.off_axis(rho, z - place * solenoid.length_m))
                    .fold((0.0, 0.0), |sum, h| (sum.0 + h.0, sum.1 + h.1));
                let ours = solenoid.closed_form(rho, z);
                let off = (ours.0 - sum.0).hypot(ours.1 - sum.1) / sum.0.hypot(sum.1);
                assert!(off < 1e-7, "{off:e} at ({rho}, {z})");
            }
        }
    }

    #[test]
    fn both_ways_meet_where_one_takes_over() {
        for solenoid in [ROD, COIL] {
            let size = FAR * solenoid.radius_m.hypot(0.5 * solenoid.length_m);
            for degrees in [0.0_f64, 20.0, 60.0, 89.0] {
                let (s, c) = degrees.to_radians().sin_cos();
                let near = solenoid.closed_form(size * s, size * c);
                let far = solenoid.as_loops(size * s, size * c);
                let off = (near.0 - far.0).hypot(near.1 - far.1) / far.0.hypot(far.1);
                assert!(off < 1e-11, "{off:e} at {degrees}°");
            }
        }
    }

    /// Ampère: H once round the winding is all of its current.
    #[test]
    fn circulation_round_the_winding_is_its_current() {
        let steps = 4000;
        let circulation: f64 = (0..steps)
            .map(|i| {
                let (s, c) = (2.0 * PI * f64::from(i) / f64::from(steps)).sin_cos();
                // An ellipse about the wires on one side, in the plane of the axis.
                let (across, along) = COIL.off_axis(0.05 + 0.03 * c, 0.025 * s);
                (across * 0.03 * s - along * 0.025 * c) * 2.0 * PI / f64::from(steps)
            })
            .sum();
        assert!((circulation / 2.0 - 1.0).abs() < 1e-6, "{circulation}");
    }

    /// Two poles ±q at ±L/2 (the thin rod): on the axis the field is that of a
    /// dipole over (1 − (L/2r)²)².
    #[test]
    fn thin_rod_is_off_a_dipole_as_two_poles_are() {
        let thin = Solenoid { radius_m: 1e-4, ..ROD };
        for r in [0.15_f64, 0.3, 1.0] {
            let poles = 1.0 / (1.0 - (0.05 / r).powi(2)).powi(2) - 1.0;
            assert!((thin.dipole_error(r) / poles - 1.0).abs() < 1e-3, "{r}");
        }
    }

    #[test]
    fn distance_for_an_error_is_where_the_error_is_that() {
        for solenoid in [ROD, COIL] {
            for within in [0.1, 0.01, 0.001] {
                let from_m = solenoid.dipole_good_from_m(within);
                assert!((solenoid.dipole_error(from_m) / within - 1.0).abs() < 1e-9);
                assert!(solenoid.dipole_error(1.5 * from_m) < within);
            }
        }
    }

    #[test]
    fn no_finite_number_at_the_ends_of_the_winding() {
        let (across, _) = COIL.off_axis(0.05, 0.015);
        assert!(!across.is_finite());
        // In the middle of the sheet the field along it is half of that inside.
        let (_, along) = COIL.off_axis(0.05, 0.0);
        let (inside, outside) = (COIL.off_axis(0.0499999, 0.0).1, COIL.off_axis(0.0500001, 0.0).1);
        assert!((along - 0.5 * (inside + outside)).abs() < 1e-3 * inside.abs(), "{along}");
    }
}
