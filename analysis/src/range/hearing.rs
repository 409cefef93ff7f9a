//! How far a unit is heard when nobody knows how it lies.
//!
//! The transmitter's axis is random, every direction alike. The receiver is held
//! level and hears by its strongest combination of one, two or three axes: one or
//! two lie level, the third upright. The unit is taken to lie far off against the
//! difference in height, so that the line to it is level too, in free space. With
//! the field's amplitudes a along and b across that line (a = 2b near by) and the
//! transmitter's axis (m_n, m_t, m_z) along it, across it and up, a receiver sees
//!
//! ```text
//! three axes    √(a² m_n² + b² (m_t² + m_z²))
//! two           √(a² m_n² + b² m_t²)
//! one           |a m_n cos α − b m_t sin α|      α: its heading off the line, random
//! ```
//!
//! The chance that this exceeds a threshold has a closed form for three axes and is
//! one even integral over an angle for two and one; ranges follow by bisection. Both
//! parts are taken as in phase, which at 60 m is right to 1 %.

use std::f64::consts::PI;

use serde::Serialize;

use super::fit::DipoleFit;
use super::readings::{Alignment, RangeError};
use super::strip;
use crate::reading::Reading;

/// Axes that receivers have.
pub const AXES: [u8; 3] = [1, 2, 3];
/// Points of the integrals over an angle.
const ANGLES: usize = 360;

/// How far a unit that lies anyhow is heard by receivers of so many axes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hearing {
    /// RMS field that the receiver needs, A/m; taken as exact.
    pub threshold_a_per_m: Reading,
    /// Axes of the receiver.
    pub axes: u8,
    /// Range that half of all orientations exceed, m.
    pub median_range_m: Reading,
    /// Range that 95 % of all orientations exceed, m.
    pub range_5_percent_m: Reading,
    /// Range that 5 % of all orientations exceed, m.
    pub range_95_percent_m: Reading,
    /// Width of the search strip, m: see [`strip`].
    pub strip_width_m: Reading,
    /// The chance that a walk along the strip finds the unit.
    pub strip_probability: f64,
}

/// Amplitudes (a, b) of the field of 1 A·m² along and across the line to it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Dipole {
    frequency_hz: f64,
}

impl Dipole {
    pub(super) fn new(frequency_hz: f64) -> Self {
        Self { frequency_hz }
    }

    pub(super) fn amplitudes(&self, distance_m: f64) -> (f64, f64) {
        let [a, b] =
            Alignment::ALL.map(|way| way.field_a_per_m(1.0, distance_m, self.frequency_hz));
        (a, b)
    }
}

/// The distribution of range, and the strip that finds a unit with `probability`,
/// for each threshold and number of axes. u is that of the moment.
///
/// # Errors
///
/// Thresholds and probabilities that are none.
pub fn hearing(
    fit: &DipoleFit,
    frequency_hz: f64,
    thresholds_a_per_m: &[f64],
    probability: f64,
) -> Result<Vec<Hearing>, RangeError> {
    if !(probability > 0.0 && probability < 1.0) {
        return Err(RangeError::Probability(probability));
    }
    let dipole = Dipole::new(frequency_hz);
    let mut all = Vec::new();
    for &threshold in thresholds_a_per_m {
        if !(threshold > 0.0 && threshold.is_finite()) {
            return Err(RangeError::Threshold(threshold));
        }
        let per_moment = threshold / fit.moment_a_m2.value;
        for axes in AXES {
            let spread = |f: &dyn Fn(f64) -> f64| {
                // By the moment: ranges scale together.
                let step: f64 = 1e-3;
                let slope =
                    (f(per_moment * step.exp()) - f(per_moment * (-step).exp())) / (2.0 * step);
                Reading::new(f(per_moment), slope.abs() * fit.moment_a_m2.u_rel())
            };
            let exceeded_by = |share: f64| spread(&|t| range(&dipole, axes, t, share));
            all.push(Hearing {
                threshold_a_per_m: Reading::new(threshold, 0.0),
                axes,
                median_range_m: exceeded_by(0.5),
                range_5_percent_m: exceeded_by(0.95),
                range_95_percent_m: exceeded_by(0.05),
                strip_width_m: spread(&|t| strip::width(&dipole, axes, t, probability)),
                strip_probability: probability,
            });
        }
    }
    Ok(all)
}

/// Range, m, that a share of all orientations exceeds.
fn range(dipole: &Dipole, axes: u8, threshold_per_moment: f64, share: f64) -> f64 {
    let chance = |log_r: f64| {
        let (a, b) = dipole.amplitudes(log_r.exp());
        chance(axes, a / threshold_per_moment, b / threshold_per_moment)
    };
    let (mut near, mut far) = (1e-3_f64.ln(), 1e6_f64.ln());
    for _ in 0..60 {
        let middle = 0.5 * (near + far);
        if chance(middle) > share { near = middle } else { far = middle }
    }
    near.exp()
}

