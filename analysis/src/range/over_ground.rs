//! The field over distance above layered ground, for coils held at one height.
//!
//! Distance is that between the centres of the coils. *Coaxial* and *coplanar* mean
//! what they mean in free space at every distance: coaxial coils point along the
//! line between them; coplanar ones are square to it, level (both axes level) or
//! upright (both in the vertical plane through the line).

use nalgebra::Matrix3;
use num_complex::Complex64;
use serde::{Deserialize, Serialize};

use super::readings::Alignment;
use crate::field::layered::{Between, Ground, GroundError, Layered, Material, Table};

/// Resistivities of soil among which a fit looks, Ω·m: brine to dry rock.
pub const SOIL_RESISTIVITIES_OHM_M: (f64, f64) = (1.0, 1e5);
/// How far the table of the field reaches, m; beyond it each field is computed.
const TABLE_REACH_M: f64 = 120.0;

/// How coplanar coils lie.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Coplanar {
    /// Both axes level, square to the line between the coils.
    #[default]
    Level,
    /// Both axes in the vertical plane through the line, square to it.
    Upright,
}

/// Where unit and coil are.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Heights {
    /// Depth of the unit below the surface, m; negative for one above it.
    pub unit_depth_m: f64,
    /// Height of the receiver coil over the surface, m (over 0).
    pub coil_height_m: f64,
}

/// Soil that a fit may take to have another resistivity than stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Soil {
    /// Resistivity as stated.
    Known,
    /// Resistivity open within [`SOIL_RESISTIVITIES_OHM_M`].
    Open,
}

/// The theory of readings over one ground. The soil is what is below all slabs.
#[derive(Clone, Debug)]
pub struct OverGround {
    layered: Layered,
    heights: Heights,
    coplanar: Coplanar,
    soil: Soil,
    table: Table,
}

impl OverGround {
    /// Tabulate the field; some tens of milliseconds, a few hundred with open soil.
    /// The height of the ground's surface does not matter.
    ///
    /// # Errors
    ///
    /// Ground or heights that cannot be, and soil stated with a resistivity outside
    /// [`SOIL_RESISTIVITIES_OHM_M`] that is to be open.
    pub fn new(
        mut ground: Ground,
        frequency_hz: f64,
        heights: Heights,
        coplanar: Coplanar,
        soil: Soil,
    ) -> Result<Self, GroundError> {
        ground.surface_z_m = 0.0;
        let Heights { unit_depth_m, coil_height_m } = heights;
        if !unit_depth_m.is_finite() {
            let quantity = "the depth of the unit";
            return Err(GroundError::Number { quantity, value: unit_depth_m });
        }
        if !(coil_height_m > 0.0 && coil_height_m.is_finite()) {
            let quantity = "the height of the coil over the surface";
            return Err(GroundError::Number { quantity, value: coil_height_m });
        }
        let resistivity = 1.0 / ground.bottom.conductivity_s_per_m;
        let (low, high) = SOIL_RESISTIVITIES_OHM_M;
        if soil == Soil::Open && !(low..=high).contains(&resistivity) {
            let quantity = "the resistivity of the soil";
            return Err(GroundError::Number { quantity, value: resistivity });
        }
        let layered = Layered::new(ground, frequency_hz)?;
        let ends = match soil {
            Soil::Known => (0.0, 0.0),
            Soil::Open => (low.ln(), high.ln()),
        };
        let table =
            Table::new(ends, TABLE_REACH_M, |log_soil| way(&layered, heights, soil, log_soil));
        Ok(Self { layered, heights, coplanar, soil, table })
    }

    /// Whether a fit may open the resistivity of the soil.
    pub fn soil(&self) -> Soil {
        self.soil
    }

    /// Where unit and coil are.
    pub fn heights(&self) -> Heights {
        self.heights
    }

    /// How coplanar coils lie.
    pub fn coplanar(&self) -> Coplanar {
        self.coplanar
    }

