//! Student's t, normal and chi-squared: probabilities and coverage factors.
//!
//! Probabilities are those of the crate statrs. Its quantiles are off by some 1e-6
//! for many degrees of freedom or small probabilities, so they are solved for here.
//!
//! Accuracy against scipy over the table `tests/outside/scipy_distributions.csv`:
//! probabilities 1e-9, quantiles 1e-9 of themselves or of 1.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

/// Beyond so many degrees of freedom t differs from normal by less than 2e-7.
const MANY: f64 = 1e6;

/// Probability that a standard normal variable stays below `z`.
pub fn normal_cdf(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Probability that Student's t with `degrees_of_freedom` (over 0; infinite for
/// normal) stays below `t`; NaN where that is not so.
pub fn student_cdf(t: f64, degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom > MANY {
        return normal_cdf(t);
    }
    StudentsT::new(0.0, 1.0, degrees_of_freedom).map_or(f64::NAN, |d| d.cdf(t))
}

/// The t that Student's t with `degrees_of_freedom` (over 0; infinite for normal)
/// stays below with `probability` (above 0, below 1); NaN where that is not so.
pub fn student_quantile(probability: f64, degrees_of_freedom: f64) -> f64 {
    if !(probability > 0.0 && probability < 1.0) {
        return f64::NAN;
    }
    if degrees_of_freedom > MANY {
        return Normal::standard().inverse_cdf(probability);
    }
    if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 {
        return f64::NAN;
    }
    // By symmetry, in the tail where the probability has all its digits.
    let tail = probability.min(1.0 - probability);
    let below = |distance: f64| student_cdf(-distance, degrees_of_freedom) > tail;
    let distance = last_where(below);
    if probability < 0.5 { -distance } else { distance }
}

/// The largest number, from 0 on, at which `holds` is true; it is false from there on.
fn last_where(holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    while holds(high) {
        (low, high) = (high, 2.0 * high);
    }
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            return low;
        }
        *(if holds(middle) { &mut low } else { &mut high }) = middle;
    }
}

/// Degrees of freedom cut to the next lower integer, which is the careful side
/// (JCGM 100, G.4.1, note 1, and G.6.4). What only rounding keeps from an integer
/// counts as it: below one there would be nothing left.
pub fn whole(degrees_of_freedom: f64) -> f64 {
    (degrees_of_freedom * (1.0 + 1e-9)).floor()
}

/// Coverage factor k of a two-sided interval that holds with `probability` (above
/// 0, below 1), for [`whole`] degrees of freedom.
pub fn factor(probability: f64, degrees_of_freedom: f64) -> f64 {
    student_quantile(0.5 + 0.5 * probability, whole(degrees_of_freedom))
}

/// Probability that chi-squared with `degrees_of_freedom` (over 0) stays below
/// `x`; NaN where that is not so.
pub fn chi_squared_cdf(x: f64, degrees_of_freedom: f64) -> f64 {
    ChiSquared::new(degrees_of_freedom).map_or(f64::NAN, |d| d.cdf(x))
}

/// The x that chi-squared with `degrees_of_freedom` (over 0) stays below with
/// `probability` (above 0, below 1); NaN where that is not so.
pub fn chi_squared_quantile(probability: f64, degrees_of_freedom: f64) -> f64 {
    if !(probability > 0.0 && probability < 1.0) {
        return f64::NAN;
    }
    match ChiSquared::new(degrees_of_freedom) {
        Ok(distribution) => last_where(|x| distribution.cdf(x) < probability),
        Err(_) => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100, table G.2 (from memory).
    #[test]
    fn factors_of_the_table() {
        for (freedom, p, k) in [
            (1.0, 0.95, 12.71),
            (4.0, 0.95, 2.78),
            (10.0, 0.95, 2.23),
            (16.0, 0.99, 2.92),
            (50.0, 0.99, 2.68),
            (f64::INFINITY, 0.6827, 1.0),
            (f64::INFINITY, 0.95, 1.96),
        ] {
            assert!((factor(p, freedom) - k).abs() < 0.005, "{freedom}, {p}");
        }
        assert_eq!(factor(0.99, 16.7), factor(0.99, 16.0), "cut to the next lower integer");
        let rounded = |whole: f64| whole * (1.0 - f64::EPSILON);
        assert_eq!(factor(0.95, rounded(1.0)), factor(0.95, 1.0), "rounding takes nothing");
        assert_eq!(factor(0.95, rounded(4.0)), factor(0.95, 4.0), "rounding takes nothing");
    }

    #[test]
    fn quantiles_and_probabilities_are_inverse() {
        for freedom in [1.0, 2.5, 7.0, 60.0, 1e4, f64::INFINITY] {
            for p in [1e-6, 0.025, 0.3, 0.5, 0.95, 0.9999] {
                let back = student_cdf(student_quantile(p, freedom), freedom);
                assert!((back - p).abs() < 1e-9, "t, {freedom}, {p}: {back}");
                if freedom.is_finite() {
                    let back = chi_squared_cdf(chi_squared_quantile(p, freedom), freedom);
                    assert!((back - p).abs() < 1e-9, "chi squared, {freedom}, {p}: {back}");
                }
            }
        }
    }

    #[test]
    fn many_degrees_of_freedom_pass_into_normal_without_a_step() {
        for p in [0.6, 0.975, 0.9995] {
            let apart = student_quantile(p, 0.99 * MANY) - student_quantile(p, 1.01 * MANY);
            assert!(apart.abs() < 1e-5, "{apart}");
        }
    }

    #[test]
    fn what_is_no_distribution_has_no_value() {
        assert!(student_cdf(1.0, 0.0).is_nan() && student_quantile(1.0, 3.0).is_nan());
        assert!(chi_squared_cdf(1.0, -1.0).is_nan() && chi_squared_quantile(0.0, 3.0).is_nan());
    }
}
