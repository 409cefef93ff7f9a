//! The moment of the dipole that readings over distance follow.
//!
//! Residuals are those of [`FieldReading::residual`], which suits readings
//! uncertain by a share of the field as well as readings in noise. Whichever
//! kind the readings are, the moment is off by less than the square of their
//! relative uncertainty: 1 % at 10 %.

use nalgebra::{DVector, Matrix2, Vector2};
use serde::Serialize;

use super::least_squares::{Minimum, minimise};
use super::readings::{Alignment, FieldReading, RangeError};
use crate::reading::Reading;

/// Whether the stated distances may share an error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum OffsetChoice {
    /// Fit an offset when the readings can carry one and show one: see
    /// [`carries_offset`] and [`SIGNIFICANT_CHI_SQUARED`].
    #[default]
    Auto,
    /// Always.
    Yes,
    /// Never.
    No,
}

/// Drop in χ² (scaled by excess scatter) that one more parameter must earn:
/// the 99 % point of χ² with one degree of freedom.
pub const SIGNIFICANT_CHI_SQUARED: f64 = 6.635;

/// A dipole fitted to readings.
#[derive(Clone, Debug)]
pub struct DipoleFit {
    /// Carrier, Hz.
    pub frequency_hz: f64,
    /// Moment, A·m².
    pub moment_a_m2: Reading,
    /// True less stated distance, m, when it was fitted.
    pub distance_offset_m: Option<Reading>,
    /// Sum of squared weighted residuals.
    pub chi_squared: f64,
    /// Readings less parameters.
    pub degrees_of_freedom: usize,
    /// max(1, χ²/ν), by which all variances here are already multiplied.
    pub excess_scatter: f64,
    /// Relative standard uncertainty that all readings share, contained in the
    /// uncertainty of the moment: see [`Self::with_common`].
    pub u_common_rel: f64,
    /// Covariance of (ln moment, offset in m) by the readings alone; zeros for an
    /// offset not fitted.
    covariance: Matrix2<f64>,
}

impl DipoleFit {
    /// The offset in use, m; 0 when none was fitted.
    pub fn offset_m(&self) -> f64 {
        self.distance_offset_m.map_or(0.0, |offset| offset.value)
    }

    /// The same fit of readings that share a relative standard uncertainty
    /// `u_rel`, as that of one calibration. A shared error scales all fields and
    /// with them the moment, and does not show in the scatter: its variance adds
    /// to that of ln moment, and the excess scatter does not widen it. Offset,
    /// χ² and exponent are free of it.
    pub fn with_common(mut self, u_rel: f64) -> Self {
        self.u_common_rel = self.u_common_rel.hypot(u_rel);
        let u = self.covariance[(0, 0)].sqrt().hypot(self.u_common_rel);
        self.moment_a_m2.u = self.moment_a_m2.value * u;
        self
    }

    /// Field at a *true* distance (> 0, m) with its standard uncertainty.
    pub fn field_at(&self, alignment: Alignment, true_distance_m: f64) -> Reading {
        let field =
            alignment.field_a_per_m(self.moment_a_m2.value, true_distance_m, self.frequency_hz);
        Reading::new(field, field * self.moment_a_m2.u_rel())
    }

    /// Field at a *stated* distance (m) with its standard uncertainty, that of
    /// the offset and of what the readings share included. NaN where the true
    /// distance would not be over zero.
    pub fn field_at_stated(&self, alignment: Alignment, stated_distance_m: f64) -> Reading {
        let beside = self.field_beside_readings(alignment, stated_distance_m);
        Reading::new(beside.value, beside.u.hypot(beside.value * self.u_common_rel))
    }

