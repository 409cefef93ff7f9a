//! A magnetic dipole of any direction in a layered half-space: air above snow,
//! soil and whatever else lies flat.
//!
//! z points up, the time factor is e^(+jωt), µ = µ0 everywhere, displacement
//! currents are kept, in the air too. Source and observer may each be in any
//! layer. The field is that of a dipole in one material without end, in closed
//! form, and a rest that the boundaries make. In cylinder coordinates about the
//! source, with the integrals of [`hankel`] (g_E and g_M solve the two scalar
//! problems of [`waves`]):
//!
//! ```text
//! 2π H_z = m_z ∫ λ³ g_E J0 + m_ρ ∫ λ² ∂g_E/∂z' J1
//! 2π H_ρ = −m_z ∫ λ² ∂g_E/∂z J1 + m_ρ [ ∫ λ ∂²g_E/∂z∂z' J0 − S/ρ ]
//! 2π H_φ = m_φ [ ∫ λ k² g_M J0 + S/ρ ]       S = ∫ (∂²g_E/∂z∂z' − k² g_M) J1
//! ```
//!
//! A vertical dipole sends TE waves only; a horizontal one sends both, its H_t the
//! gradient of the TE and the curl of the TM potential.
//!
//! Accuracy: each integral is within 1.2e-8 of the direct field 1/4πr³ of adaptive
//! integration, at 0.02 m to 300 m and among all layers; the whole field within
//! 1.3e-7 of its magnitude (1e-8 but for one) of 120 random cases by the kernels of
//! the Python package empymod, 0.5 m to 100 m (`tests/outside/empymod_ground.py`).
//! Cost: some 150 µs for all nine couplings of a pair of places; a [`Sheet`] gives
//! those of many pairs at a fortieth of it.

mod bessel;
mod epsilon;
mod ground;
mod hankel;
mod sheet;
mod table;
mod waves;
mod whole_space;

use nalgebra::Matrix3;
use num_complex::Complex64;

use self::hankel::Integrals;
use self::waves::Path;
use super::medium::Medium;

pub use ground::{Ground, GroundError, Material, Slab};
pub use sheet::Sheet;
pub(crate) use table::Table;

/// A layered ground at one frequency, as a [`Medium`].
///
/// ```
/// use coilrig_analysis::field::layered::{Ground, Layered, Material};
/// use coilrig_analysis::field::medium::Medium;
///
/// let snow = Material { conductivity_s_per_m: 1e-6, relative_permittivity: 1.5 };
/// let soil = Material::of_resistivity(100.0, 15.0);
/// let field = Layered::new(Ground::snow_over_soil(2.0, snow, soil), 457e3)?;
/// // 1 m deep in the snow, the coil 1 m above it and 60 m away: soil takes 12 dB
/// // off the vertical field, which in free space is 1/(4πr³) and a little.
/// let vertical = field.coupling([0.0, 0.0, -1.0], [60.0, 0.0, 1.0])[(2, 2)].norm();
/// assert!((vertical / 8.4e-8 - 1.0).abs() < 0.05);
/// # Ok::<(), coilrig_analysis::field::layered::GroundError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Layered {
    ground: Ground,
    frequency_hz: f64,
}

impl Layered {
    /// At a frequency in Hz, over 0.
    ///
    /// # Errors
    ///
    /// Numbers that cannot be: [`GroundError`].
    pub fn new(ground: Ground, frequency_hz: f64) -> Result<Self, GroundError> {
        ground.check()?;
        if !(frequency_hz > 0.0 && frequency_hz.is_finite()) {
            return Err(GroundError::Number { quantity: "the frequency", value: frequency_hz });
        }
        Ok(Self { ground, frequency_hz })
    }

    /// The ground.
    pub fn ground(&self) -> &Ground {
        &self.ground
    }

    /// The same over another bottom, which must be a material that can be.
    pub(crate) fn over(&self, bottom: Material) -> Self {
        Self { ground: Ground { bottom, ..self.ground.clone() }, ..*self }
    }

    /// The frequency, Hz.
    pub fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }

    /// The way between two heights.
    fn path(&self, source_z_m: f64, observer_z_m: f64) -> Path {
        Path::new(&self.ground, self.frequency_hz, source_z_m, observer_z_m)
    }

    /// All that a table of couplings between two heights is made of: what the
    /// boundaries add, and at which distance, m, it bends most.
    pub(crate) fn between(&self, source_z_m: f64, observer_z_m: f64) -> Between {
        Between { path: self.path(source_z_m, observer_z_m), rise_m: observer_z_m - source_z_m }
    }

    /// What the boundaries add, of a path between two heights, at a horizontal
    /// distance.
    fn secondary(path: &Path, rho_m: f64) -> Cylindrical {
        // On the axis J0 = 1 and J1 = λρ/2: near enough to it, they are.
        let near_m = 1e-5 * path.shortest();
        let rho = rho_m.max(near_m);
        let i = Integrals::over_all(path, rho);
        let scale = 0.5 / std::f64::consts::PI;
        let aside = scale * rho_m / rho;
        Cylindrical {
            zz: i.vertical * scale,
            rho_z: -i.by_z * aside,
            z_rho: i.by_source * aside,
            rho_rho: (i.electric - i.across / rho) * scale,
            phi_phi: (i.magnetic + i.across / rho) * scale,
        }
    }
}

