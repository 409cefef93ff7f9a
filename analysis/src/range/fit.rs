//! The moment of the dipole that readings over distance follow.
//!
//! Residuals are those of [`FieldReading::residual`], which suits readings
//! uncertain by a share of the field as well as readings in noise. Whichever
//! kind the readings are, the moment is off by less than the square of their
//! relative uncertainty: 1 % at 10 %.

use nalgebra::{DVector, Matrix3, Vector3};
use serde::Serialize;

use super::least_squares::{Minimum, minimise};
use super::over_ground::{SOIL_RESISTIVITIES_OHM_M, Soil};
use super::readings::{Alignment, FieldReading, RangeError};
use super::theory::Theory;
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
    /// What the field of a dipole is taken to be.
    pub theory: Theory,
    /// Moment, A·m².
    pub moment_a_m2: Reading,
    /// True less stated distance, m, when it was fitted.
    pub distance_offset_m: Option<Reading>,
    /// Natural logarithm of the soil's resistivity in Ω·m, when it was fitted.
    pub log_soil: Option<Reading>,
    /// Sum of squared weighted residuals.
    pub chi_squared: f64,
    /// Readings less parameters.
    pub degrees_of_freedom: usize,
    /// max(1, χ²/ν), by which all variances here are already multiplied.
    pub excess_scatter: f64,
    /// Relative standard uncertainty that all readings share, contained in the
    /// uncertainty of the moment: see [`Self::with_common`].
    pub u_common_rel: f64,
    /// Covariance of (ln moment, offset in m, ln resistivity) by the readings alone;
    /// zeros for what was not fitted.
    covariance: Matrix3<f64>,
    /// What one standard uncertainty of each reading, before it is widened, does to
    /// the same parameters.
    influence: Vec<Vector3<f64>>,
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
        let u_rel = self.u_rel_at(alignment, true_distance_m, 0.0);
        let field = self.field_of(alignment, true_distance_m);
        Reading::new(field, field * u_rel.hypot(self.u_common_rel))
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
        let by_metre = self.exponent(alignment, distance_m) / distance_m;
        let field = self.field_of(alignment, distance_m);
        Reading::new(field, field * self.u_rel_at(alignment, distance_m, by_metre))
    }

    /// d ln H / d ln r of the fitted field at a true distance (m).
    pub fn exponent(&self, alignment: Alignment, true_distance_m: f64) -> f64 {
        self.theory.exponent(alignment, true_distance_m, self.log_soil())
    }

    /// ln of the soil's resistivity in use.
    pub fn log_soil(&self) -> f64 {
        self.log_soil.map_or_else(|| self.theory.stated_log_soil(), |soil| soil.value)
    }

    fn field_of(&self, alignment: Alignment, true_distance_m: f64) -> f64 {
        let unit = self.theory.field_a_per_m(alignment, true_distance_m, self.log_soil());
        self.moment_a_m2.value * unit
    }

    fn u_rel_at(&self, alignment: Alignment, true_distance_m: f64, by_metre: f64) -> f64 {
        let gradient = self.gradient_at(alignment, true_distance_m, by_metre);
        (self.covariance * gradient).dot(&gradient).sqrt()
    }

    /// How ln of the field at a true distance (m) follows the parameters; `by_metre`
    /// is how it follows the offset.
    fn gradient_at(
        &self,
        alignment: Alignment,
        true_distance_m: f64,
        by_metre: f64,
    ) -> Vector3<f64> {
        let by_soil = match self.log_soil {
            Some(soil) => self.theory.soil_exponent(alignment, true_distance_m, soil.value),
            None => 0.0,
        };
        Vector3::new(1.0, by_metre, by_soil)
    }

    /// What one standard uncertainty of each reading, before it is widened, does to
    /// ln of the moment.
    pub(super) fn influence_on_moment(&self) -> Vec<f64> {
        self.influence.iter().map(|on| on.x).collect()
    }

    /// The same for the offset of distance, m.
    pub(super) fn influence_on_offset_m(&self) -> Vec<f64> {
        self.influence.iter().map(|on| on.y).collect()
    }

    /// The same for ln of the soil's resistivity.
    pub(super) fn influence_on_log_soil(&self) -> Vec<f64> {
        self.influence.iter().map(|on| on.z).collect()
    }

    /// The same for ln of the field at a true distance (m).
    pub(super) fn influence_on_field(
        &self,
        alignment: Alignment,
        true_distance_m: f64,
    ) -> Vec<f64> {
        let gradient = self.gradient_at(alignment, true_distance_m, 0.0);
        self.influence.iter().map(|on| on.dot(&gradient)).collect()
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

/// Fit a dipole of `frequency_hz` in free space to `readings`.
///
/// # Errors
///
/// What [`check`](super::readings::check) finds, and [`RangeError::NoFit`].
pub fn fit(
    readings: &[FieldReading],
    offset: OffsetChoice,
    frequency_hz: f64,
) -> Result<DipoleFit, RangeError> {
    fit_theory(readings, offset, &Theory::FreeSpace { frequency_hz })
}

/// Fit a dipole of that theory to `readings`. Soil that is open is fitted when the
/// readings bound its resistivity on both sides: when χ² at either end of
/// [`SOIL_RESISTIVITIES_OHM_M`] is higher by [`SIGNIFICANT_CHI_SQUARED`]. Else it
/// is taken as stated.
///
/// # Errors
///
/// What [`check`](super::readings::check) finds, and [`RangeError::NoFit`].
pub fn fit_theory(
    readings: &[FieldReading],
    offset: OffsetChoice,
    theory: &Theory,
) -> Result<DipoleFit, RangeError> {
    super::readings::check(readings)?;
    let problem = Problem::new(readings, theory);
    let stated = theory.stated_log_soil();
    let with_stated =
        problem.with_soil_of(stated, offset).ok_or(RangeError::NoFit)?.of_soil(&problem, stated);
    let open = matches!(theory, Theory::OverGround(ground) if ground.soil() == Soil::Open);
    let soil_fitted = if open { problem.with_soil_fitted(offset) } else { None };
    Ok(soil_fitted.unwrap_or(with_stated))
}

/// A minimum and what its parameters after the moment are.
struct Solution {
    minimum: Minimum,
    offset: bool,
}

impl Solution {
    fn chi_squared(&self) -> f64 {
        self.minimum.chi_squared
    }

    fn of_soil(&self, problem: &Problem<'_>, log_soil: f64) -> DipoleFit {
        problem.fit_of(self, log_soil, false)
    }
}

/// Parameters: ln of the moment over a first guess; the offset in units of the
/// nearest distance; ln of the soil's resistivity. All of the order of 1.
pub(super) struct Problem<'a> {
    readings: &'a [FieldReading],
    theory: &'a Theory,
    first_moment_a_m2: f64,
    nearest_m: f64,
}

