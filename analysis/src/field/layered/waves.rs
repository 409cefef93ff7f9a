//! How layers change a wave of one horizontal wave number.
//!
//! A dipole's field is a sum of waves e^(−u|z|) J(λρ) with
//! u = √(λ² − k²). At every λ a wave is transverse electric (TE, told by H_z) or
//! transverse magnetic (TM, told by the vertical current density P). With µ = µ0
//! everywhere H_z and dH_z/dz are continuous at a boundary; so are P and
//! (1/k²) dP/dz. Two numbers for each layer say all about the layers above and
//! below it: the reflection coefficients looking up and looking down, each from
//! the one beyond it (J. R. Wait, *Electromagnetic Waves in Stratified Media*,
//! chapter II, cited from memory):
//!
//! ```text
//! R_i = (r + R_n e^(−2 u_n h_n)) / (1 + r R_n e^(−2 u_n h_n))      n: the next layer
//! r_TE = (u_i − u_n) / (u_i + u_n)
//! r_TM = (u_i/k_i² − u_n/k_n²) / (u_i/k_i² + u_n/k_n²)
//! ```
//!
//! All exponentials here fall, so nothing overflows.

use num_complex::Complex64;

use super::ground::Ground;

/// Solution of g'' − u²g = −δ(z − z') over all layers, and its derivatives.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Green {
    /// g.
    pub value: Complex64,
    /// ∂g/∂z, z the height of the observer.
    pub by_z: Complex64,
    /// ∂g/∂z', z' the height of the source.
    pub by_source: Complex64,
    /// ∂²g/∂z∂z'.
    pub by_both: Complex64,
}

impl Green {
    /// The whole-space solution e^(−u|z − z'|) / 2u; `rise` is z − z'.
    fn direct(u: Complex64, rise: f64) -> Self {
        let wave = (-u * rise.abs()).exp();
        let slope = 0.5 * wave * rise.signum();
        Self { value: 0.5 * wave / u, by_z: -slope, by_source: slope, by_both: -0.5 * u * wave }
    }

    fn minus(self, other: Self) -> Self {
        Self {
            value: self.value - other.value,
            by_z: self.by_z - other.by_z,
            by_source: self.by_source - other.by_source,
            by_both: self.by_both - other.by_both,
        }
    }
}

/// Layers, and two heights among them.
pub(super) struct Path {
    /// k² of each layer from the air down.
    k2: Vec<Complex64>,
    /// Heights of the boundaries from the surface down.
    boundaries: Vec<f64>,
    source: Place,
    observer: Place,
    /// The layer whose whole-space field is known in closed form and left out.
    reference: usize,
}

/// A height and its layer.
#[derive(Clone, Copy)]
struct Place {
    z: f64,
    layer: usize,
}

impl Path {
    pub(super) fn new(ground: &Ground, frequency_hz: f64, source_z: f64, observer_z: f64) -> Self {
        let boundaries = ground.boundaries_z_m();
        let k2: Vec<_> = ground.materials().map(|m| m.wave_number_squared(frequency_hz)).collect();
        let place = |z: f64| Place { z, layer: boundaries.iter().filter(|b| z < **b).count() };
        let (source, observer) = (place(source_z), place(observer_z));
        // Between two layers the direct wave of the one nearer to vacuum.
        let by_size = |i: &usize| (k2[*i].norm() * 1e12) as u64;
        let reference = [source.layer, observer.layer].into_iter().min_by_key(by_size).unwrap_or(0);
        Self { k2, boundaries, source, observer, reference }
    }

    /// Wave number of the material whose direct wave is left out.
    pub(super) fn reference_wave_number(&self) -> Complex64 {
        self.k2[self.reference].sqrt()
    }

    /// Largest real part of the roots of k² that lie near the real axis.
    pub(super) fn farthest_branch(&self) -> f64 {
        // Those of conductors lie well off it.
        let vacuum_like = self.k2.iter().map(|k2| k2.re);
        vacuum_like.fold(0.0, f64::max).sqrt()
    }

    /// Least path, m, that a wave left in runs up and down: it falls as e^(−λd).
    pub(super) fn shortest(&self) -> f64 {
        let (a, b) = (self.source, self.observer);
        if a.layer != b.layer {
            return (a.z - b.z).abs();
        }
        let above = self.top(a.layer).map(|top| 2.0 * top - a.z - b.z);
        let below = self.bottom(a.layer).map(|bottom| a.z + b.z - 2.0 * bottom);
        above.into_iter().chain(below).fold(f64::INFINITY, f64::min)
    }

    fn top(&self, layer: usize) -> Option<f64> {
        layer.checked_sub(1).map(|above| self.boundaries[above])
    }

    fn bottom(&self, layer: usize) -> Option<f64> {
        self.boundaries.get(layer).copied()
    }

