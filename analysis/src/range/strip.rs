//! The width of the search strip.
//!
//! Searchers walk side by side, each along the middle of a strip. The unit lies
//! anywhere across it, every place alike, with its axis in any direction, every one
//! alike; a strip is as long as it takes. The receiver is held level, its first axis
//! along the way; it finds the unit when it sees the threshold anywhere on the way.
//! The difference in height counts for nothing, ground neither (free space), and the
//! searcher hears every signal above the threshold. The width is the one at which
//! the chance to find the unit is the one asked for: with D the farthest that a unit
//! of some orientation may lie beside the way, the mean of min(1, 2D/width) over all
//! orientations.

use std::f64::consts::PI;

use super::hearing::Dipole;
use crate::field::gauss::legendre;

/// Orientations: nodes of the upright part, and headings.
const UPRIGHT: usize = 10;
const HEADINGS: usize = 24;
/// Directions from the searcher to the unit, ahead to behind.
const DIRECTIONS: usize = 72;

/// Width, m, of the strip in which receivers of so many axes find a unit of 1 A·m²
/// with `probability` at a threshold over its moment.
///
/// Accuracy: 0.5 %, against walks along random units.
pub(super) fn width(dipole: &Dipole, axes: u8, threshold: f64, probability: f64) -> f64 {
    let mut farthest: Vec<(f64, f64)> = Vec::with_capacity(UPRIGHT * HEADINGS);
    for (place, weight) in legendre(UPRIGHT) {
        // m and −m give the same field: the upper half will do.
        let up = 0.5 * (1.0 + place);
        let level = (1.0 - up * up).sqrt();
        for i in 0..HEADINGS {
            let (sin, cos) = ((i as f64 + 0.5) * 2.0 * PI / HEADINGS as f64).sin_cos();
            let moment = [level * cos, level * sin, up];
            let share = 0.5 * weight / HEADINGS as f64;
            farthest.push((beside(dipole, axes, threshold, moment), share));
        }
    }
    let chance = |width: f64| {
        farthest.iter().map(|(d, share)| share * (2.0 * d / width).min(1.0)).sum::<f64>()
    };
    let (mut narrow, mut wide) = (1e-6, 1e7_f64);
    for _ in 0..60 {
        let middle = (narrow * wide).sqrt();
        if chance(middle) > probability { narrow = middle } else { wide = middle }
    }
    narrow
}

/// The farthest beside the way, m, that a unit of that orientation is found.
fn beside(dipole: &Dipole, axes: u8, threshold: f64, [along, across, up]: [f64; 3]) -> f64 {
    (0..DIRECTIONS)
        .map(|i| {
            let (sin, cos) = ((i as f64 + 0.5) * PI / DIRECTIONS as f64).sin_cos();
            let (m_n, m_t) = (along * cos + across * sin, across * cos - along * sin);
            let seen = |a: f64, b: f64| match axes {
                1 => (a * m_n * cos + b * m_t * sin).abs(),
                2 => (a * m_n).hypot(b * m_t),
                _ => (a * m_n).hypot(b * m_t.hypot(up)),
            };
            // The field falls with nearly the cube of distance: a few steps by it.
            let mut r = 1.0_f64;
            for _ in 0..40 {
                let (a, b) = dipole.amplitudes(r);
                let factor = (seen(a, b) / threshold).cbrt();
                r *= factor;
                if (factor - 1.0).abs() < 1e-9 || r < 1e-9 {
                    break;
                }
            }
            r * sin
        })
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Uniform, UnitSphere};

    use super::super::hearing::AXES;
    use super::*;
    use crate::field::dipole;

    /// Against walks past units thrown at random, with the complex field.
    #[test]
    fn strips_find_as_many_units_as_they_say() {
        let threshold = 80e-9 / 6.3e-3;
        for axes in AXES {
            for probability in [0.6, 0.95] {
                let width = width(&Dipole::new(457e3), axes, threshold, probability);
                let mut rng = ChaCha8Rng::seed_from_u64(9);
                let beside = Uniform::new(0.0, 0.5 * width).unwrap();
                let count = 3000;
                let found = (0..count)
                    .filter(|_| {
                        let m: [f64; 3] = UnitSphere.sample(&mut rng);
                        let y = beside.sample(&mut rng);
                        (-120..=120).any(|i| {
                            let h = dipole::field(m, [0.3 * f64::from(i), y, 0.0], 457e3);
                            let axes = usize::from(axes);
                            let seen: f64 = h[..axes].iter().map(|c| c.norm_sqr()).sum();
                            seen > threshold * threshold
                        })
                    })
                    .count() as f64
                    / f64::from(count);
                let off =
                    3.0 * (probability * (1.0 - probability) / f64::from(count)).sqrt() + 3e-3;
                assert!((found - probability).abs() < off, "{axes} axes: {found} in {width} m");
            }
        }
    }

    /// A three-axis receiver hears every unit within its coplanar range.
    #[test]
    fn the_surest_strip_of_three_axes_is_twice_the_coplanar_range() {
        let coplanar = (0.25 / PI / 1e-5_f64).cbrt();
        let width = width(&Dipole::new(0.0), 3, 1e-5, 1.0 - 1e-9);
        assert!((width / (2.0 * coplanar)) > 1.0 && width < 2.0 * 1.06 * coplanar, "{width}");
    }
}
