//! The integrals over all horizontal wave numbers λ from 0 to infinity.
//!
//! Media without loss, air above all, put branch points (and, in layers, poles)
//! right beside the way. So the first piece of it, past the last of them, goes
//! round in the upper half plane, no higher than 1/ρ where the Bessel functions
//! begin to grow. From there on it follows the real axis in panels: octaves up to
//! λρ = 2.4, then half periods of the Bessel functions, whose partial sums
//! [`limit`] carries to infinity; unless the waves have died before. This is the
//! way of K. A. Michalski and J. R. Mosig (*Efficient computation of Sommerfeld
//! integral tails*, 2016, cited from memory) with Wynn's extrapolation.
//!
//! On the real axis λρ runs through the same numbers whatever ρ is, so that the
//! Bessel functions there are computed once for all.

use std::f64::consts::PI;
use std::sync::OnceLock;

use num_complex::Complex64;

use super::bessel::j0_j1;
use super::epsilon::limit;
use super::waves::{Path, Workspace};
use crate::field::gauss::legendre;

/// λρ where octaves end and half periods begin: near the first zero of J0.
const FIRST_HALF_PERIOD: f64 = 2.4;
/// Octaves below it that are kept, and half periods above.
const OCTAVES: i32 = 80;
const HALF_PERIODS: i32 = 160;
/// Half periods that the limit is taken from.
const TAIL: usize = 16;
/// e^(−λd) below which waves are dead.
const DEAD: f64 = 42.0;
/// How far beyond the farthest branch point the detour reaches.
const CLEARANCE: f64 = 1.5;

/// Integrals that make up the field, without the factor 1/2π. With g_E and g_M
/// the TE and TM solutions, z' the height of the source and k that of its layer:
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Integrals {
    /// ∫ λ³ g_E J0 dλ
    pub vertical: Complex64,
    /// ∫ λ² ∂g_E/∂z J1 dλ
    pub by_z: Complex64,
    /// ∫ λ² ∂g_E/∂z' J1 dλ
    pub by_source: Complex64,
    /// ∫ λ ∂²g_E/∂z∂z' J0 dλ
    pub electric: Complex64,
    /// ∫ λ k² g_M J0 dλ
    pub magnetic: Complex64,
    /// ∫ (∂²g_E/∂z∂z' − k² g_M) J1 dλ
    pub across: Complex64,
}

impl Integrals {
    /// Of `path` at the horizontal distance `rho_m` (> 0). NaN where λρ leaves
    /// the numbers kept: far beyond a kilometre for any ground.
    pub(super) fn over_all(path: &Path, rho_m: f64) -> Self {
        let panels = panels();
        let least = CLEARANCE * path.farthest_branch() * rho_m;
        let Some(first) = panels.iter().position(|panel| panel.from >= least) else {
            return Self::from_array([Complex64::new(f64::NAN, f64::NAN); 6]);
        };
        let mut sum = Sum { path, workspace: Workspace::default(), total: [Complex64::ZERO; 6] };
        sum.detour(panels[first].from, rho_m);
        let fall = path.shortest() / rho_m;
        let mut partial: Vec<[Complex64; 6]> = Vec::with_capacity(TAIL);
        for panel in &panels[first..] {
            for node in &panel.nodes {
                sum.add((node.x / rho_m).into(), (node.weight / rho_m).into(), node.j0, node.j1);
            }
            if panel.to * fall > DEAD {
                return Self::from_array(sum.total);
            }
            if panel.half_period {
                partial.push(sum.total);
            }
            if partial.len() == TAIL {
                break;
            }
        }
        let column = |i: usize| partial.iter().map(|sums| sums[i]).collect::<Vec<_>>();
        Self::from_array(std::array::from_fn(|i| limit(&column(i))))
    }

    fn from_array([vertical, by_z, by_source, electric, magnetic, across]: [Complex64; 6]) -> Self {
        Self { vertical, by_z, by_source, electric, magnetic, across }
    }
}

struct Sum<'a> {
    path: &'a Path,
    workspace: Workspace,
    total: [Complex64; 6],
}