    /// At `lambda`, less the direct wave of the reference layer: the TE solution,
    /// and the TM solution times k² of the source's layer.
    pub(super) fn secondary(&self, lambda: Complex64, at: &mut Workspace) -> (Green, Complex64) {
        let [electric, magnetic] = self.both(lambda, at);
        let magnetic = magnetic.value * self.k2[self.source.layer];
        if self.source.layer == self.observer.layer {
            return (electric, magnetic);
        }
        let direct = Green::direct(at.u[self.reference], self.observer.z - self.source.z);
        (electric.minus(direct), magnetic - direct.value * self.k2[self.reference])
    }

    /// The TE and the TM solution; in one layer without the direct wave.
    fn both(&self, lambda: Complex64, at: &mut Workspace) -> [Green; 2] {
        at.waves(self, lambda * lambda);
        let te = |a: usize, b: usize, u: &[Complex64]| {
            let sum = u[a] + u[b];
            // u_a² − u_b² = k_b² − k_a²: no difference of nearly equal roots.
            (self.k2[b] - self.k2[a]) / (sum * sum)
        };
        let tm = |a: usize, b: usize, u: &[Complex64]| {
            let (ya, yb) = (u[a] * self.k2[b], u[b] * self.k2[a]);
            (ya - yb) / (ya + yb)
        };
        [self.solve(at, te), self.solve(at, tm)]
    }

    fn solve(
        &self,
        at: &mut Workspace,
        reflection: impl Fn(usize, usize, &[Complex64]) -> Complex64,
    ) -> Green {
        at.reflect(reflection);
        if self.source.layer == self.observer.layer { at.within(self) } else { at.across(self) }
    }
}

/// Waves of one λ, kept to be filled anew for the next.
#[derive(Default)]
pub(super) struct Workspace {
    /// u of each layer.
    u: Vec<Complex64>,
    /// e^(−u h): once through each layer; 0 for one without end.
    through: Vec<Complex64>,
    /// Reflection looking up from the top, and down from the bottom, of each layer.
    up: Vec<Complex64>,
    down: Vec<Complex64>,
    source: Ends,
    observer: Ends,
}

/// e^(−u d) from a place to the top and to the bottom of its layer; 0 for none.
#[derive(Clone, Copy, Default)]
struct Ends {
    top: Complex64,
    bottom: Complex64,
}

impl Workspace {
    fn waves(&mut self, path: &Path, lambda2: Complex64) {
        let layers = path.k2.len();
        self.u.clear();
        self.u.extend(path.k2.iter().map(|k2| (lambda2 - k2).sqrt()));
        self.through.clear();
        self.through.resize(layers, Complex64::ZERO);
        for i in 1..layers - 1 {
            self.through[i] = (-self.u[i] * (path.boundaries[i - 1] - path.boundaries[i])).exp();
        }
        self.source = self.ends(path, path.source);
        self.observer = self.ends(path, path.observer);
    }

    fn ends(&self, path: &Path, place: Place) -> Ends {
        let u = self.u[place.layer];
        let over = |way: Option<f64>| way.map_or(Complex64::ZERO, |d| (-u * d).exp());
        Ends {
            top: over(path.top(place.layer).map(|top| top - place.z)),
            bottom: over(path.bottom(place.layer).map(|bottom| place.z - bottom)),
        }
    }

    fn reflect(&mut self, reflection: impl Fn(usize, usize, &[Complex64]) -> Complex64) {
        let layers = self.u.len();
        for side in [&mut self.up, &mut self.down] {
            side.clear();
            side.resize(layers, Complex64::ZERO);
        }
        let beyond = |r: Complex64, next: Complex64, through: Complex64| {
            let back = next * through * through;
            (r + back) / (1.0 + r * back)
        };
        for i in 1..layers {
            let r = reflection(i, i - 1, &self.u);
            self.up[i] = beyond(r, self.up[i - 1], self.through[i - 1]);
        }
        for i in (0..layers - 1).rev() {
            let r = reflection(i, i + 1, &self.u);
            self.down[i] = beyond(r, self.down[i + 1], self.through[i + 1]);
        }
    }

    /// Both places in one layer: what comes back from its boundaries.
    fn within(&self, path: &Path) -> Green {
        let s = path.source.layer;
        let (u, through) = (self.u[s], self.through[s]);
        let (up, down) = (self.up[s], self.down[s]);
        let round = up * down * through;
        let strength = 0.5 / (u * (1.0 - round * through));
        // By way of the bottom, of the top, of the bottom then the top, and of the
        // top then the bottom.
        let below = strength * down * self.source.bottom * self.observer.bottom;
        let above = strength * up * self.source.top * self.observer.top;
        let below_above = strength * round * self.source.bottom * self.observer.top;
        let above_below = strength * round * self.source.top * self.observer.bottom;
        Green {
            value: below + above + below_above + above_below,
            by_z: u * (above + below_above - below - above_below),
            by_source: u * (above + above_below - below - below_above),
            by_both: u * u * (below + above - below_above - above_below),
        }
    }