impl<'a> Problem<'a> {
    pub(super) fn new(readings: &'a [FieldReading], theory: &'a Theory) -> Self {
        let stated = theory.stated_log_soil();
        let implied: Vec<f64> = (readings.iter())
            .map(|r| {
                let unit = theory.field_a_per_m(r.alignment, r.distance_m, stated);
                (r.field_a_per_m / unit).ln()
            })
            .filter(|log_moment| log_moment.is_finite())
            .collect();
        let mean = implied.iter().sum::<f64>() / implied.len().max(1) as f64;
        let nearest_m = readings.iter().map(|r| r.distance_m).fold(f64::INFINITY, f64::min);
        Self { readings, theory, first_moment_a_m2: mean.exp(), nearest_m }
    }

    /// The moment, A·m², that a first parameter of 0 stands for.
    pub(super) fn first_moment_a_m2(&self) -> f64 {
        self.first_moment_a_m2
    }

    /// Residuals for parameters in that order.
    pub(super) fn residuals(&self, log_moment: f64, offset: f64, log_soil: f64) -> DVector<f64> {
        let moment_a_m2 = self.first_moment_a_m2 * log_moment.exp();
        DVector::from_iterator(
            self.readings.len(),
            self.readings.iter().map(|r| {
                let distance_m = r.distance_m + offset * self.nearest_m;
                let unit = self.theory.field_a_per_m(r.alignment, distance_m, log_soil);
                r.residual(moment_a_m2 * unit)
            }),
        )
    }

