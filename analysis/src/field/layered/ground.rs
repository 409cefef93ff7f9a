//! What lies under the air: horizontal layers and what they are made of.

use std::f64::consts::PI;

use num_complex::Complex64;
use serde::{Deserialize, Serialize};

use crate::field::constants::{MAGNETIC_CONSTANT_N_PER_A2, wave_number_rad_per_m};

/// A material without magnetic properties of its own (µ = µ0).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Material {
    /// Electric conductivity, S/m (0 or more).
    pub conductivity_s_per_m: f64,
    /// Permittivity over that of vacuum (1 to 100; water has 80).
    pub relative_permittivity: f64,
}

impl Material {
    /// Air, taken as vacuum.
    pub const AIR: Self = Self { conductivity_s_per_m: 0.0, relative_permittivity: 1.0 };

    /// A material of a resistivity in Ω·m (over 0).
    pub fn of_resistivity(resistivity_ohm_m: f64, relative_permittivity: f64) -> Self {
        Self { conductivity_s_per_m: 1.0 / resistivity_ohm_m, relative_permittivity }
    }

    /// k² = ω²µ0ε − jωµ0σ, 1/m², for the time factor e^(+jωt).
    pub fn wave_number_squared(&self, frequency_hz: f64) -> Complex64 {
        let vacuum = wave_number_rad_per_m(frequency_hz).powi(2);
        let loss = 2.0 * PI * frequency_hz * MAGNETIC_CONSTANT_N_PER_A2 * self.conductivity_s_per_m;
        Complex64::new(vacuum * self.relative_permittivity, -loss)
    }

    /// Wave number k = 2π/λ − j/δ, 1/m: real part over 0, imaginary 0 or below.
    pub fn wave_number(&self, frequency_hz: f64) -> Complex64 {
        self.wave_number_squared(frequency_hz).sqrt()
    }

    fn check(&self, layer: usize) -> Result<(), GroundError> {
        if !(self.conductivity_s_per_m >= 0.0 && self.conductivity_s_per_m.is_finite()) {
            return Err(GroundError::Conductivity { layer, value: self.conductivity_s_per_m });
        }
        if !(1.0..=100.0).contains(&self.relative_permittivity) {
            return Err(GroundError::Permittivity { layer, value: self.relative_permittivity });
        }
        Ok(())
    }
}

/// A layer with a lower boundary.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Slab {
    /// Thickness, m (over 0).
    pub thickness_m: f64,
    /// What it is made of.
    pub material: Material,
}

/// Horizontal layers under air, the last of them without end. The surface, where
/// the air ends, is at z = `surface_z_m`; z points up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ground {
    /// Height of the surface, m.
    pub surface_z_m: f64,
    /// Layers from the surface down; may be none.
    pub slabs: Vec<Slab>,
    /// What is below all of them.
    pub bottom: Material,
}

/// Why a ground cannot be. Layers count from 1 at the surface.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GroundError {
    /// A thickness that is none.
    #[error("layer {layer} is {value} m thick, which must be a finite number over zero")]
    Thickness {
        /// Which layer.
        layer: usize,
        /// What it was.
        value: f64,
    },
    /// A conductivity that is none.
    #[error("layer {layer} has a conductivity of {value} S/m, which must be finite, 0 or more")]
    Conductivity {
        /// Which layer.
        layer: usize,
        /// What it was.
        value: f64,
    },
    /// A permittivity that is none.
    #[error("layer {layer} has a relative permittivity of {value}, which must be 1 to 100")]
    Permittivity {
        /// Which layer.
        layer: usize,
        /// What it was.
        value: f64,
    },
    /// A height or frequency that is none.
    #[error("{quantity} is {value}, which is of no use")]
    Number {
        /// Name of the quantity.
        quantity: &'static str,
        /// What it was.
        value: f64,
    },
}

impl Ground {
    /// Dry snow over soil, the surface at z = 0. A snow depth of 0 leaves the soil
    /// bare.
    pub fn snow_over_soil(snow_depth_m: f64, snow: Material, soil: Material) -> Self {
        let slab = Slab { thickness_m: snow_depth_m, material: snow };
        let slabs = if snow_depth_m > 0.0 { vec![slab] } else { Vec::new() };
        Self { surface_z_m: 0.0, slabs, bottom: soil }
    }

    /// Check every number of it.
    ///
    /// # Errors
    ///
    /// The first that cannot be.
    pub fn check(&self) -> Result<(), GroundError> {
        if !self.surface_z_m.is_finite() {
            let value = self.surface_z_m;
            return Err(GroundError::Number { quantity: "the height of the surface", value });
        }
        for (layer, slab) in (1..).zip(&self.slabs) {
            if !(slab.thickness_m > 0.0 && slab.thickness_m.is_finite()) {
                return Err(GroundError::Thickness { layer, value: slab.thickness_m });
            }
            slab.material.check(layer)?;
        }
        self.bottom.check(self.slabs.len() + 1)
    }

    /// Materials from the air down.
    pub fn materials(&self) -> impl Iterator<Item = Material> + '_ {
        let slabs = self.slabs.iter().map(|slab| slab.material);
        std::iter::once(Material::AIR).chain(slabs).chain(std::iter::once(self.bottom))
    }

    /// Heights of the boundaries from the surface down, m.
    pub fn boundaries_z_m(&self) -> Vec<f64> {
        let mut heights = vec![self.surface_z_m];
        for slab in &self.slabs {
            heights.push(heights[heights.len() - 1] - slab.thickness_m);
        }
        heights
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Skin depth √(2/ωµσ), by hand: 7.44 m in 100 Ω·m at 457 kHz.
    #[test]
    fn skin_depth_of_soil() {
        let soil = Material::of_resistivity(100.0, 1.0);
        let depth_m = -1.0 / soil.wave_number(457e3).im;
        assert!((depth_m - 7.44).abs() < 0.05, "{depth_m}");
        assert!((Material::AIR.wave_number(457e3).re - wave_number_rad_per_m(457e3)).abs() < 1e-15);
    }

    #[test]
    fn what_cannot_be_is_named_with_its_layer() {
        let soil = Material::of_resistivity(100.0, 10.0);
        let ground = |snow, depth| Ground {
            surface_z_m: 0.0,
            slabs: vec![Slab { thickness_m: depth, material: snow }],
            bottom: soil,
        };
        let error = |g: Ground| g.check().unwrap_err().to_string();
        assert!(error(ground(Material::AIR, -1.0)).starts_with("layer 1 is -1 m thick"));
        let dense = Material { relative_permittivity: 0.5, ..Material::AIR };
        assert!(
            error(ground(dense, 1.0)).starts_with("layer 1 has a relative permittivity of 0.5")
        );
        let bare = Ground { bottom: Material::of_resistivity(-3.0, 4.0), ..ground(soil, 1.0) };
        assert!(error(bare).starts_with("layer 2 has a conductivity of -0.33"));
        let wild = Material { relative_permittivity: f64::INFINITY, ..Material::AIR };
        assert!(error(ground(wild, 1.0)).ends_with("must be 1 to 100"));
        assert!(ground(soil, 1.0).check().is_ok());
    }

    #[test]
    fn boundaries_go_down_from_the_surface() {
        let slab = |thickness_m| Slab { thickness_m, material: Material::AIR };
        let slabs = vec![slab(0.5), slab(1.5)];
        let ground = Ground { surface_z_m: 1.0, slabs, bottom: Material::AIR };
        assert_eq!(ground.boundaries_z_m(), [1.0, 0.5, -1.0]);
        assert_eq!(ground.materials().count(), 4);
    }
}