impl Sum<'_> {
    fn add(&mut self, lambda: Complex64, weight: Complex64, j0: Complex64, j1: Complex64) {
        let terms = integrands(self.path, &mut self.workspace, lambda, j0, j1);
        for (total, term) in self.total.iter_mut().zip(terms) {
            *total += weight * term;
        }
    }

    /// From 0 to λ = `end`/ρ by half an ellipse above the real axis.
    fn detour(&mut self, end: f64, rho_m: f64) {
        static NODES: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
        let nodes = NODES.get_or_init(|| legendre(24));
        let half = 0.5 * end / rho_m;
        let height = half.min(1.0 / rho_m);
        // One piece for each oscillation or so.
        let pieces = 1 + (end / 3.0) as usize;
        let step = PI / pieces as f64;
        for piece in 0..pieces {
            for (x, weight) in nodes {
                let (sin, cos) = ((piece as f64 + 0.5 * (1.0 + x)) * step).sin_cos();
                let lambda = Complex64::new(half * (1.0 - cos), height * sin);
                let along = Complex64::new(half * sin, height * cos) * (0.5 * step * weight);
                let (j0, j1) = j0_j1(lambda * rho_m);
                self.add(lambda, along, j0, j1);
            }
        }
    }
}

/// What stands under the integrals, in the order of [`Integrals`].
pub(super) fn integrands(
    path: &Path,
    workspace: &mut Workspace,
    lambda: Complex64,
    j0: Complex64,
    j1: Complex64,
) -> [Complex64; 6] {
    let (te, k2_tm) = path.secondary(lambda, workspace);
    let (l_j0, l2_j1) = (lambda * j0, lambda * lambda * j1);
    [
        te.value * lambda * lambda * l_j0,
        te.by_z * l2_j1,
        te.by_source * l2_j1,
        te.by_both * l_j0,
        k2_tm * l_j0,
        (te.by_both - k2_tm) * j1,
    ]
}

struct Node {
    /// λρ.
    x: f64,
    weight: f64,
    j0: Complex64,
    j1: Complex64,
}

struct Panel {
    from: f64,
    to: f64,
    half_period: bool,
    nodes: Vec<Node>,
}