    /// Places in two layers: all of the wave.
    fn across(&self, path: &Path) -> Green {
        let (s, r) = (path.source.layer, path.observer.layer);
        let rising = r < s;
        // As seen on the way: the side ahead, and the side behind.
        let (ahead, behind) = if rising { (&self.up, &self.down) } else { (&self.down, &self.up) };
        let side =
            |ends: Ends| if rising { (ends.top, ends.bottom) } else { (ends.bottom, ends.top) };
        let sign = if rising { 1.0 } else { -1.0 };

        let through = self.through[s];
        let (to_ahead, to_behind) = side(self.source);
        let returning = behind[s] * to_behind * through;
        let strength =
            (1.0 + ahead[s]) / (2.0 * self.u[s] * (1.0 - behind[s] * ahead[s] * through * through));
        let mut amplitude = strength * (to_ahead + returning);
        let mut by_source = strength * self.u[s] * sign * (to_ahead - returning);

        let mut layer = s;
        while layer != r {
            layer = if rising { layer - 1 } else { layer + 1 };
            let through = self.through[layer];
            let mut pass = 1.0 / (1.0 + ahead[layer] * through * through);
            if layer != r {
                pass *= through * (1.0 + ahead[layer]);
            }
            amplitude *= pass;
            by_source *= pass;
        }
        let (to_ahead, to_behind) = side(self.observer);
        let returning = ahead[r] * self.through[r] * to_ahead;
        let shape = to_behind + returning;
        let slope = self.u[r] * sign * (returning - to_behind);
        Green {
            value: amplitude * shape,
            by_z: amplitude * slope,
            by_source: by_source * shape,
            by_both: by_source * slope,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::ground::{Material, Slab};
    use super::*;

    fn ground() -> Ground {
        let material = |conductivity_s_per_m, relative_permittivity| Material {
            conductivity_s_per_m,
            relative_permittivity,
        };
        Ground {
            surface_z_m: 0.0,
            slabs: vec![
                Slab { thickness_m: 0.7, material: material(1e-5, 1.8) },
                Slab { thickness_m: 1.1, material: material(2e-3, 6.0) },
            ],
            bottom: material(2e-2, 20.0),
        }
    }

    /// With the direct wave put back, both solutions and their derivatives hold
    /// together at every boundary; the derivatives are those by differences.
    #[test]
    fn solutions_are_continuous_and_their_derivatives_true() {
        let ground = ground();
        let lambda = Complex64::new(0.6, 0.05);
        let solve = |source_z, z| {
            let path = Path::new(&ground, 457e3, source_z, z);
            let [te, tm] = path.both(lambda, &mut Workspace::default());
            let direct = match path.source.layer == path.observer.layer {
                true => Green::direct(
                    (lambda * lambda - path.k2[path.source.layer]).sqrt(),
                    z - source_z,
                ),
                false => Green::default(),
            };
            let whole = |g: Green| g.minus(Green::default().minus(direct));
            (whole(te), whole(tm), path.k2[path.observer.layer])
        };
        for source_z in [0.4, -0.3, -1.2, -2.5] {
            for boundary in ground.boundaries_z_m() {
                let (te, tm, k2) = solve(source_z, boundary + 1e-12);
                let (te_below, tm_below, k2_below) = solve(source_z, boundary - 1e-12);
                for (above, below) in [
                    (te.value, te_below.value),
                    (te.by_z, te_below.by_z),
                    (te.by_source, te_below.by_source),
                    (te.by_both, te_below.by_both),
                    (tm.value, tm_below.value),
                    (tm.by_z / k2, tm_below.by_z / k2_below),
                ] {
                    let off = (above - below).norm() / above.norm();
                    assert!(off < 1e-9, "{off:e} at {boundary} m from {source_z} m");
                }
            }
            for z in [0.9, -0.5, -1.5, -3.0] {
                let step = 1e-5;
                let of = |source_z, z| solve(source_z, z).0;
                let by_z =
                    (of(source_z, z + step).value - of(source_z, z - step).value) / (2.0 * step);
                let by_source =
                    (of(source_z + step, z).value - of(source_z - step, z).value) / (2.0 * step);
                let by_both =
                    (of(source_z + step, z).by_z - of(source_z - step, z).by_z) / (2.0 * step);
                let te = of(source_z, z);
                for (exact, numeric) in
                    [(te.by_z, by_z), (te.by_source, by_source), (te.by_both, by_both)]
                {
                    assert!((exact - numeric).norm() < 1e-7 * (1.0 + exact.norm()));
                }
            }
        }
    }

    /// Far down in the layers nothing overflows and nothing is lost.
    #[test]
    fn large_wave_numbers_die_quietly() {
        let ground = ground();
        let path = Path::new(&ground, 457e3, -2.0, 0.5);
        let (te, tm) = path.secondary(Complex64::new(1e4, 0.0), &mut Workspace::default());
        assert_eq!((te.value.norm(), tm.norm()), (0.0, 0.0));
    }
}