    /// The same, its uncertainty without what the readings share: that is in
    /// theory and readings alike, so this is what a reading is to be compared with.
    pub fn field_beside_readings(&self, alignment: Alignment, stated_distance_m: f64) -> Reading {
        let distance_m = stated_distance_m + self.offset_m();
        let field = alignment.field_a_per_m(self.moment_a_m2.value, distance_m, self.frequency_hz);
        let by_metre = exponent(alignment, distance_m, self.frequency_hz) / distance_m;
        let gradient = Vector2::new(1.0, by_metre);
        let variance = (self.covariance * gradient).dot(&gradient);
        Reading::new(field, field * variance.sqrt())
    }
}

/// d ln H / d ln r of a dipole at true distance `distance_m` (m): −3 in the
/// near field, −2 far out on the axis, −1 far out beside it.
pub fn exponent(alignment: Alignment, distance_m: f64, frequency_hz: f64) -> f64 {
    use crate::field::constants::wave_number_rad_per_m;
    let x = (wave_number_rad_per_m(frequency_hz) * distance_m).powi(2);
    match alignment {
        Alignment::Coaxial => -3.0 + x / (1.0 + x),
        Alignment::Coplanar => -3.0 + (2.0 * x * x - x) / (1.0 - x + x * x),
    }
}

/// Whether readings can tell an offset of distance from a change of moment: at
/// least five of them over a ratio of distances of at least 4.
pub fn carries_offset(readings: &[FieldReading]) -> bool {
    let distances = || readings.iter().map(|r| r.distance_m);
    let nearest = distances().fold(f64::INFINITY, f64::min);
    let farthest = distances().fold(0.0, f64::max);
    readings.len() >= 5 && farthest >= 4.0 * nearest
}

/// Fit a dipole of `frequency_hz` to `readings`.
///
/// # Errors
///
/// What [`check`](super::readings::check) finds, and [`RangeError::NoFit`].
pub fn fit(
    readings: &[FieldReading],
    offset: OffsetChoice,
    frequency_hz: f64,
) -> Result<DipoleFit, RangeError> {
    super::readings::check(readings)?;
    let problem = Problem::new(readings, frequency_hz);
    let without = problem.without_offset().ok_or(RangeError::NoFit)?;
    let chosen = match offset {
        OffsetChoice::No => None,
        OffsetChoice::Yes => Some(problem.with_offset(&without).ok_or(RangeError::NoFit)?),
        OffsetChoice::Auto if carries_offset(readings) => {
            problem.with_offset(&without).filter(|with| {
                let earned = (without.chi_squared - with.chi_squared) / with.excess_scatter();
                earned > SIGNIFICANT_CHI_SQUARED
            })
        }
        OffsetChoice::Auto => None,
    };
    Ok(problem.fit_of(&chosen.unwrap_or(without)))
}

/// Parameters: ln of the moment over a first guess, and the offset in units of
/// the nearest distance, so that both are of the order of 1.
struct Problem<'a> {
    readings: &'a [FieldReading],
    frequency_hz: f64,
    first_moment_a_m2: f64,
    nearest_m: f64,
}

impl<'a> Problem<'a> {
    fn new(readings: &'a [FieldReading], frequency_hz: f64) -> Self {
        let log_moment = |r: &FieldReading| {
            (r.field_a_per_m / r.alignment.field_a_per_m(1.0, r.distance_m, frequency_hz)).ln()
        };
        let mean = readings.iter().map(log_moment).sum::<f64>() / readings.len() as f64;
        let nearest_m = readings.iter().map(|r| r.distance_m).fold(f64::INFINITY, f64::min);
        Self { readings, frequency_hz, first_moment_a_m2: mean.exp(), nearest_m }
    }

    fn residuals(&self, log_moment: f64, offset: f64) -> DVector<f64> {
        let moment_a_m2 = self.first_moment_a_m2 * log_moment.exp();
        DVector::from_iterator(
            self.readings.len(),
            self.readings.iter().map(|r| {
                let distance_m = r.distance_m + offset * self.nearest_m;
                let theory = r.alignment.field_a_per_m(moment_a_m2, distance_m, self.frequency_hz);
                r.residual(theory)
            }),
        )
    }

