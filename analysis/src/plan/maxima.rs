//! Where above each unit a receiver reads most.
//!
//! On the snow a searcher looks for the strongest reading. Above an upright or a level
//! unit a receiver of three axes has one maximum, right above; above a tilted one it is
//! up to a quarter of the depth off. One of a single axis has further maxima, and the
//! strongest may be half the depth off (D. Ayuso, J. A. Cuchí, F. Lera, J. L.
//! Villarroel, Cold Regions Science and Technology 111 (2015) 80–94).
//!
//! In free space: so near a unit what the ground adds is below a hundredth.

use nalgebra::Vector3;
use num_complex::Complex64;
use serde::Serialize;

use super::field_over_snow::FieldOverSnow;
use super::snow::{Laid, distance_m};

/// How a receiver on the snow takes the field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reception {
    /// Three axes: all of the field.
    ThreeAxes,
    /// One axis along the snow, in the direction of the unit's own; along u where that
    /// is upright.
    OneAxisLevel,
    /// One axis square to the snow.
    OneAxisUpright,
}

impl Reception {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::ThreeAxes, Self::OneAxisLevel, Self::OneAxisUpright];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::ThreeAxes => "three axes",
            Self::OneAxisLevel => "one axis, level",
            Self::OneAxisUpright => "one axis, upright",
        }
    }
}

/// A place where a reading is greater than all around it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Maximum {
    /// Where.
    pub at: Laid,
    /// What is read there, RMS, A/m.
    pub field_a_per_m: f64,
    /// Distance along the snow from the point square above the unit, m.
    pub offset_m: f64,
    /// The same over the distance of the unit from the receiver, square to the snow.
    pub share_of_depth: f64,
}

/// Maxima above one unit for one reception, the greatest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Maxima {
    /// Number of the unit.
    pub unit: usize,
    /// How the field is taken.
    pub reception: Reception,
    /// The maxima, down to 20 dB below the greatest.
    pub all: Vec<Maximum>,
}

/// Half the side of the square that is searched, in depths: side lobes of a tilted unit
/// reach out to two.
const REACH: f64 = 2.5;
/// Places from its middle to its edge.
const HALF: usize = 40;
/// Rounds of a search round a maximum, each half as wide.
const ROUNDS: usize = 14;
/// What is weaker than the greatest by more is no place where anybody would stay, ratio.
const WEAK: f64 = 0.1;

/// Maxima above `unit` for each reception, to a thousandth of the depth.
pub fn maxima(field: &FieldOverSnow, unit: usize) -> [Maxima; 3] {
    let depth_m = field.depth_m(unit);
    let [u, v] = field.above(unit);
    let step_m = REACH * depth_m / HALF as f64;
    let side = 2 * HALF + 1;
    let place = |i: usize, j: usize| {
        let off = |k: usize| (k as f64 - HALF as f64) * step_m;
        [u + off(i), v + off(j)]
    };
    let fields: Vec<Vector3<Complex64>> =
        (0..side * side).map(|k| field.field(unit, place(k % side, k / side))).collect();
    let level = field.axis_along_snow(unit);
    Reception::ALL.map(|reception| {
        let strength = |h: &Vector3<Complex64>| strength(h, reception, level);
        let values: Vec<f64> = fields.iter().map(strength).collect();
        let inside = 1..side - 1;
        let peaks = inside.clone().flat_map(|j| inside.clone().map(move |i| (i, j)));
        let is_peak = |(i, j): &(usize, usize)| {
            let own = values[j * side + i];
            let around = (j - 1..=j + 1).flat_map(|b| (i - 1..=i + 1).map(move |a| (a, b)));
            around.filter(|n| n != &(*i, *j)).all(|(a, b)| {
                let other = values[b * side + a];
                // Of two equal neighbours the first counts.
                own > other || (own == other && (j, i) < (&b, &a))
            })
        };
        let refined = peaks.filter(is_peak).map(|(i, j)| {
            let read = |at: Laid| strength(&field.field(unit, at));
            let (at, field_a_per_m) = climb(read, place(i, j), step_m);
            let offset_m = distance_m(at, [u, v]);
            Maximum { at, field_a_per_m, offset_m, share_of_depth: offset_m / depth_m }
        });
        let mut all: Vec<Maximum> = refined.collect();
        all.sort_by(|a, b| b.field_a_per_m.total_cmp(&a.field_a_per_m));
        let greatest = all.first().map_or(0.0, |m| m.field_a_per_m);
        all.retain(|m| m.field_a_per_m >= WEAK * greatest);
        Maxima { unit, reception, all }
    })
}