impl Medium for Layered {
    /// Cost and accuracy: see [the module](self). NaN where the places are the
    /// same, and beyond λρ of some 400, far over a kilometre away.
    fn coupling(&self, source_m: [f64; 3], point_m: [f64; 3]) -> Matrix3<Complex64> {
        let path = self.path(source_m[2], point_m[2]);
        let offset = std::array::from_fn(|i| point_m[i] - source_m[i]);
        let direct = whole_space::coupling(path.reference_wave_number(), offset);
        if direct[(0, 0)].is_nan() {
            return direct;
        }
        let rho_m = offset[0].hypot(offset[1]);
        direct + Self::secondary(&path, rho_m).turned(offset[0], offset[1])
    }
}

/// The way between two heights, ready for any horizontal distance.
pub(crate) struct Between {
    path: Path,
    rise_m: f64,
}

impl Between {
    /// What the boundaries add at a horizontal distance (m).
    pub(crate) fn secondary(&self, rho_m: f64) -> Cylindrical {
        Layered::secondary(&self.path, rho_m)
    }

    /// The rest of the coupling, in closed form; x along the horizontal distance.
    pub(crate) fn direct(&self, rho_m: f64) -> Matrix3<Complex64> {
        whole_space::coupling(self.path.reference_wave_number(), [rho_m, 0.0, self.rise_m])
    }

    /// The horizontal distance, m, over which what the boundaries add bends most.
    pub(crate) fn bend_m(&self) -> f64 {
        self.path.shortest().max(0.2)
    }
}

/// Couplings in cylinder coordinates about the source; the first index is that of
/// the field. All others are zero.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Cylindrical {
    zz: Complex64,
    rho_z: Complex64,
    z_rho: Complex64,
    rho_rho: Complex64,
    phi_phi: Complex64,
}

impl Cylindrical {
    pub(crate) fn array(&self) -> [Complex64; 5] {
        [self.zz, self.rho_z, self.z_rho, self.rho_rho, self.phi_phi]
    }

    pub(crate) fn of([zz, rho_z, z_rho, rho_rho, phi_phi]: [Complex64; 5]) -> Self {
        Self { zz, rho_z, z_rho, rho_rho, phi_phi }
    }

