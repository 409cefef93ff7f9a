//! What small tilts of the antennas do to the field that is read.
//!
//! An aligned antenna reads an extreme of the field, so a tilt moves the reading to
//! one side only, by its square: the correction has a mean and a spread of its own
//! (JCGM 100, F.2.4.4, for the cosine of an angle). With the two tilts a of the
//! unit's antenna and b of a single coil, each normal about zero with standard
//! deviation σ, the near field 3 n (n·m) − m gives, relative to the aligned reading
//! and to second order:
//!
//! | | reading | mean | standard deviation |
//! |---|---|---|---|
//! | coaxial, three axes | 1 − ⅜ (a₁² + a₂²) | 1 − ¾ σ² | ¾ σ² |
//! | coaxial, one axis | 1 − ½ (a₁² + a₂² + b₁² + b₂²) − ½ (a₁b₁ + a₂b₂) | 1 − 2 σ² | √(5/2) σ² |
//! | coplanar, three axes | 1 + 3/2 a₁² | 1 + 3/2 σ² | √(9/2) σ² |
//! | coplanar, one axis | 1 − ½ (a₁² + a₂² + b₁² + b₂²) + 2 a₁b₁ − a₂b₂ | 1 − 2 σ² | √7 σ² |
//!
//! Accuracy for σ = 5°: the mean is good to 4e-4 of the field. The spread is 1 to 6 %
//! of itself too large, since the next order takes from it (the test draws tilts and
//! computes the dipole's field).

use super::setup::Placement;

/// Mean and standard deviation of the reading, relative to the aligned one, for
/// tilts of standard deviation `u_tilt_rad` and a receiver of `axes` coils.
/// Readings in three directions are whole at any tilt: 1 and 0.
pub(super) fn factor(placement: Placement, axes: usize, u_tilt_rad: f64) -> (f64, f64) {
    let (shift, spread) = match (placement, axes) {
        (Placement::ThreeDirections, _) => (0.0, 0.0),
        (Placement::Coaxial, 3) => (-0.75, 0.75),
        (Placement::Coaxial, _) => (-2.0, 2.5f64.sqrt()),
        (Placement::Coplanar, 3) => (1.5, 4.5f64.sqrt()),
        (Placement::Coplanar, _) => (-2.0, 7f64.sqrt()),
    };
    let square = u_tilt_rad * u_tilt_rad;
    (1.0 + shift * square, spread * square)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;
    use crate::field::dipole;

    /// Drawn tilts and the dipole's own field.
    #[test]
    fn factors_are_those_of_drawn_tilts() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        let sigma = 5f64.to_radians();
        let mut draw = || -> f64 { StandardNormal.sample(&mut rng) };
        for placement in [Placement::Coaxial, Placement::Coplanar] {
            for axes in [3, 1] {
                let offset_m =
                    if placement == Placement::Coaxial { [0.0, 0.0, 3.0] } else { [3.0, 0.0, 0.0] };
                let read = |a: [f64; 2], b: [f64; 2]| {
                    let turned = |t: [f64; 2]| {
                        let (x, y) = (t[0].tan(), t[1].tan());
                        let norm = (1.0 + x * x + y * y).sqrt();
                        [x / norm, y / norm, 1.0 / norm]
                    };
                    let h = dipole::field(turned(a), offset_m, 0.0).map(|c| c.re);
                    let coil = turned(b);
                    match axes {
                        3 => h.iter().map(|h| h * h).sum::<f64>().sqrt(),
                        _ => h.iter().zip(coil).map(|(h, c)| h * c).sum::<f64>().abs(),
                    }
                };
                let aligned = read([0.0; 2], [0.0; 2]);
                let n = 200_000;
                let drawn: Vec<f64> = (0..n)
                    .map(|_| {
                        let mut pair = || [sigma * draw(), sigma * draw()];
                        read(pair(), pair()) / aligned
                    })
                    .collect();
                let mean = drawn.iter().sum::<f64>() / f64::from(n);
                let variance = drawn.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / f64::from(n);
                let (expected, u) = factor(placement, axes, sigma);
                assert!(
                    (mean - expected).abs() < 4e-4,
                    "{placement:?}, {axes}: {mean}, {expected}"
                );
                let ratio = variance.sqrt() / u;
                assert!((0.93..1.01).contains(&ratio), "{placement:?}, {axes}: {ratio}");
            }
        }
    }
}
