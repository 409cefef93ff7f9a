//! Layered ground, made ready for many couplings to one height.

use nalgebra::Matrix3;
use num_complex::Complex64;

use super::{Layered, Table, whole_space};
use crate::field::medium::Medium;

/// The field at one height, as of readings walked over flat snow, of sources at
/// any of a range of heights: what a fit asks for over and over.
///
/// What the boundaries add is interpolated within the range; the closed form is
/// exact. Anything else that is asked for is computed as by [`Layered`] itself, so
/// answers are right everywhere and fast where the sheet reaches.
///
/// Accuracy: [`error`](Self::error), 1e-6 of the magnitude of the field where both
/// heights are some decimetres off the boundaries. Cost: some 50 to 400 ms to
/// make, 2 to 5 µs a coupling then, all nine components.
///
/// ```
/// use coilrig_analysis::field::layered::{Ground, Layered, Material, Sheet};
/// use coilrig_analysis::field::medium::Medium;
///
/// let snow = Material { conductivity_s_per_m: 1e-6, relative_permittivity: 1.5 };
/// let soil = Material::of_resistivity(100.0, 15.0);
/// let field = Layered::new(Ground::snow_over_soil(3.0, snow, soil), 457e3)?;
/// let sheet = Sheet::new(&field, 0.8, (-2.5, -0.3), 12.0);
/// let (source, point) = ([0.1, 0.2, -1.3], [3.0, -2.0, 0.8]);
/// let exact = field.coupling(source, point);
/// assert!((sheet.coupling(source, point) - exact).norm() < 1e-5 * exact.norm());
/// # Ok::<(), coilrig_analysis::field::layered::GroundError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Sheet {
    field: Layered,
    observer_z_m: f64,
    /// One for each layer that sources may lie in.
    parts: Vec<Part>,
}

#[derive(Clone, Debug)]
struct Part {
    wave_number: Complex64,
    table: Table,
}

impl Sheet {
    /// For observers at the height `observer_z_m` (m), sources between the heights
    /// `sources_z_m` (lower and upper end, m; the same for one height) and
    /// horizontal distances up to `reach_m`.
    pub fn new(
        field: &Layered,
        observer_z_m: f64,
        (low_m, high_m): (f64, f64),
        reach_m: f64,
    ) -> Self {
        // The slope over the source's height jumps at boundaries.
        let inside = |z: &f64| low_m < *z && *z < high_m;
        let mut ends: Vec<f64> = field.ground().boundaries_z_m();
        ends.retain(inside);
        ends.push(low_m);
        ends.insert(0, high_m);
        let parts = (ends.windows(2))
            .map(|pair| {
                let (low, high) = (pair[1], pair[0]);
                // A hair inside, where the layer is not in doubt.
                let hair = 1e-9 * (high - low);
                let between =
                    |z: f64| field.between(z.clamp(low + hair, high - hair), observer_z_m);
                let middle = field.path(0.5 * (low + high), observer_z_m);
                Part {
                    wave_number: middle.reference_wave_number(),
                    table: Table::new((low, high), reach_m, between),
                }
            })
            .collect();
        Self { field: field.clone(), observer_z_m, parts }
    }

    /// The largest error found when it was made, of the magnitude of the field.
    pub fn error(&self) -> f64 {
        self.parts.iter().map(|part| part.table.error()).fold(0.0, f64::max)
    }
}

impl Medium for Sheet {
    fn coupling(&self, source_m: [f64; 3], point_m: [f64; 3]) -> Matrix3<Complex64> {
        let [x, y, rise] = std::array::from_fn(|i| point_m[i] - source_m[i]);
        let here = |part: &&Part| part.table.holds(source_m[2], x.hypot(y));
        let part = self.parts.iter().find(here).filter(|_| point_m[2] == self.observer_z_m);
        let Some(part) = part else { return self.field.coupling(source_m, point_m) };
        let direct = whole_space::coupling(part.wave_number, [x, y, rise]);
        direct + part.table.secondary(source_m[2], x.hypot(y)).turned(x, y)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Ground, Material};
    use super::*;

    fn field() -> Layered {
        let snow = Material { conductivity_s_per_m: 1e-6, relative_permittivity: 1.5 };
        let soil = Material::of_resistivity(100.0, 15.0);
        Layered::new(Ground::snow_over_soil(2.0, snow, soil), 457e3).unwrap()
    }

    #[test]
    fn couplings_are_those_of_the_ground_in_snow_in_soil_and_beyond() {
        let field = field();
        for (heights, observer) in [((-3.0, -0.3), 0.9), ((-1.7, -0.4), -0.2), ((-1.0, -1.0), 1.0)]
        {
            let sheet = Sheet::new(&field, observer, heights, 20.0);
            println!("{heights:?} to {observer}: {:.1e}", sheet.error());
            assert!(sheet.error() < 1e-5, "{:e}", sheet.error());
            for z in [heights.0, 0.37 * heights.0 + 0.63 * heights.1, heights.1, -3.5] {
                for rho in [0.0, 0.3, 2.2, 19.9, 35.0] {
                    let (source, point) =
                        ([1.0, 2.0, z], [1.0 - 0.8 * rho, 2.0 + 0.6 * rho, observer]);
                    let exact = field.coupling(source, point);
                    let off = (sheet.coupling(source, point) - exact).norm() / exact.norm();
                    assert!(off < 2e-5, "{off:e} from {z} m over {rho} m");
                }
            }
        }
    }

    #[test]
    fn another_height_is_computed_anew() {
        let (field, places) = (field(), ([0.0, 0.0, -1.0], [3.0, 0.0, 0.5]));
        let sheet = Sheet::new(&field, 1.0, (-1.5, -0.5), 10.0);
        assert_eq!(sheet.coupling(places.0, places.1), field.coupling(places.0, places.1));
    }
}