    /// With an offset where the choice is for one, the soil as given.
    fn with_soil_of(&self, log_soil: f64, choice: OffsetChoice) -> Option<Solution> {
        let without = minimise(&[0.0], |p| self.residuals(p[0], 0.0, log_soil));
        let with = || {
            let start = without.as_ref().map_or(0.0, |m| m.parameters[0]);
            // From several starts: with a large offset χ² can have more than one dip.
            least([-0.5, 0.0, 1.0].map(|offset| vec![start, offset]), |p| {
                self.residuals(p[0], p[1], log_soil)
            })
        };
        self.chosen(choice, &without, with)
    }

    /// The same with the soil's resistivity fitted too, if the readings carry it.
    fn with_soil_fitted(&self, choice: OffsetChoice) -> Option<DipoleFit> {
        let soils = [10.0_f64, 100.0, 1000.0].map(f64::ln);
        let without = least(soils.map(|soil| vec![0.0, soil]), |p| self.residuals(p[0], 0.0, p[1]));
        let with = || {
            let starts = soils.map(|soil| vec![0.0, 0.0, soil]);
            least(starts, |p| self.residuals(p[0], p[1], p[2]))
        };
        let solution = self.chosen(choice, &without, with)?;
        let (low, high) = SOIL_RESISTIVITIES_OHM_M;
        let excess_scatter = solution.minimum.excess_scatter();
        let bounded = [low, high].into_iter().all(|end| {
            // Where nothing at all fits with that soil, it is ruled out too.
            self.with_soil_of(end.ln(), choice).is_none_or(|at_end| {
                let rise = at_end.chi_squared() - solution.chi_squared();
                rise / excess_scatter > SIGNIFICANT_CHI_SQUARED
            })
        });
        let log_soil = *solution.minimum.parameters.as_slice().last()?;
        bounded.then(|| self.fit_of(&solution, log_soil, true))
    }

    fn chosen(
        &self,
        choice: OffsetChoice,
        without: &Option<Minimum>,
        with: impl FnOnce() -> Option<Minimum>,
    ) -> Option<Solution> {
        let plain = || without.clone().map(|minimum| Solution { minimum, offset: false });
        match choice {
            OffsetChoice::No => plain(),
            OffsetChoice::Yes => with().map(|minimum| Solution { minimum, offset: true }),
            OffsetChoice::Auto if carries_offset(self.readings) => {
                let earned = with().filter(|with| {
                    without.as_ref().is_none_or(|without| {
                        let drop = without.chi_squared - with.chi_squared;
                        drop / with.excess_scatter() > SIGNIFICANT_CHI_SQUARED
                    })
                });
                earned.map(|minimum| Solution { minimum, offset: true }).or_else(plain)
            }
            OffsetChoice::Auto => plain(),
        }
    }