/// Chance that the field exceeds 1 when its amplitudes are a and b.
fn chance(axes: u8, a: f64, b: f64) -> f64 {
    let over_angle = |missed: &dyn Fn(f64) -> f64| {
        let angle = |i: usize| (i as f64 + 0.5) * PI / (2 * ANGLES) as f64;
        1.0 - (0..ANGLES).map(|i| missed(angle(i)).clamp(0.0, 1.0)).sum::<f64>() / ANGLES as f64
    };
    let across = |angle: f64| (a * angle.cos()).hypot(b * angle.sin());
    match axes {
        // |m̂·v| of a fixed v and a random m̂ is even between 0 and |v|.
        1 => over_angle(&|angle| 1.0 / across(angle)),
        // m_z is even in ±1, the level part in a random direction.
        2 => over_angle(&|angle| 1.0 - (1.0 - across(angle).powi(-2)).max(0.0).sqrt()),
        // m_n is even in ±1: a² m_n² + b² (1 − m_n²) > 1.
        _ => {
            let cut = ((1.0 - b * b) / (a * a - b * b)).clamp(0.0, 1.0).sqrt();
            if a > b { 1.0 - cut } else { cut }
        }
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Uniform, UnitSphere};

    use super::super::fit::tests::{HZ, readings};
    use super::super::fit::{OffsetChoice, fit};
    use super::*;
    use crate::field::dipole;

    /// Near by with three axes: b³ r³ = √(1 + 3q²), between the coplanar range and
    /// 2^(1/3) of it (design, section 7).
    #[test]
    fn three_axes_near_by_have_a_closed_form() {
        let dipole = Dipole::new(0.0);
        let coplanar = range(&dipole, 3, 1.0, 1.0 - 1e-12);
        for q in [0.05_f64, 0.5, 0.95] {
            let law = (1.0 + 3.0 * q * q).powf(1.0 / 6.0);
            let ours = range(&dipole, 3, 1.0, 1.0 - q) / coplanar;
            assert!((ours / law - 1.0).abs() < 1e-6, "{q}: {ours} {law}");
        }
        assert!((range(&dipole, 3, 1.0, 1e-12) / coplanar - 2f64.cbrt()).abs() < 1e-6);
    }

    /// One axis near by, field under the coplanar one: the chance to miss is
    /// f · mean of 1/√(1 + 3cos²α), by K(−3)·2/π = 0.6864 (arithmetic-geometric
    /// mean of 1 and 2 by hand: 1.456791, whose inverse it is).
    #[test]
    fn one_axis_near_by_misses_as_the_elliptic_integral_says() {
        let missed = 1.0 - chance(1, 2.0 / 0.3, 1.0 / 0.3);
        assert!((missed / (0.3 / 1.456_791_031) - 1.0).abs() < 1e-6, "{missed}");
    }

    /// Against units thrown at random, with the complex field of the dipole.
    #[test]
    fn quantiles_are_those_of_random_units() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let heading = Uniform::new(0.0, PI).unwrap();
        let units: Vec<([f64; 3], f64)> =
            (0..20_000).map(|_| (UnitSphere.sample(&mut rng), heading.sample(&mut rng))).collect();
        let per_moment = 80e-9 / 6.3e-3;
        for axes in AXES {
            for share in [0.95, 0.5, 0.05] {
                let at_m = range(&Dipole::new(HZ), axes, per_moment, share);
                let heard = units
                    .iter()
                    .filter(|(m, heading)| {
                        let h = dipole::field(*m, [at_m, 0.0, 0.0], HZ);
                        let seen = match axes {
                            1 => (h[0] * heading.cos() + h[1] * heading.sin()).norm_sqr(),
                            2 => h[0].norm_sqr() + h[1].norm_sqr(),
                            _ => h.iter().map(|c| c.norm_sqr()).sum(),
                        };
                        seen > per_moment * per_moment
                    })
                    .count() as f64
                    / units.len() as f64;
                // Three standard deviations of a count, and the phases left out.
                let off = 3.0 * (share * (1.0 - share) / units.len() as f64).sqrt() + 2e-3;
                assert!((heard - share).abs() < off, "{axes} axes: {heard} beyond, not {share}");
            }
        }
    }

    #[test]
    fn more_axes_hear_farther_and_u_is_a_third_of_the_moment() {
        let fit = fit(&readings(1e-6, 0.0, 0.03, 1), OffsetChoice::No, HZ).unwrap();
        let all = hearing(&fit, HZ, &[80e-9], 0.95).unwrap();
        assert_eq!(all.iter().map(|h| h.axes).collect::<Vec<_>>(), AXES);
        for pair in all.windows(2) {
            assert!(pair[0].median_range_m.value < pair[1].median_range_m.value);
            assert!(pair[0].strip_width_m.value < pair[1].strip_width_m.value);
        }
        for h in &all {
            let share = h.median_range_m.u_rel() / fit.moment_a_m2.u_rel();
            assert!((share - 1.0 / 3.0).abs() < 2e-3, "{share}");
            assert!(h.range_5_percent_m.value < h.median_range_m.value);
        }
        assert!(hearing(&fit, HZ, &[80e-9], 1.0).is_err());
        assert!(hearing(&fit, HZ, &[-1.0], 0.5).is_err());
    }
}