    fn without_offset(&self) -> Option<Minimum> {
        minimise(&[0.0], |p| self.residuals(p[0], 0.0))
    }

    /// From several starts: with a large offset χ² can have more than one dip.
    fn with_offset(&self, without: &Minimum) -> Option<Minimum> {
        [-0.5, 0.0, 1.0]
            .into_iter()
            .filter_map(|start| {
                minimise(&[without.parameters[0], start], |p| self.residuals(p[0], p[1]))
            })
            .min_by(|a, b| a.chi_squared.total_cmp(&b.chi_squared))
    }

    fn fit_of(&self, minimum: &Minimum) -> DipoleFit {
        let excess_scatter = minimum.excess_scatter();
        let scale = [1.0, self.nearest_m];
        let mut covariance = Matrix2::zeros();
        for i in 0..minimum.parameters.len() {
            for j in 0..minimum.parameters.len() {
                covariance[(i, j)] =
                    minimum.covariance[(i, j)] * scale[i] * scale[j] * excess_scatter;
            }
        }
        let moment_a_m2 = self.first_moment_a_m2 * minimum.parameters[0].exp();
        let u_rel = covariance[(0, 0)].sqrt();
        DipoleFit {
            frequency_hz: self.frequency_hz,
            moment_a_m2: Reading::new(moment_a_m2, moment_a_m2 * u_rel),
            distance_offset_m: minimum
                .parameters
                .get(1)
                .map(|offset| Reading::new(offset * self.nearest_m, covariance[(1, 1)].sqrt())),
            chi_squared: minimum.chi_squared,
            degrees_of_freedom: minimum.degrees_of_freedom(),
            excess_scatter,
            u_common_rel: 0.0,
            covariance,
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    pub const HZ: f64 = 457e3;
    pub const DISTANCES_M: [f64; 7] = [1.5, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0];

    /// Readings of `moment_a_m2` with relative errors of `u_rel`, and distances
    /// stated short by `offset_m`.
    pub fn readings(moment_a_m2: f64, offset_m: f64, u_rel: f64, seed: u64) -> Vec<FieldReading> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        DISTANCES_M
            .iter()
            .flat_map(|d| Alignment::ALL.map(|alignment| (*d, alignment)))
            .map(|(distance_m, alignment)| {
                let error: f64 = StandardNormal.sample(&mut rng);
                let field_a_per_m = alignment.field_a_per_m(moment_a_m2, distance_m + offset_m, HZ)
                    * (u_rel * error).exp();
                let u_field_a_per_m = u_rel * field_a_per_m;
                FieldReading { distance_m, field_a_per_m, u_field_a_per_m, alignment }
            })
            .collect()
    }

    pub fn root_mean_square(values: impl Iterator<Item = f64> + Clone) -> f64 {
        let count = values.clone().count() as f64;
        (values.map(|v| v * v).sum::<f64>() / count).sqrt()
    }

    #[test]
    fn finds_moment_and_offset_of_clean_readings() {
        let fit = fit(&readings(6.3e-3, 0.3, 0.01, 0)[..], OffsetChoice::Yes, HZ).unwrap();
        let mut clean = readings(6.3e-3, 0.3, 1e-12, 0);
        clean.iter_mut().for_each(|r| r.u_field_a_per_m = 0.01 * r.field_a_per_m);
        let exact = super::fit(&clean, OffsetChoice::Yes, HZ).unwrap();
        assert!((exact.moment_a_m2.value / 6.3e-3 - 1.0).abs() < 1e-8);
        assert!((exact.offset_m() - 0.3).abs() < 1e-8);
        // The uncertainty depends on the design, not on the errors.
        assert!((fit.moment_a_m2.u_rel() / exact.moment_a_m2.u_rel() - 1.0).abs() < 0.3);
    }

    /// n readings of relative uncertainty u give the moment to u/√n.
    #[test]
    fn u_of_the_moment_is_that_of_a_mean() {
        let mut clean = readings(1e-3, 0.0, 1e-12, 0);
        clean.iter_mut().for_each(|r| r.u_field_a_per_m = 0.05 * r.field_a_per_m);
        let fit = fit(&clean, OffsetChoice::No, HZ).unwrap();
        let mean = 0.05 / (clean.len() as f64).sqrt();
        assert!((fit.moment_a_m2.u_rel() / mean - 1.0).abs() < 1e-6);
    }

    #[test]
    fn stated_u_of_the_moment_is_its_scatter() {
        for (offset, offset_m) in [(OffsetChoice::No, 0.0), (OffsetChoice::Yes, 0.2)] {
            let errors = (0..400).map(|seed| {
                let fit = fit(&readings(6.3e-3, offset_m, 0.05, seed), offset, HZ).unwrap();
                (fit.moment_a_m2.value - 6.3e-3) / fit.moment_a_m2.u
            });
            let rms = root_mean_square(errors);
            assert!((0.8..1.25).contains(&rms), "{rms} with offset {offset:?}");
        }
    }

    #[test]
    fn stated_u_of_the_offset_is_its_scatter() {
        let errors = (0..400).map(|seed| {
            let fit = fit(&readings(6.3e-3, 0.2, 0.05, seed), OffsetChoice::Yes, HZ).unwrap();
            let offset = fit.distance_offset_m.unwrap();
            (offset.value - 0.2) / offset.u
        });
        let rms = root_mean_square(errors);
        assert!((0.8..1.25).contains(&rms), "{rms}");
    }

    /// Readings that scatter three times what they say: u must follow.
    #[test]
    fn u_holds_when_the_readings_understate_theirs() {
        let errors = (0..400).map(|seed| {
            let mut set = readings(6.3e-3, 0.0, 0.09, seed);
            set.iter_mut().for_each(|r| r.u_field_a_per_m /= 3.0);
            let fit = fit(&set, OffsetChoice::No, HZ).unwrap();
            (fit.moment_a_m2.value - 6.3e-3) / fit.moment_a_m2.u
        });
        let rms = root_mean_square(errors);
        assert!((0.8..1.25).contains(&rms), "{rms}");
    }

    #[test]
    fn bias_is_below_the_square_of_the_uncertainty_of_either_kind() {
        let with_u = |u: fn(f64, f64) -> f64, h: fn(f64, f64) -> f64| {
            let mut rng = ChaCha8Rng::seed_from_u64(7);
            let sets = 4000;
            let sum: f64 = (0..sets)
                .map(|_| {
                    let mut set = readings(1e-3, 0.0, 1e-12, 0);
                    for r in &mut set {
                        let truth = r.field_a_per_m;
                        r.field_a_per_m = h(truth, StandardNormal.sample(&mut rng));
                        r.u_field_a_per_m = u(truth, r.field_a_per_m);
                    }
                    fit(&set, OffsetChoice::No, HZ).unwrap().moment_a_m2.value / 1e-3
                })
                .sum();
            sum / sets as f64 - 1.0
        };
        let share = with_u(|_, h| 0.1 * h, |truth, e| truth * (0.1 * e).exp());
        let noise = with_u(|truth, _| 0.1 * truth, |truth, e| truth * (1.0 + 0.1 * e));
        assert!(share.abs() < 0.012 && noise.abs() < 0.012, "{share} {noise}");
    }

    /// Readings out to where there is nothing but noise, as a receiver shows them:
    /// magnitudes. They must neither pull the moment nor spoil its uncertainty.
    #[test]
    fn readings_in_the_noise_do_no_harm() {
        let noise_a_per_m = 30e-9;
        let errors = (0..400).map(|seed| {
            let mut rng = ChaCha8Rng::seed_from_u64(1000 + seed);
            let mut set = readings(3e-3, 0.0, 0.03, seed);
            for r in &mut set {
                r.distance_m *= 1.5;
                let h = r.alignment.field_a_per_m(3e-3, r.distance_m, HZ);
                let [share, noise]: [f64; 2] =
                    std::array::from_fn(|_| StandardNormal.sample(&mut rng));
                r.field_a_per_m = (h * (1.0 + 0.03 * share) + noise_a_per_m * noise).abs();
                r.u_field_a_per_m = (0.03 * r.field_a_per_m).hypot(noise_a_per_m);
            }
            let fit = fit(&set, OffsetChoice::No, HZ).unwrap();
            (fit.moment_a_m2.value - 3e-3) / fit.moment_a_m2.u
        });
        let rms = root_mean_square(errors);
        assert!((0.8..1.25).contains(&rms), "{rms}");
    }

    #[test]
    fn auto_takes_an_offset_only_where_there_is_one() {
        let taken = |offset_m: f64| {
            (0..200)
                .filter(|seed| {
                    let set = readings(6.3e-3, offset_m, 0.05, *seed);
                    fit(&set, OffsetChoice::Auto, HZ).unwrap().distance_offset_m.is_some()
                })
                .count()
        };
        // A true null is refused 99 times in 100, give or take.
        assert!(taken(0.0) <= 8, "{}", taken(0.0));
        assert!(taken(0.3) >= 195, "{}", taken(0.3));
    }

    #[test]
    fn auto_leaves_a_short_span_alone() {
        let short: Vec<_> =
            readings(6.3e-3, 0.5, 0.01, 1).into_iter().filter(|r| r.distance_m < 4.0).collect();
        assert!(short.len() >= 5 && !carries_offset(&short));
        assert!(fit(&short, OffsetChoice::Auto, HZ).unwrap().distance_offset_m.is_none());
    }

    #[test]
    fn exponent_is_the_slope_of_the_field() {
        for alignment in Alignment::ALL {
            for r in [0.5, 20.0, 104.0, 3000.0] {
                let step: f64 = 1e-5;
                let at = |r| alignment.field_a_per_m(1.0, r, HZ).ln();
                let numeric = (at(r * step.exp()) - at(r * (-step).exp())) / (2.0 * step);
                assert!((exponent(alignment, r, HZ) - numeric).abs() < 1e-8, "{alignment} {r}");
            }
        }
    }

    #[test]
    fn what_all_readings_share_adds_to_the_moment_alone() {
        let mut set = readings(6.3e-3, 0.2, 0.09, 3);
        // Scatter that the readings understate must not widen the shared part.
        set.iter_mut().for_each(|r| r.u_field_a_per_m /= 3.0);
        let own = fit(&set, OffsetChoice::Yes, HZ).unwrap();
        let common = own.clone().with_common(0.06).with_common(0.08);
        assert!(own.excess_scatter > 2.0);
        let u_rel = own.moment_a_m2.u_rel().hypot(0.1);
        assert!((common.moment_a_m2.u_rel() / u_rel - 1.0).abs() < 1e-12);
        assert_eq!(common.distance_offset_m, own.distance_offset_m);
        for alignment in Alignment::ALL {
            let with = common.field_at_stated(alignment, 7.0);
            let without = own.field_at_stated(alignment, 7.0);
            assert!((with.u_rel() / without.u_rel().hypot(0.1) - 1.0).abs() < 1e-12);
            assert_eq!(common.field_beside_readings(alignment, 7.0), without);
        }
    }

    #[test]
    fn band_narrows_where_the_readings_are_when_an_offset_is_fitted() {
        let fit = fit(&readings(6.3e-3, 0.2, 0.05, 3), OffsetChoice::Yes, HZ).unwrap();
        let u_rel = |d| fit.field_at_stated(Alignment::Coaxial, d).u_rel();
        assert!(u_rel(4.0) < u_rel(0.5) && u_rel(4.0) < u_rel(100.0));
        let far = fit.field_at_stated(Alignment::Coaxial, 1e4).u_rel();
        assert!((far / fit.moment_a_m2.u_rel() - 1.0).abs() < 0.01);
    }
}