/// What is read of `h`; `level` is the direction of a level axis.
pub fn strength(h: &Vector3<Complex64>, reception: Reception, level: Laid) -> f64 {
    match reception {
        Reception::ThreeAxes => h.norm(),
        Reception::OneAxisLevel => (h[0] * level[0] + h[1] * level[1]).norm(),
        Reception::OneAxisUpright => h[2].norm(),
    }
}

/// The maximum near `at`, looking around in ever smaller steps.
fn climb(read: impl Fn(Laid) -> f64, at: Laid, step_m: f64) -> (Laid, f64) {
    let (mut best, mut value, mut step_m) = (at, read(at), step_m);
    let around: [(f64, f64); 8] = [
        (-1.0, -1.0),
        (0.0, -1.0),
        (1.0, -1.0),
        (-1.0, 0.0),
        (1.0, 0.0),
        (-1.0, 1.0),
        (0.0, 1.0),
        (1.0, 1.0),
    ];
    for _ in 0..ROUNDS {
        step_m *= 0.5;
        for (i, j) in around {
            let at = [best[0] + i * step_m, best[1] + j * step_m];
            let here = read(at);
            if here > value {
                (best, value) = (at, here);
            }
        }
    }
    (best, value)
}

#[cfg(test)]
mod tests {
    use super::super::field_over_snow::Space;
    use super::super::testing::{BOUNDS, station};
    use super::*;

    /// Above a unit of this dip, 1.6 m below the receiver.
    fn above(dip_deg: f64) -> [Maxima; 3] {
        let station = station("", &[(2.0, 1.0, 1.5, 35.0, dip_deg)]);
        let field = FieldOverSnow::new(&station, Space::Free, 0.1, &BOUNDS).unwrap();
        maxima(&field, 0)
    }

    fn shares(of: &Maxima) -> Vec<f64> {
        of.all.iter().map(|m| m.share_of_depth).collect()
    }

    /// Upright: one maximum right above for three axes and for an upright one; a level
    /// axis reads x/(1 + x²)^(5/2), most at half the depth on both sides.
    #[test]
    fn an_upright_unit_has_two_maxima_for_a_level_axis() {
        let [three, level, upright] = above(90.0);
        for one in [three, upright] {
            assert_eq!(one.all.len(), 1, "{one:?}");
            assert!(one.all[0].share_of_depth < 2e-3);
        }
        assert_eq!(level.all.len(), 2, "{level:?}");
        assert!(shares(&level).iter().all(|s| (s - 0.5).abs() < 2e-3), "{level:?}");
    }

    /// Level: for an axis along it (2x² − 1)/(1 + x²)^(5/2), right above and at √1.5
    /// depths on both sides, there 0.2024 as strong; for an upright axis half the depth.
    #[test]
    fn a_level_unit_has_side_lobes_where_the_closed_form_has_them() {
        let [three, level, upright] = above(0.0);
        assert_eq!(three.all.len(), 1);
        assert!(three.all[0].share_of_depth < 2e-3);
        assert_eq!(level.all.len(), 3, "{level:?}");
        assert!(level.all[0].share_of_depth < 2e-3);
        for side in &level.all[1..] {
            assert!((side.share_of_depth - 1.5f64.sqrt()).abs() < 3e-3, "{level:?}");
            let ratio = side.field_a_per_m / level.all[0].field_a_per_m;
            assert!((ratio - 2.0 / 2.5f64.powf(2.5)).abs() < 2e-3, "{ratio}");
        }
        assert_eq!(upright.all.len(), 2);
        assert!(shares(&upright).iter().all(|s| (s - 0.5).abs() < 2e-3), "{upright:?}");
    }

    /// Ayuso et al. 2015: at most a quarter of the depth for three axes, at a tilt of
    /// 77.5° from the normal, and half of it for one.
    #[test]
    fn the_greatest_is_off_by_a_quarter_and_by_half_at_most() {
        let worst = |k: usize| {
            (0..=36)
                .map(|step| above(2.5 * f64::from(step))[k].all[0].share_of_depth)
                .fold(0.0, f64::max)
        };
        assert!((worst(0) / 0.25 - 1.0).abs() < 0.01, "{}", worst(0));
        assert!((above(12.5)[0].all[0].share_of_depth / worst(0) - 1.0).abs() < 2e-3);
        for one in [1, 2] {
            assert!((worst(one) / 0.5 - 1.0).abs() < 0.01, "{one}: {}", worst(one));
        }
    }
}