    /// Along x, y, z for an observer at (x, y) from the source.
    pub(crate) fn turned(&self, x: f64, y: f64) -> Matrix3<Complex64> {
        let rho = x.hypot(y);
        let (c, s) = if rho > 0.0 { (x / rho, y / rho) } else { (1.0, 0.0) };
        let mixed = (self.rho_rho - self.phi_phi) * (c * s);
        Matrix3::new(
            self.rho_rho * (c * c) + self.phi_phi * (s * s),
            mixed,
            self.rho_z * c,
            mixed,
            self.rho_rho * (s * s) + self.phi_phi * (c * c),
            self.rho_z * s,
            self.z_rho * c,
            self.z_rho * s,
            self.zz,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::super::constants::MAGNETIC_CONSTANT_N_PER_A2;
    use super::super::medium::FreeSpace;
    use super::*;

    const HZ: f64 = 457e3;

    fn material(conductivity_s_per_m: f64, relative_permittivity: f64) -> Material {
        Material { conductivity_s_per_m, relative_permittivity }
    }

    fn of(slabs: &[(f64, Material)], bottom: Material) -> Layered {
        let slab = |(thickness_m, material): &(f64, Material)| Slab {
            thickness_m: *thickness_m,
            material: *material,
        };
        let slabs = slabs.iter().map(slab).collect();
        Layered::new(Ground { surface_z_m: 0.0, slabs, bottom }, HZ).unwrap()
    }

    fn field() -> Layered {
        of(&[(1.2, material(1e-6, 1.5)), (0.8, material(1e-4, 3.0))], material(0.01, 15.0))
    }

    /// Air, both layers of snow, soil.
    const HEIGHTS_M: [f64; 5] = [1.0, 0.05, -0.5, -1.7, -2.6];

    #[test]
    fn air_all_the_way_down_is_free_space() {
        let air = of(&[(1.0, Material::AIR), (1.0, Material::AIR)], Material::AIR);
        let free = FreeSpace { frequency_hz: HZ };
        for z in HEIGHTS_M {
            for rho in [0.5, 7.0, 80.0] {
                let (source, point) = ([0.0, 0.0, -1.5], [0.6 * rho, -0.8 * rho, z]);
                let truth = free.coupling(source, point);
                let off = (air.coupling(source, point) - truth).norm() / truth.norm();
                assert!(off < 1e-12, "{off:e} at {rho} m, {z} m");
            }
        }
    }

    #[test]
    fn one_material_in_layers_is_that_material_without_end() {
        let soil = material(0.01, 15.0);
        let layered = of(&[(1.0, soil), (1.0, soil)], soil);
        for z in [-20.5, -21.5, -25.0] {
            let offset = [3.0, 4.0, z + 20.7];
            let ours = layered.coupling([0.0, 0.0, -20.7], [3.0, 4.0, z]);
            let truth = whole_space::coupling(soil.wave_number(HZ), offset);
            // The surface is 20 m, three skin depths, above.
            assert!((ours - truth).norm() < 5e-4 * truth.norm());
        }
    }

    /// H at b of a dipole at a is that at a of one at b, whatever lies between:
    /// G(a, b) is the transpose of G(b, a).
    #[test]
    fn source_and_observer_may_change_places() {
        let field = field();
        for from in HEIGHTS_M {
            for to in HEIGHTS_M {
                for rho in [0.7, 9.0, 70.0] {
                    let (a, b) = ([0.0, 0.0, from], [0.28 * rho, 0.96 * rho, to]);
                    let (there, back) = (field.coupling(a, b), field.coupling(b, a));
                    let off = (there - back.transpose()).norm() / there.norm();
                    assert!(off < 1e-8, "{off:e} from {from} m to {to} m over {rho} m");
                }
            }
        }
    }

    /// No layer has a magnetism of its own: all of H runs on through a boundary,
    /// B_z = µ0 H_z and the tangential part, for every moment.
    #[test]
    fn field_is_continuous_through_boundaries() {
        let field = field();
        for source_z in HEIGHTS_M {
            for boundary in field.ground().boundaries_z_m() {
                for rho in [0.4, 6.0, 50.0] {
                    let at = |z| field.coupling([0.0, 0.0, source_z], [rho, 0.0, z]);
                    let (above, below) = (at(boundary + 1e-9), at(boundary - 1e-9));
                    let off = (above - below).norm() / above.norm();
                    assert!(off < 1e-7, "{off:e} at {boundary} m from {source_z} m, {rho} m");
                }
            }
        }
    }

    /// ∇·B = 0 by central differences, in every layer.
    #[test]
    fn divergence_is_zero() {
        let field = field();
        let step = 1e-3;
        for z in HEIGHTS_M.map(|z| z - 0.011) {
            let at = [1.9, -1.2, z];
            let divergence = (0..3)
                .map(|i| {
                    let (mut up, mut down) = (at, at);
                    up[i] += step;
                    down[i] -= step;
                    let source = [0.0, 0.0, -0.3];
                    (field.coupling(source, up) - field.coupling(source, down)).row(i).into_owned()
                })
                .fold(nalgebra::RowVector3::zeros(), |sum, part| sum + part)
                / Complex64::from(2.0 * step);
            let scale = field.coupling([0.0, 0.0, -0.3], at).norm();
            assert!(divergence.norm() < 1e-5 * scale, "{:e} at {z} m", divergence.norm() / scale);
        }
    }

    /// Faraday and Ampère together: ∇²H + k²H = 0 with the k of the layer.
    #[test]
    fn each_layer_has_its_own_helmholtz_equation() {
        let field = of(&[(2.0, material(0.5, 3.0))], material(3.0, 15.0));
        let step = 1e-3;
        for (z, material) in [(-1.1, material(0.5, 3.0)), (-2.3, material(3.0, 15.0))] {
            let at = [0.5, -0.3, z];
            let h = |shift: [f64; 3]| {
                field.coupling([0.0, 0.0, 0.4], std::array::from_fn(|i| at[i] + shift[i]))
            };
            let here = h([0.0; 3]);
            let mut laplacian = Matrix3::zeros();
            for i in 0..3 {
                let shift = |d: f64| std::array::from_fn(|j| if i == j { d } else { 0.0 });
                laplacian += h(shift(step)) + h(shift(-step)) - here * Complex64::from(2.0);
            }
            let k2 = material.wave_number_squared(HZ);
            let left = laplacian / Complex64::from(step * step) + here * k2;
            assert!(
                left.norm() < 1e-3 * (here * k2).norm() + 1e-5 * laplacian.norm() / step.powi(2)
            );
        }
    }

    /// Over a perfect conductor the field is that of the dipole and of its image:
    /// a vertical moment turned over, a horizontal one as it is.
    #[test]
    fn a_perfect_conductor_makes_an_image() {
        let metal = of(&[], material(1e12, 1.0));
        let free = FreeSpace { frequency_hz: HZ };
        let image = nalgebra::Vector3::new(1.0, 1.0, -1.0).map(Complex64::from);
        for rho in [0.0, 0.5, 12.0, 90.0] {
            let point = [rho, 0.0, 0.8];
            let truth = free.coupling([0.0, 0.0, 1.5], point)
                + free.coupling([0.0, 0.0, -1.5], point) * Matrix3::from_diagonal(&image);
            let ours = metal.coupling([0.0, 0.0, 1.5], point);
            let off = (ours - truth).norm() / truth.norm();
            assert!(off < 2e-5, "{off:e} at {rho} m");
        }
    }

    /// A very bad conductor of one skin depth far over the distance: to first order
    /// in ωµ0σ the vertical coaxial field changes by the eddy currents of a
    /// half-space, Δ H_z = −jωµ0σ m / (8π · 2h) · … (the low induction number of
    /// J. D. McNeill, TN-6, 1980, from memory): quadrature over primary of two
    /// vertical coplanar coils on the ground is ωµ0σ ρ²/4.
    #[test]
    fn low_induction_numbers_give_the_known_quadrature() {
        let sigma = 1e-4;
        let ground = of(&[], material(sigma, 1.0));
        let low = Layered::new(ground.ground().clone(), 10e3).unwrap();
        let rho = 5.0;
        let ratio = |i: usize| {
            let h = low.coupling([0.0, 0.0, 1e-6], [rho, 0.0, 1e-6])[(i, i)];
            let primary =
                FreeSpace { frequency_hz: 0.0 }.coupling([0.0; 3], [rho, 0.0, 0.0])[(i, i)];
            (h / primary).im
        };
        let law =
            2.0 * std::f64::consts::PI * 10e3 * MAGNETIC_CONSTANT_N_PER_A2 * sigma * rho * rho
                / 4.0;
        for i in [1, 2] {
            assert!((ratio(i) / law - 1.0).abs() < 0.02, "{} where {law}", ratio(i));
        }
    }

    /// Design figures: 1 m deep in 2 m of dry snow over 100 Ω·m, coil 1 m above it.
    #[test]
    fn soil_under_snow_moves_the_field_by_decibels() {
        let snow = material(1e-6, 1.5);
        let soil = Material::of_resistivity(100.0, 15.0);
        let field = Layered::new(Ground::snow_over_soil(2.0, snow, soil), HZ).unwrap();
        let free = FreeSpace { frequency_hz: HZ };
        let gain = |rho: f64, i: usize| {
            let (source, point) = ([0.0, 0.0, -1.0], [rho, 0.0, 1.0]);
            let at = |medium: &dyn Medium| medium.coupling(source, point)[(i, i)].norm();
            20.0 * (at(&field) / at(&free)).log10()
        };
        assert!((gain(10.0, 1) - 1.42).abs() < 0.01, "{}", gain(10.0, 1));
        assert!((gain(30.0, 1) - 5.48).abs() < 0.01, "{}", gain(30.0, 1));
        assert!((gain(60.0, 1) - 6.17).abs() < 0.01, "{}", gain(60.0, 1));
        assert!((gain(60.0, 2) + 12.15).abs() < 0.01, "{}", gain(60.0, 2));
    }

    #[test]
    fn straight_above_the_field_runs_on_smoothly() {
        let field = field();
        let at = |rho: f64| field.coupling([0.0, 0.0, -0.9], [rho, 0.0, 0.7]);
        let axis = at(0.0);
        for rho in [1e-9, 1e-6, 1e-4] {
            assert!((at(rho) - axis).norm() < (1e-8 + 10.0 * rho) * axis.norm(), "{rho}");
        }
        assert!((axis[(0, 0)] - axis[(1, 1)]).norm() < 1e-9 * axis.norm());
    }

    #[test]
    fn no_number_at_the_source_and_none_for_senseless_ground() {
        assert!(field().coupling([0.0; 3], [0.0; 3])[(0, 0)].re.is_nan());
        let ground = Ground { surface_z_m: 0.0, slabs: Vec::new(), bottom: Material::AIR };
        for frequency_hz in [0.0, -1.0, f64::NAN] {
            assert!(Layered::new(ground.clone(), frequency_hz).is_err());
        }
    }
}
