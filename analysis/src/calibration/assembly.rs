//! Field per count of all axes of a gain step, from those that were measured in a
//! known field and the ratios that turning the receiver gave.

use super::rotation::Rotation;
use crate::reading::Reading;

/// Field per count of one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisScale {
    /// Value and standard uncertainty, A/m.
    pub field_per_count: Reading,
    /// Degrees of freedom of the uncertainty.
    pub degrees_of_freedom: f64,
    /// Part of the relative uncertainty that is the same for each coil measured in
    /// the same source.
    pub of_source_rel: f64,
}

/// Part of the relative standard uncertainty that all axes share: what the source
/// gives them when all were measured in the `same_source`, and the whole
/// uncertainty of an axis that is carried over to all others. `None` where nobody can
/// say: two sources may have had the same meter and the same rule.
pub fn common_u_rel(measured: &[Option<AxisScale>; 3], same_source: bool) -> Option<f64> {
    let known: Vec<&AxisScale> = measured.iter().flatten().collect();
    match known.as_slice() {
        [] => None,
        [only] => Some(only.field_per_count.u_rel()),
        several => {
            let least = several.iter().map(|s| s.of_source_rel).fold(f64::INFINITY, f64::min);
            same_source.then_some(least)
        }
    }
}

/// The scale of each axis that `measured` has, and where it has none but the
/// receiver was turned at the same gain step, that of the best measured axis
/// carried over. `None` where neither is known.
pub fn complete(
    measured: [Option<AxisScale>; 3],
    rotation: Option<&Rotation>,
) -> [Option<AxisScale>; 3] {
    let known = || (0..3).filter_map(|axis| measured[axis].map(|scale| (axis, scale)));
    let u_rel = |scale: &AxisScale| scale.field_per_count.u_rel();
    let best = known().min_by(|a, b| u_rel(&a.1).total_cmp(&u_rel(&b.1)));
    std::array::from_fn(|axis| {
        measured[axis].or_else(|| {
            let ((from, scale), rotation) = (best?, rotation?);
            Some(carried(scale, gain_ratio(rotation, from, axis), rotation))
        })
    })
}

/// A coil of twice the gain gives twice the counts: half the field per count.
fn carried(from: AxisScale, ratio: Reading, rotation: &Rotation) -> AxisScale {
    let value = from.field_per_count.value * ratio.value;
    let (of_scale, of_ratio) = (from.field_per_count.u_rel(), ratio.u_rel());
    let u_rel = of_scale.hypot(of_ratio);
    // Welch–Satterthwaite (JCGM 100, eq. G.2b).
    let spent = of_scale.powi(4) / from.degrees_of_freedom
        + of_ratio.powi(4) / rotation.degrees_of_freedom as f64;
    let degrees_of_freedom = if spent > 0.0 { u_rel.powi(4) / spent } else { f64::INFINITY };
    AxisScale {
        field_per_count: Reading::new(value, u_rel * value),
        degrees_of_freedom,
        of_source_rel: from.of_source_rel,
    }
}

/// Gain of coil `of` over that of coil `over`.
fn gain_ratio(rotation: &Rotation, of: usize, over: usize) -> Reading {
    let pairs = [(0, 1), (0, 2), (1, 2)];
    let at = |pair| pairs.iter().position(|p| *p == pair).map(|n| rotation.ratios[n]);
    let inverse = |r: Reading| Reading::new(1.0 / r.value, r.u_rel() / r.value);
    at((of, over)).or_else(|| at((over, of)).map(inverse)).unwrap_or(Reading::new(1.0, 0.0))
}

/// Ratios of gains as measured in a known field against those of turning the
/// receiver: for each pair of measured axes its difference in percent and that
/// over its standard uncertainty. Beyond three something is wrong with either.
pub fn compare(
    measured: &[Option<AxisScale>; 3],
    rotation: &Rotation,
) -> Vec<((usize, usize), f64, f64)> {
    let pair = |(i, j): (usize, usize)| {
        let (a, b) = (measured[i]?.field_per_count, measured[j]?.field_per_count);
        let turned = gain_ratio(rotation, i, j);
        let off = (b.value / a.value / turned.value).ln();
        let u = a.u_rel().hypot(b.u_rel()).hypot(turned.u_rel());
        Some(((i, j), 100.0 * off, off / u))
    };
    [(0, 1), (0, 2), (1, 2)].into_iter().filter_map(pair).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rotation() -> Rotation {
        Rotation {
            axes: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            u_axes: [[0.0; 3]; 3],
            gains: [Reading::new(1.0, 0.0); 3],
            // Gains 1, 1.25, 0.8.
            ratios: [0.8, 1.25, 1.5625].map(|r| Reading::new(r, 0.003 * r)),
            angles_deg: [Reading::new(90.0, 0.1); 3],
            turns: 40,
            degrees_of_freedom: 34,
            scatter_rel: 0.01,
            noise_rel: 0.01,
        }
    }

    fn scale(field_per_count: f64, u_rel: f64) -> Option<AxisScale> {
        let field_per_count = Reading::new(field_per_count, u_rel * field_per_count);
        Some(AxisScale { field_per_count, degrees_of_freedom: 10.0, of_source_rel: 0.8 * u_rel })
    }

    #[test]
    fn what_axes_share_is_the_source_or_the_axis_that_is_carried_over() {
        let (one, two) = (scale(1e-9, 0.02), scale(1e-9, 0.01));
        assert!((common_u_rel(&[one, None, None], true).unwrap() - 0.02).abs() < 1e-12);
        assert!((common_u_rel(&[one, two, None], true).unwrap() - 0.008).abs() < 1e-12);
        assert_eq!(common_u_rel(&[one, two, None], false), None);
        assert_eq!(common_u_rel(&[None; 3], false), None);
    }

    #[test]
    fn what_is_not_measured_is_carried_over_from_the_best_axis() {
        let measured = [scale(1e-9, 0.02), None, scale(1.26e-9, 0.01)];
        let all = complete(measured, Some(&rotation()));
        assert_eq!((all[0], all[2]), (measured[0], measured[2]));
        let y = all[1].unwrap();
        // From z: gain of z over y is 0.64.
        assert!((y.field_per_count.value / (1.26e-9 * 0.64) - 1.0).abs() < 1e-12);
        assert!((y.field_per_count.u_rel() / 0.01f64.hypot(0.003) - 1.0).abs() < 1e-9);
        assert!((10.0..13.0).contains(&y.degrees_of_freedom), "{}", y.degrees_of_freedom);
        assert_eq!(complete(measured, None)[1], None);
        assert_eq!(complete([None; 3], Some(&rotation())), [None; 3]);
    }

    #[test]
    fn both_ways_to_the_ratio_are_held_against_each_other() {
        let agree = [scale(1e-9, 0.01), scale(0.8e-9, 0.01), None];
        let compared = compare(&agree, &rotation());
        assert_eq!(compared.len(), 1);
        assert!(compared[0].1.abs() < 1e-9);
        let differ = [scale(1e-9, 0.01), scale(1.0e-9, 0.01), None];
        assert!(compare(&differ, &rotation())[0].2 > 3.0);
    }
}
