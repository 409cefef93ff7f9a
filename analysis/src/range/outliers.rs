//! Readings that do not belong with the others, named and never dropped in silence.
//!
//! The others are found first by a fit that no single reading can pull: least
//! squares with weights that fall with the residual (P. J. Huber's, then J. W.
//! Tukey's biweight with 4.685; both cited from memory). Its scatter is the median
//! of the residuals, or what the readings state if that is more. What lies farther
//! out than one of n readings does in a hundred surveys (Bonferroni: 0.01/n, both
//! sides; Student's t where the scatter comes from the readings) is left out, all
//! others are fitted as usual, and only what is that far off that fit too is an
//! outlier.

use serde::Serialize;

use super::fit::{OffsetChoice, Problem, carries_offset, fit_theory};
use super::least_squares::minimise;
use super::readings::{Alignment, FieldReading};
use super::theory::Theory;
use crate::uncertainty::coverage::student_quantile;

/// Chance of naming any reading of a survey in which all belong together.
pub const FALSE_ALARM: f64 = 0.01;
/// Where Huber's weights begin to fall, and where Tukey's reach zero, in units of
/// the scatter: 95 % as good as plain least squares when nothing is wrong.
const HUBER: f64 = 1.345;
const TUKEY: f64 = 4.685;

/// A reading that does not belong with the others.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Outlier {
    /// Its row, counted from 1.
    pub row: usize,
    /// Measured over fitted field in dB, by a fit to the others.
    pub residual_db: f64,
    /// The same in standard uncertainties of the reading.
    pub standard_deviations: f64,
    /// Beyond how many of them a reading is named.
    pub limit: f64,
    /// What it may come from.
    pub why: String,
}

/// The outliers among `readings`, in order; none where too few are left to say.
pub fn find(readings: &[FieldReading], offset: OffsetChoice, theory: &Theory) -> Vec<Outlier> {
    let suspects = suspects(readings, offset, theory);
    if suspects.iter().all(|suspect| !suspect) {
        return Vec::new();
    }
    let others: Vec<_> =
        readings.iter().zip(&suspects).filter(|(_, out)| !**out).map(|(r, _)| *r).collect();
    let Ok(fit) = fit_theory(&others, offset, theory) else { return Vec::new() };
    let limit = limit(readings.len(), fit.degrees_of_freedom, fit.excess_scatter.sqrt());
    (1..)
        .zip(readings)
        .zip(&suspects)
        .filter(|(_, suspect)| **suspect)
        .filter_map(|((row, reading), _)| {
            let theory = fit.field_at_stated(reading.alignment, reading.distance_m).value;
            let standard_deviations = reading.residual(theory);
            let residual_db = 20.0 * (reading.field_a_per_m / theory).log10();
            let why =
                why(reading, residual_db, |r| fit.field_at_stated(reading.alignment, r).value);
            (standard_deviations.abs() > limit).then_some(Outlier {
                row,
                residual_db,
                standard_deviations,
                limit,
                why,
            })
        })
        .collect()
}

/// Standard uncertainties beyond which one of `count` readings is named, when they
/// scatter `scatter` times what they state.
fn limit(count: usize, freedom: usize, scatter: f64) -> f64 {
    let freedom = if scatter > 1.0 { freedom.max(1) as f64 } else { f64::INFINITY };
    scatter * student_quantile(1.0 - 0.5 * FALSE_ALARM / count as f64, freedom)
}

/// Which readings lie far off a fit that they cannot pull.
fn suspects(readings: &[FieldReading], offset: OffsetChoice, theory: &Theory) -> Vec<bool> {
    let with_offset = match offset {
        OffsetChoice::Yes => true,
        OffsetChoice::No => false,
        OffsetChoice::Auto => carries_offset(readings),
    };
    // Straight above a unit an offset may leave no place to be in.
    let with = with_offset.then(|| far_off(readings, theory, 2)).flatten();
    with.or_else(|| far_off(readings, theory, 1)).unwrap_or(vec![false; readings.len()])
}

/// The same of a fit with so many parameters: moment, and offset; `None` where there
/// is no such fit or it cannot tell.
fn far_off(readings: &[FieldReading], theory: &Theory, parameters: usize) -> Option<Vec<bool>> {
    // Half of what is to spare may be wrong, and three must agree.
    if readings.len() < parameters + 3 {
        return None;
    }
    let problem = Problem::new(readings, theory);
    let log_soil = theory.stated_log_soil();
    let at = |p: &[f64]| problem.residuals(p[0], p.get(1).copied().unwrap_or(0.0), log_soil);
    let share = readings.len() as f64 / (readings.len() - parameters) as f64;
    let scatter = |p: &[f64]| {
        let sizes: Vec<f64> = at(p).iter().map(|r| r.abs()).collect();
        // 1.4826: the standard deviation of a normal distribution over its median
        // deviation.
        (1.4826 * median(sizes) * share.sqrt()).max(1.0)
    };
    let mut p = vec![median(log_moments(readings, theory, &problem, log_soil)), 0.0];
    p.truncate(parameters);
    for round in 0..60 {
        let scale = scatter(&p);
        let weights: Vec<f64> = at(&p).iter().map(|r| weight(r / scale, round >= 30)).collect();
        let weighted = |q: &nalgebra::DVector<f64>| {
            let mut residuals = at(q.as_slice());
            residuals.iter_mut().zip(&weights).for_each(|(r, w)| *r *= w.sqrt());
            residuals
        };
        p = minimise(&p, weighted)?.parameters.as_slice().to_vec();
    }
    let limit = limit(readings.len(), readings.len() - parameters, scatter(&p));
    let far: Vec<bool> = at(&p).iter().map(|r| r.abs() > limit).collect();
    let count = far.iter().filter(|far| **far).count();
    (2 * count < readings.len() - parameters).then_some(far)
}