    /// The ground as stated.
    pub fn ground(&self) -> &Ground {
        self.layered.ground()
    }

    /// Height of the coil over the unit, m: the least distance there can be is its
    /// magnitude.
    pub fn rise_m(&self) -> f64 {
        self.heights.coil_height_m + self.heights.unit_depth_m
    }

    /// ln of the stated resistivity of the soil in Ω·m.
    pub fn stated_log_soil(&self) -> f64 {
        -self.ground().bottom.conductivity_s_per_m.ln()
    }

    /// Field (A/m) of 1 A·m² at a distance between centres, with soil of the
    /// resistivity e^`log_soil` Ω·m. NaN nearer than the coil is over the unit, and
    /// for open soil outside of its bounds. Within 2e-5 of the exact field.
    pub fn field_a_per_m(&self, alignment: Alignment, distance_m: f64, log_soil: f64) -> f64 {
        let Some(g) = self.coupling(distance_m, log_soil) else { return f64::NAN };
        let up = self.rise_m() / distance_m;
        let level = (1.0 - up * up).max(0.0).sqrt();
        let in_plane = |x: f64, z: f64| {
            (g[(0, 0)] * (x * x) + (g[(0, 2)] + g[(2, 0)]) * (x * z) + g[(2, 2)] * (z * z)).norm()
        };
        match (alignment, self.coplanar) {
            (Alignment::Coaxial, _) => in_plane(level, up),
            (Alignment::Coplanar, Coplanar::Upright) => in_plane(-up, level),
            (Alignment::Coplanar, Coplanar::Level) => g[(1, 1)].norm(),
        }
    }

    /// Magnitudes (A/m) of the whole field of a level dipole of 1 A·m²: its axis in
    /// the vertical plane through unit and coil, and square to it. In between their
    /// squares add, by the cosine and the sine of the angle squared.
    pub(super) fn level_magnitudes(&self, distance_m: f64, log_soil: f64) -> Option<(f64, f64)> {
        let g = self.coupling(distance_m, log_soil)?;
        Some((g[(0, 0)].norm().hypot(g[(2, 0)].norm()), g[(1, 1)].norm()))
    }

    /// From unit to coil, x along the horizontal distance; `None` where there is
    /// no such place or no such soil.
    fn coupling(&self, distance_m: f64, log_soil: f64) -> Option<Matrix3<Complex64>> {
        let rise = self.rise_m();
        let rho_m = (distance_m * distance_m - rise * rise).sqrt();
        let log_soil = if self.soil == Soil::Known { 0.0 } else { log_soil };
        if rho_m.is_nan() || !self.table.holds(log_soil, 0.0) {
            return None;
        }
        let way = |log_soil| way(&self.layered, self.heights, self.soil, log_soil);
        let secondary = match self.table.holds(log_soil, rho_m) {
            true => self.table.secondary(log_soil, rho_m),
            false => way(log_soil).secondary(rho_m),
        };
        // The coil is in the air, whose direct wave does not ask for the soil.
        Some(way(self.stated_log_soil()).direct(rho_m) + secondary.turned(rho_m, 0.0))
    }
}