    fn fit_of(&self, solution: &Solution, log_soil: f64, soil_fitted: bool) -> DipoleFit {
        let Solution { minimum, offset } = solution;
        let excess_scatter = minimum.excess_scatter();
        // Which of (ln moment, offset, ln resistivity) each parameter is.
        let mut places = vec![0];
        places.extend(offset.then_some(1));
        places.extend(soil_fitted.then_some(2));
        let scale = [1.0, self.nearest_m, 1.0];
        let mut covariance = Matrix3::zeros();
        for (i, row) in places.iter().enumerate() {
            for (j, column) in places.iter().enumerate() {
                covariance[(*row, *column)] =
                    minimum.covariance[(i, j)] * scale[*row] * scale[*column] * excess_scatter;
            }
        }
        let by_residual = minimum.influence();
        let influence = (0..by_residual.ncols()).map(|reading| {
            let mut on = Vector3::zeros();
            for (i, row) in places.iter().enumerate() {
                on[*row] = by_residual[(i, reading)] * scale[*row];
            }
            on
        });
        let influence = influence.collect();
        let moment_a_m2 = self.first_moment_a_m2 * minimum.parameters[0].exp();
        let u = |place: usize| covariance[(place, place)].sqrt();
        DipoleFit {
            theory: self.theory.clone(),
            moment_a_m2: Reading::new(moment_a_m2, moment_a_m2 * u(0)),
            distance_offset_m: offset
                .then(|| Reading::new(minimum.parameters[1] * self.nearest_m, u(1))),
            log_soil: soil_fitted.then(|| Reading::new(log_soil, u(2))),
            chi_squared: minimum.chi_squared,
            degrees_of_freedom: minimum.degrees_of_freedom(),
            excess_scatter,
            u_common_rel: 0.0,
            covariance,
            influence,
        }
    }
}

/// The lowest of the minima found from `starts`.
fn least<const N: usize>(
    starts: [Vec<f64>; N],
    residuals: impl Fn(&DVector<f64>) -> DVector<f64>,
) -> Option<Minimum> {
    starts
        .into_iter()
        .filter_map(|start| minimise(&start, &residuals))
        .min_by(|a, b| a.chi_squared.total_cmp(&b.chi_squared))
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

    /// Soil of 100 Ω·m, readings of 3 % out to 60 m: their resistivity and moment
    /// come with the uncertainty that they show.
    #[test]
    fn soil_is_fitted_where_the_readings_carry_it() {
        use super::super::over_ground::tests::snow_over_soil;
        let theory = Theory::OverGround(snow_over_soil(300.0, Soil::Open).into());
        let survey = |log_soil: f64, farthest_m: f64, seed| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut set = Vec::new();
            for distance_m in [3.0, 5.0, 8.0, 12.0, 18.0, 25.0, 35.0, 45.0, 60.0] {
                for alignment in Alignment::ALL {
                    let unit = theory.field_a_per_m(alignment, distance_m, log_soil);
                    let error: f64 = StandardNormal.sample(&mut rng);
                    let field_a_per_m = 6.3e-3 * unit * (0.03 * error).exp();
                    let u_field_a_per_m = 0.03 * field_a_per_m;
                    if distance_m <= farthest_m {
                        set.push(FieldReading {
                            distance_m,
                            field_a_per_m,
                            u_field_a_per_m,
                            alignment,
                        });
                    }
                }
            }
            set
        };
        let truth = 100.0_f64.ln();
        let fits: Vec<_> = (0..60)
            .map(|seed| fit_theory(&survey(truth, 99.0, seed), OffsetChoice::No, &theory).unwrap())
            .collect();
        let soil = root_mean_square(fits.iter().map(|fit| {
            let soil = fit.log_soil.expect("carried");
            (soil.value - truth) / soil.u
        }));
        let moment = root_mean_square(
            fits.iter().map(|fit| (fit.moment_a_m2.value - 6.3e-3) / fit.moment_a_m2.u),
        );
        assert!((0.8..1.25).contains(&soil) && (0.8..1.25).contains(&moment), "{soil} {moment}");
        // Within 5 m any soil will do, and the stated one stands.
        for seed in 0..20 {
            let near = fit_theory(&survey(truth, 5.0, seed), OffsetChoice::No, &theory).unwrap();
            assert!(near.log_soil.is_none());
            assert_eq!(near.log_soil(), 300.0_f64.ln());
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