/// ln of the moment that each reading alone implies, over the first guess.
fn log_moments(
    readings: &[FieldReading],
    theory: &Theory,
    problem: &Problem<'_>,
    log_soil: f64,
) -> Vec<f64> {
    readings
        .iter()
        .map(|r| {
            let unit = theory.field_a_per_m(r.alignment, r.distance_m, log_soil);
            (r.field_a_per_m / (unit * problem.first_moment_a_m2())).ln()
        })
        .filter(|log| log.is_finite())
        .collect()
}

fn weight(r: f64, biweight: bool) -> f64 {
    let r = r.abs();
    match biweight {
        // Never quite zero, so that the parameters stay determined.
        true => (1.0 - (r / TUKEY).powi(2)).max(0.0).powi(2).max(1e-9),
        false => (HUBER / r).min(1.0),
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => values[middle],
        _ => 0.5 * (values[middle - 1] + values[middle]),
    }
}

/// What a reading so far off may come from; `field` is that of the fit to the
/// others at a stated distance.
fn why(reading: &FieldReading, residual_db: f64, field: impl Fn(f64) -> f64) -> String {
    let size = residual_db.abs();
    if (46.0..74.0).contains(&size) {
        return "about a factor of 1000: is its field in another unit?".into();
    }
    let six = (size - 6.02).abs() < 1.5;
    match reading.alignment {
        Alignment::Coaxial if six && residual_db < 0.0 => {
            return "half of what is expected: was it coplanar?".into();
        }
        Alignment::Coplanar if six && residual_db > 0.0 => {
            return "twice what is expected: was it coaxial?".into();
        }
        _ => {}
    }
    // The distance at which the others put such a field.
    let (mut near, mut far) = (0.02 * reading.distance_m, 50.0 * reading.distance_m);
    for _ in 0..60 {
        let middle = (near * far).sqrt();
        // No number where no coil can be, too near.
        if field(middle) <= reading.field_a_per_m { far = middle } else { near = middle }
    }
    let stated = crate::units::significant(reading.distance_m, 3);
    let distance = crate::units::significant(near, 3);
    let cause = match residual_db > 0.0 {
        true => "a second transmitter, metal or a cable near by",
        false => "coils not aligned, or a receiver driven too hard",
    };
    format!("fits a distance of {distance} m, not {stated} m; else {cause}")
}

#[cfg(test)]
mod tests {
    use super::super::fit::tests::{HZ, readings};
    use super::*;

    const FREE: Theory = Theory::FreeSpace { frequency_hz: HZ };

    fn found(set: &[FieldReading]) -> Vec<Outlier> {
        find(set, OffsetChoice::Auto, &FREE)
    }

    #[test]
    fn one_and_several_wrong_readings_are_named_with_their_cause() {
        for seed in 0..40 {
            let mut set = readings(6.3e-3, 0.1, 0.03, seed);
            // Row 3: 2 m coaxial; row 8: 5 m coplanar; row 11: 12 m coaxial.
            set[2].field_a_per_m /= 2.0;
            set[7].field_a_per_m *= 1000.0;
            set[7].u_field_a_per_m *= 1000.0;
            set[10].field_a_per_m *= 1.6;
            let outliers = found(&set);
            let rows: Vec<_> = outliers.iter().map(|o| o.row).collect();
            assert_eq!(rows, [3, 8, 11], "seed {seed}: {outliers:?}");
            assert!(outliers[0].why.contains("was it coplanar"), "{:?}", outliers[0]);
            assert!(outliers[1].why.contains("another unit"));
            assert!(outliers[2].why.contains("m, not 12 m"), "{:?}", outliers[2]);
            assert!((outliers[0].residual_db + 6.02).abs() < 1.2);
        }
    }

    /// At most one survey in a hundred, give or take, is told of a reading that is
    /// none; readings that all understate their uncertainty raise no alarm either.
    #[test]
    fn good_readings_are_left_in_peace() {
        let alarms = |understated: f64| {
            (0..400)
                .filter(|seed| {
                    let mut set = readings(6.3e-3, 0.0, 0.03 * understated, *seed);
                    set.iter_mut().for_each(|r| r.u_field_a_per_m /= understated);
                    !found(&set).is_empty()
                })
                .count()
        };
        let (right, understated) = (alarms(1.0), alarms(3.0));
        assert!(right <= 10 && understated <= 10, "{right} {understated} of 400");
    }

    #[test]
    fn too_few_readings_tell_nothing() {
        let mut set = readings(6.3e-3, 0.0, 0.03, 1);
        set.truncate(3);
        set[1].field_a_per_m *= 5.0;
        assert_eq!(find(&set, OffsetChoice::No, &FREE), []);
    }
}
