//! Level layers laid along a slope.

use nalgebra::{Matrix3, Rotation3, Vector3};
use num_complex::Complex64;

use super::surface::Surface;
use crate::field::medium::Medium;

/// A medium whose surface is level and at height 0, turned so that its surface is
/// that of the snow.
pub struct OnSlope<'a> {
    level: &'a dyn Medium,
    origin_m: Vector3<f64>,
    turn: Rotation3<f64>,
}

impl<'a> OnSlope<'a> {
    /// `level` laid along `snow`.
    pub fn new(level: &'a dyn Medium, snow: &Surface) -> Self {
        // Slopes are never overhanging, so there is a least turn.
        let turn = Rotation3::rotation_between(&snow.normal(), &Vector3::z());
        Self { level, origin_m: snow.middle_m.into(), turn: turn.unwrap_or_default() }
    }

    fn laid(&self, place_m: [f64; 3]) -> [f64; 3] {
        (self.turn * (Vector3::from(place_m) - self.origin_m)).into()
    }
}

impl Medium for OnSlope<'_> {
    fn coupling(&self, source_m: [f64; 3], point_m: [f64; 3]) -> Matrix3<Complex64> {
        let turn = self.turn.matrix().map(Complex64::from);
        turn.transpose() * self.level.coupling(self.laid(source_m), self.laid(point_m)) * turn
    }
}

#[cfg(test)]
mod tests {
    use super::super::analysis::{Options, analyse};
    use super::super::observation::expected;
    use super::super::readings::{Measured, PlacedReading};
    use super::super::testing::{Invented, readings};
    use super::*;
    use crate::field::layered::{Ground, Layered, Material};
    use crate::field::medium::FreeSpace;

    fn slope() -> Surface {
        Surface::through(&readings(&Invented { rise: 0.5, ..Invented::default() }))
    }

    #[test]
    fn free_space_is_the_same_on_any_slope() {
        let space = FreeSpace { frequency_hz: 457e3 };
        let (source, point) = ([0.4, -1.0, -1.5], [2.0, 1.0, 0.7]);
        let off =
            OnSlope::new(&space, &slope()).coupling(source, point) - space.coupling(source, point);
        assert!(off.norm() < 1e-15, "{off}");
    }

    /// A unit in wet snow over good soil, 5 m deep where the ground tells: found in
    /// its own ground, and not in free space.
    #[test]
    fn a_unit_in_layered_ground_is_found_in_that_ground() {
        let snow = Material { conductivity_s_per_m: 1e-4, relative_permittivity: 2.0 };
        let ground = Ground::snow_over_soil(6.0, snow, Material::of_resistivity(1.0, 20.0));
        let layered = Layered::new(ground, 457e3).unwrap();
        let surface = slope();
        let laid = OnSlope::new(&layered, &surface);
        let place = surface.place(0.6, -0.8) - surface.normal() * 5.0;
        let moment = Vector3::new(2e-3, -3e-3, 4e-3).map(Complex64::from);
        let invented = Invented { rise: 0.5, a_side: 4, ..Invented::default() };
        let readings: Vec<_> = readings(&invented)
            .iter()
            .map(|r| {
                // A metre above the snow.
                let place_m = [r.place_m[0], r.place_m[1], r.place_m[2] + 1.0];
                let h = laid.coupling(place.into(), place_m) * moment;
                let field = expected(Measured::Vector([0.0; 3]), &h);
                PlacedReading { place_m, field, u_a_per_m: 0.01 * field.magnitude() }
            })
            .collect();
        let off = |ground| {
            let options = Options { ground, coil_height_m: 1.0, ..Options::default() };
            let found = analyse(&readings, &options).unwrap();
            (found.solution.position_m - place).norm()
        };
        assert!(off(Some(&layered as &dyn Medium)) < 1e-3);
        assert!(off(None) > 0.1);
    }
}
