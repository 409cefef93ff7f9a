//! Invented readings for the tests of this module.

use nalgebra::Vector3;
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

use super::observation::expected;
use super::readings::{Measured, PlacedReading};
use crate::field::medium::{FreeSpace, Medium};

/// A buried unit and how it was read: a level square grid around the origin.
#[derive(Clone, Debug)]
pub struct Invented {
    pub position_m: [f64; 3],
    pub moment_a_m2: [f64; 3],
    pub a_side: usize,
    pub side_m: f64,
    /// Rise of the ground along y, m/m.
    pub rise: f64,
    /// Relative error of each reading, and its u.
    pub error: f64,
    pub seed: u64,
}

impl Default for Invented {
    fn default() -> Self {
        Self {
            position_m: [0.7, -0.4, -1.3],
            moment_a_m2: [4e-3, 2e-3, 3e-3],
            a_side: 6,
            side_m: 8.0,
            rise: 0.0,
            error: 0.03,
            seed: 1,
        }
    }
}

impl Invented {
    /// The same unit read as vectors, without heading, and as magnitudes.
    pub fn kinds(&self) -> [Vec<PlacedReading>; 3] {
        let like = Measured::Vector([0.0; 3]);
        [like, like.without_heading(), Measured::Magnitude(0.0)].map(|like| read(self, like))
    }
}

/// Vector readings of `unit`.
pub fn readings(unit: &Invented) -> Vec<PlacedReading> {
    read(unit, Measured::Vector([0.0; 3]))
}

/// Readings of `unit` of the kind that `like` is, every other one with its sign
/// turned.
pub fn read(unit: &Invented, like: Measured) -> Vec<PlacedReading> {
    let space = FreeSpace { frequency_hz: 457e3 };
    let moment = Vector3::from(unit.moment_a_m2).map(Complex64::from);
    let mut rng = ChaCha8Rng::seed_from_u64(unit.seed);
    let n = unit.a_side;
    (0..n * n)
        .map(|i| {
            let along = |k: usize| unit.side_m * (k as f64 / (n - 1) as f64 - 0.5);
            let (x, y) = (along(i % n), along(i / n));
            let place_m = [x, y, unit.rise * y];
            let h = space.coupling(unit.position_m, place_m) * moment;
            let u = unit.error * h.norm();
            let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
            let field = match expected(like, &h) {
                Measured::Vector(h) => {
                    let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
                    Measured::Vector(h.map(|c| sign * (c + u * normal())))
                }
                Measured::NoHeading { horizontal, vertical } => Measured::NoHeading {
                    horizontal: (horizontal + u * normal()).abs(),
                    vertical: (vertical + u * normal()).abs(),
                },
                Measured::Magnitude(h) => Measured::Magnitude(h + u * normal()),
            };
            PlacedReading { place_m, field, u_a_per_m: u.max(1e-3 * h.norm()) }
        })
        .collect()
}
