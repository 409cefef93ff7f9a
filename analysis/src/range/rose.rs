//! Range over the angle between the transmitter's axis and the way to the receiver.

use super::fit::DipoleFit;
use super::reach::FARTHEST_OVER_GROUND_M;
use super::readings::Alignment;
use super::theory::Theory;

/// Steps of a full turn.
const STEPS: usize = 360;

/// Ranges at one angle, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ray {
    /// From the transmitter's axis to the way to the receiver, degrees.
    pub angle_deg: f64,
    /// Of a receiver that sees the whole field (three axes), free space.
    pub three_axes_m: f64,
    /// Of a coil that points at the transmitter, free space.
    pub along_m: f64,
    /// Of a level coil square to the way, free space.
    pub across_m: f64,
    /// Of a receiver of three axes over ground, the transmitter's axis level.
    pub over_ground_m: Option<f64>,
}

/// The rose of a transmitter whose axis lies level.
#[derive(Clone, Debug, PartialEq)]
pub struct Rose {
    /// Field that the receiver needs, A/m.
    pub threshold_a_per_m: f64,
    /// A full turn, the first and last ray the same way.
    pub rays: Vec<Ray>,
}

/// The rose at a threshold (A/m, over 0) of the dipole fitted in free space, and
/// over ground if there is a fit with it.
pub fn rose(
    free: &DipoleFit,
    frequency_hz: f64,
    over_ground: Option<&DipoleFit>,
    threshold_a_per_m: f64,
) -> Rose {
    let moment = free.moment_a_m2.value;
    let in_free_space = |seen: &dyn Fn(f64, f64) -> f64| {
        first_below(threshold_a_per_m, 1e5, |r| {
            let [a, b] = Alignment::ALL.map(|way| way.field_a_per_m(moment, r, frequency_hz));
            seen(a, b)
        })
        .unwrap_or(0.0)
    };
    let ground = over_ground.map(level_field);
    let rays = (0..=STEPS)
        .map(|i| {
            let angle_deg = 360.0 * i as f64 / STEPS as f64;
            let (sin, cos) = angle_deg.to_radians().sin_cos();
            Ray {
                angle_deg,
                three_axes_m: in_free_space(&|a, b| (a * cos).hypot(b * sin)),
                along_m: in_free_space(&|a, _| (a * cos).abs()),
                across_m: in_free_space(&|_, b| (b * sin).abs()),
                over_ground_m: ground
                    .as_ref()
                    .and_then(|samples| crossing(samples, threshold_a_per_m, (cos, sin))),
            }
        })
        .collect();
    Rose { threshold_a_per_m, rays }
}

/// Distances (m) and the field there (A/m) of a level axis along and across.
type Samples = Vec<(f64, f64, f64)>;

fn level_field(fit: &DipoleFit) -> Samples {
    let Theory::OverGround(ground) = &fit.theory else { return Vec::new() };
    let moment = fit.moment_a_m2.value;
    let mut samples = Vec::new();
    let mut r = ground.rise_m().abs().max(0.05);
    while r < FARTHEST_OVER_GROUND_M {
        if let Some((along, across)) = ground.level_magnitudes(r, fit.log_soil()) {
            samples.push((r, moment * along, moment * across));
        }
        r *= 1.01;
    }
    samples
}

/// Where the field first falls below the threshold, by interpolation of logarithms.
fn crossing(samples: &Samples, threshold: f64, (cos, sin): (f64, f64)) -> Option<f64> {
    let log_excess =
        |(_, along, across): &(f64, f64, f64)| ((along * cos).hypot(across * sin) / threshold).ln();
    let pair = samples.windows(2).find(|p| log_excess(&p[0]) > 0.0 && log_excess(&p[1]) <= 0.0)?;
    let (near, far) = (log_excess(&pair[0]), log_excess(&pair[1]));
    let share = near / (near - far);
    Some(pair[0].0 * (pair[1].0 / pair[0].0).powf(share))
}

/// Where a field that falls with distance meets the threshold, up to `farthest_m`;
/// `None` where it is below everywhere.
fn first_below(threshold: f64, farthest_m: f64, field: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut near, mut far) = (1e-4_f64, farthest_m);
    if field(near) <= threshold {
        return None;
    }
    for _ in 0..60 {
        let middle = (near * far).sqrt();
        if field(middle) > threshold { near = middle } else { far = middle }
    }
    Some(near)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::super::fit::tests::{HZ, readings};
    use super::super::fit::{OffsetChoice, fit, fit_theory};
    use super::super::over_ground::Soil;
    use super::super::over_ground::tests::snow_over_soil;
    use super::super::reach::reach;
    use super::*;

    #[test]
    fn rays_along_and_across_are_the_coaxial_and_the_coplanar_range() {
        let set = readings(6.3e-3, 0.0, 0.03, 1);
        let free = fit(&set, OffsetChoice::No, HZ).unwrap();
        let ground = Theory::OverGround(Arc::new(snow_over_soil(100.0, Soil::Known)));
        let mut over = set.clone();
        over.retain(|r| r.distance_m > 2.0);
        let over = fit_theory(&over, OffsetChoice::No, &ground).unwrap();
        let rose = rose(&free, HZ, Some(&over), 80e-9);
        let [coaxial, coplanar] =
            Alignment::ALL.map(|way| reach(&free, way, 80e-9).unwrap().range_m.value);
        let close = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-6;
        assert!(close(rose.rays[0].three_axes_m, coaxial) && close(rose.rays[0].along_m, coaxial));
        assert!(close(rose.rays[90].three_axes_m, coplanar));
        assert!(close(rose.rays[90].across_m, coplanar) && rose.rays[0].across_m < 0.1);
        // Near by √(1 + 3cos²θ) to the third root.
        let law = (1.0 + 3.0 * 0.5f64).powf(1.0 / 6.0) * coplanar;
        assert!((rose.rays[45].three_axes_m / law - 1.0).abs() < 0.01);
        // Design: soil raises the level coplanar field.
        let ratio = rose.rays[90].over_ground_m.unwrap() / coplanar;
        assert!((1.05..1.6).contains(&ratio), "{ratio}");
        assert_eq!(rose.rays.len(), STEPS + 1);
    }
}
