//! The magnitude of one unit's field, made ready for many places at one height.
//!
//! What a place sees of a unit depends on its distance ρ along the snow and on how the
//! moment lies to its direction: with the moment's parts along ρ, across it and square to
//! the snow,
//!
//! ```text
//! |H|² = a m_ρ² + b m_φ² + c m_z² + 2 d m_ρ m_z
//! ```
//!
//! and a to d are smooth functions of ρ alone, in free space as over level layers.

use nalgebra::Vector3;
use num_complex::Complex64;

use super::field_over_snow::FieldOverSnow;
use super::snow::Laid;

/// Nodes over asinh(ρ/depth).
const NODES: usize = 200;

/// Functions of the distance for one unit.
#[derive(Clone, Debug)]
pub struct Radial {
    above: Laid,
    depth_m: f64,
    moment_a_m2: Vector3<f64>,
    step: f64,
    /// a, b, c, d times the sixth power of the distance in space at each node.
    nodes: Vec<[f64; 4]>,
}

impl Radial {
    /// Of `unit`, up to `reach_m` along the snow from the point square above it.
    ///
    /// Accuracy: 1e-5 of the magnitude (a test says so). Cost: 200 couplings to make,
    /// some 40 ns a magnitude then.
    pub fn of(field: &FieldOverSnow, unit: usize, reach_m: f64) -> Self {
        let depth_m = field.depth_m(unit);
        // Two nodes more than reached, for the interpolation.
        let step = (reach_m / depth_m).asinh() / (NODES - 3) as f64;
        let node = |k: usize| {
            let rho_m = depth_m * (step * k as f64).sinh();
            let g = field.coupling(unit, rho_m);
            let along = |a: Complex64, b: Complex64| (a * b.conj()).re;
            let scale = (rho_m * rho_m + depth_m * depth_m).powi(3);
            [
                g[(0, 0)].norm_sqr() + g[(2, 0)].norm_sqr(),
                g[(1, 1)].norm_sqr(),
                g[(0, 2)].norm_sqr() + g[(2, 2)].norm_sqr(),
                along(g[(0, 0)], g[(0, 2)]) + along(g[(2, 0)], g[(2, 2)]),
            ]
            .map(|value| value * scale)
        };
        Self {
            above: field.above(unit),
            depth_m,
            moment_a_m2: field.moment_a_m2(unit),
            step,
            nodes: (0..NODES).map(node).collect(),
        }
    }

    /// RMS magnitude over all directions at a place within reach, A/m.
    pub fn magnitude(&self, at: Laid) -> f64 {
        let (x, y) = (at[0] - self.above[0], at[1] - self.above[1]);
        let rho_m = x.hypot(y);
        let (cos, sin) = if rho_m > 0.0 { (x / rho_m, y / rho_m) } else { (1.0, 0.0) };
        let m = self.moment_a_m2;
        let (along, across) = (m.x * cos + m.y * sin, m.y * cos - m.x * sin);
        let [a, b, c, d] = self.at(rho_m);
        let squared = a * along * along + b * across * across + m.z * (c * m.z + 2.0 * d * along);
        (squared / (rho_m * rho_m + self.depth_m * self.depth_m).powi(3)).sqrt()
    }

    /// Cubic through the four nodes around (Lagrange); at the first interval, and beyond
    /// the last, through the four nearest.
    fn at(&self, rho_m: f64) -> [f64; 4] {
        let place = (rho_m / self.depth_m).asinh() / self.step;
        let first = (place as usize).saturating_sub(1).min(NODES - 4);
        let t = place - first as f64;
        let (t1, t2, t3) = (t - 1.0, t - 2.0, t - 3.0);
        let weights =
            [-t1 * t2 * t3 / 6.0, t * t2 * t3 / 2.0, -t * t1 * t3 / 2.0, t * t1 * t2 / 6.0];
        std::array::from_fn(|i| (0..4).map(|k| weights[k] * self.nodes[first + k][i]).sum())
    }
}

#[cfg(test)]
mod tests {
    use super::super::field_over_snow::Space;
    use super::super::testing::{BOUNDS, station};
    use super::*;

    #[test]
    fn magnitudes_are_those_of_the_field() {
        let head = "snow_depth_m = 2\nsoil_resistivity_ohm_m = 100\n\
                    slope = { angle_deg = 20, bearing_deg = 100 }";
        let station = station(head, &[(3.0, -2.0, 1.1, 40.0, 30.0), (0.0, 0.0, 0.6, 0.0, 90.0)]);
        for space in [Space::Free, Space::of(&station)] {
            let field = FieldOverSnow::new(&station, space, 1.0, &BOUNDS).unwrap();
            for unit in 0..2 {
                let radial = Radial::of(&field, unit, 45.0);
                let around = (0..400).map(|k| {
                    let (sin, cos) = (0.7 * f64::from(k)).sin_cos();
                    let rho = 44.9 * (f64::from(k) / 399.0).powi(2);
                    let [u, v] = field.above(unit);
                    [u + rho * cos, v + rho * sin]
                });
                for at in around {
                    let ratio = radial.magnitude(at) / field.magnitude(unit, at);
                    assert!((ratio - 1.0).abs() < 1e-5, "{space:?} {unit} {at:?}: {ratio}");
                }
            }
        }
    }
}