/// Panels of λρ, octaves first.
fn panels() -> &'static [Panel] {
    static PANELS: OnceLock<Vec<Panel>> = OnceLock::new();
    PANELS.get_or_init(|| {
        let end = |i: i32| {
            let half_periods = PI * f64::from(i.max(0));
            FIRST_HALF_PERIOD * f64::from(i.min(0)).exp2() + half_periods
        };
        let rules = [legendre(12), legendre(8)];
        (-OCTAVES..HALF_PERIODS)
            .map(|i| {
                let (from, to, half_period) = (end(i), end(i + 1), i >= 0);
                let half = 0.5 * (to - from);
                let node = |(place, weight): &(f64, f64)| {
                    let x = from + half * (1.0 + place);
                    let (j0, j1) = j0_j1(x.into());
                    Node { x, weight: half * weight, j0, j1 }
                };
                let nodes = rules[usize::from(half_period)].iter().map(node).collect();
                Panel { from, to, half_period, nodes }
            })
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::super::ground::{Ground, Material, Slab};
    use super::*;

    fn added(a: [Complex64; 6], b: [Complex64; 6]) -> [Complex64; 6] {
        std::array::from_fn(|i| a[i] + b[i])
    }

    /// Halves [from, to] until ten Gauss nodes on each half say what twenty on the
    /// whole say, to `within` of the sizes in `scale`.
    fn adaptive(
        f: &mut dyn FnMut(f64) -> [Complex64; 6],
        (from, to): (f64, f64),
        scale: &[f64; 6],
    ) -> [Complex64; 6] {
        static RULES: OnceLock<[Vec<(f64, f64)>; 2]> = OnceLock::new();
        let [ten, twenty] = RULES.get_or_init(|| [10, 20].map(legendre));
        let mut rule = |nodes: &[(f64, f64)], from: f64, to: f64| {
            let half = 0.5 * (to - from);
            nodes.iter().fold([Complex64::ZERO; 6], |sum, (x, w)| {
                added(sum, f(from + half * (1.0 + x)).map(|term| term * half * *w))
            })
        };
        let middle = 0.5 * (from + to);
        let whole = rule(twenty, from, to);
        let halves = added(rule(ten, from, middle), rule(ten, middle, to));
        let agree = (0..6).all(|i| (whole[i] - halves[i]).norm() <= 1e-11 * scale[i]);
        if agree || to - from < 1e-9 {
            return halves;
        }
        added(adaptive(f, (from, middle), scale), adaptive(f, (middle, to), scale))
    }

    /// Integrals of [`Integrals`] with no panels laid out beforehand and no limit
    /// taken: adaptive over a detour of another shape, then along the real axis
    /// until the waves are dead.
    fn by_brute_force(path: &Path, rho_m: f64, scale: &[f64; 6]) -> [Complex64; 6] {
        let mut workspace = Workspace::default();
        let mut under = |lambda: Complex64| {
            let (j0, j1) = j0_j1(lambda * rho_m);
            integrands(path, &mut workspace, lambda, j0, j1)
        };
        let reach = 2.5 * path.farthest_branch();
        let height = Complex64::I * (0.3 * reach).min(0.5 / rho_m);
        let mut sum = [Complex64::ZERO; 6];
        let corners = [Complex64::ZERO, reach * 0.1 + height, reach * 0.9 + height, reach.into()];
        for pair in corners.windows(2) {
            let along = pair[1] - pair[0];
            let mut f = |t: f64| under(pair[0] + along * t).map(|v| v * along);
            sum = added(sum, adaptive(&mut f, (0.0, 1.0), scale));
        }
        let end = DEAD / path.shortest();
        let mut from = reach;
        while from < end {
            let to = (from + 6.0 / rho_m).min(2.0 * from).min(end);
            sum = added(sum, adaptive(&mut |t| under(t.into()), (from, to), scale));
            from = to;
        }
        sum
    }

    fn array(i: Integrals) -> [Complex64; 6] {
        [i.vertical, i.by_z, i.by_source, i.electric, i.magnetic, i.across]
    }

    /// Places among the layers, heights of 0.1 m to 4 m between, and all distances.
    #[test]
    fn limits_are_those_of_adaptive_integration() {
        let material = |conductivity_s_per_m, relative_permittivity| Material {
            conductivity_s_per_m,
            relative_permittivity,
        };
        let grounds = [
            (vec![Slab { thickness_m: 2.0, material: material(1e-6, 1.5) }], material(0.01, 15.0)),
            (vec![], material(4.0, 80.0)),
            (vec![Slab { thickness_m: 1.0, material: material(0.0, 3.0) }], material(1e-5, 5.0)),
        ];
        let mut worst = 0.0_f64;
        for (slabs, bottom) in grounds {
            let ground = Ground { surface_z_m: 0.0, slabs, bottom };
            for (source_z, z) in
                [(-0.9, 1.0), (0.05, 0.05), (-2.5, 1.5), (-2.5, -2.6), (-0.4, -0.5)]
            {
                for rho_m in [0.02, 0.5, 10.0, 40.0, 300.0] {
                    let path = Path::new(&ground, 457e3, source_z, z);
                    if path.shortest() < 0.1 || rho_m / path.shortest() > 200.0 {
                        continue;
                    }
                    // The direct field of 1/4πr³ in the measure of each integral.
                    let r = rho_m.hypot(z - source_z);
                    let direct = 0.5 / r.powi(3);
                    let scale = [direct, direct, direct, direct, direct, direct * rho_m];
                    let ours = array(Integrals::over_all(&path, rho_m));
                    let brute = by_brute_force(&path, rho_m, &scale);
                    for i in 0..6 {
                        let off = (ours[i] - brute[i]).norm() / scale[i];
                        worst = worst.max(off);
                        assert!(
                            off < 2e-8,
                            "{off:e} of integral {i}, {source_z} m to {z} m over {rho_m} m"
                        );
                    }
                }
            }
        }
        println!("worst {worst:.1e} of the direct field");
    }
}