/// The way from unit to coil over soil of the stated resistivity, or of another.
fn way(layered: &Layered, heights: Heights, soil: Soil, log_soil: f64) -> Between {
    let (source_z_m, coil_z_m) = (-heights.unit_depth_m, heights.coil_height_m);
    match soil {
        Soil::Known => layered.between(source_z_m, coil_z_m),
        Soil::Open => {
            let bottom = layered.ground().bottom;
            let soil = Material { conductivity_s_per_m: (-log_soil).exp(), ..bottom };
            layered.over(soil).between(source_z_m, coil_z_m)
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::field::medium::Medium;

    pub(crate) fn snow_over_soil(resistivity_ohm_m: f64, soil: Soil) -> OverGround {
        let snow = Material { conductivity_s_per_m: 1e-6, relative_permittivity: 1.5 };
        let ground =
            Ground::snow_over_soil(2.0, snow, Material::of_resistivity(resistivity_ohm_m, 15.0));
        let heights = Heights { unit_depth_m: 1.0, coil_height_m: 1.0 };
        OverGround::new(ground, 457e3, heights, Coplanar::Level, soil).unwrap()
    }

    /// Design figures, over the horizontal distance: 1.4 dB at 10 m, 5 to 6 dB from
    /// 30 m to 60 m.
    #[test]
    fn gain_over_free_space_is_that_of_the_design() {
        let ground = snow_over_soil(100.0, Soil::Known);
        for (rho, db) in [(10.0_f64, 1.42), (30.0, 5.48), (60.0, 6.17)] {
            let r = rho.hypot(2.0);
            let ours = ground.field_a_per_m(Alignment::Coplanar, r, 0.0);
            let free = Alignment::Coplanar.field_a_per_m(1.0, r, 457e3);
            assert!((20.0 * (ours / free).log10() - db).abs() < 0.01, "{rho} m");
        }
    }

    #[test]
    fn table_gives_the_field_of_the_layers_for_any_soil() {
        let open = snow_over_soil(100.0, Soil::Open);
        for resistivity in [1.0, 7.0, 100.0, 3333.0, 1e5] {
            let snow = open.ground().slabs[0].material;
            let soil = Material::of_resistivity(resistivity, 15.0);
            let exact = Layered::new(Ground::snow_over_soil(2.0, snow, soil), 457e3).unwrap();
            for r in [2.0, 2.5, 9.0, 33.0, 100.0, 150.0_f64] {
                let rho = (r * r - 4.0).sqrt();
                let g = exact.coupling([0.0, 0.0, -1.0], [rho, 0.0, 1.0]);
                let n =
                    nalgebra::Vector3::new(rho / r, 0.0, 2.0 / r).map(num_complex::Complex64::from);
                let coaxial = (n.transpose() * g * n)[(0, 0)].norm();
                let ours = |a| open.field_a_per_m(a, r, resistivity.ln());
                let off = (ours(Alignment::Coaxial) / coaxial - 1.0)
                    .abs()
                    .max((ours(Alignment::Coplanar) / g[(1, 1)].norm() - 1.0).abs());
                assert!(off < 2e-5, "{off:e} at {r} m over {resistivity} Ω·m");
            }
        }
    }

    #[test]
    fn over_air_both_alignments_are_those_of_free_space() {
        let air = Ground { surface_z_m: 0.0, slabs: Vec::new(), bottom: Material::AIR };
        let heights = Heights { unit_depth_m: 0.7, coil_height_m: 0.5 };
        for coplanar in [Coplanar::Level, Coplanar::Upright] {
            let ground =
                OverGround::new(air.clone(), 457e3, heights, coplanar, Soil::Known).unwrap();
            for alignment in Alignment::ALL {
                for r in [1.3, 4.0, 40.0] {
                    let free = alignment.field_a_per_m(1.0, r, 457e3);
                    let ours = ground.field_a_per_m(alignment, r, 0.0);
                    assert!((ours / free - 1.0).abs() < 1e-9, "{alignment} {coplanar:?} {r}");
                }
                assert!(ground.field_a_per_m(alignment, 1.1, 0.0).is_nan());
            }
        }
    }

    #[test]
    fn senseless_heights_and_soils_are_refused() {
        let soil = |resistivity| Material::of_resistivity(resistivity, 10.0);
        let of = |depth, height, resistivity| {
            let ground = Ground { surface_z_m: 0.0, slabs: Vec::new(), bottom: soil(resistivity) };
            let heights = Heights { unit_depth_m: depth, coil_height_m: height };
            OverGround::new(ground, 457e3, heights, Coplanar::Level, Soil::Open)
        };
        assert!(of(f64::NAN, 1.0, 100.0).is_err());
        assert!(of(1.0, 0.0, 100.0).is_err());
        assert!(of(1.0, 1.0, 1e6).is_err());
    }
}
