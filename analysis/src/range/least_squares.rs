//! Nonlinear least squares after Levenberg and Marquardt.
//!
//! Residuals come weighted (divided by their standard uncertainty), so the sum
//! of squares is χ² and (JᵀJ)⁻¹ the covariance of the parameters (JCGM 100,
//! H.3 in general form). The Jacobian is taken by central differences of step
//! 1e-5: parameters are to be scaled so that 1 is a large change.
//!
//! Accuracy: at a minimum the parameters are good to about 1e-9 of their
//! standard uncertainty or 1e-12 of themselves, the covariance to 1e-9.
//! Cost: 2n + 2 calls of the residual function per step, 4 to 20 steps.

use nalgebra::{DMatrix, DVector};

/// Damping before the first step.
const FIRST_DAMPING: f64 = 1e-3;
/// Steps, taken or refused, before giving up.
const MOST_STEPS: usize = 200;
/// Difference step of the Jacobian.
const DIFFERENCE: f64 = 1e-5;
/// A step worth this share of χ² is none.
const WORTHLESS: f64 = 1e-15;

/// A minimum of χ².
#[derive(Clone, Debug)]
pub struct Minimum {
    /// Parameters at the minimum.
    pub parameters: DVector<f64>,
    /// (JᵀJ)⁻¹ at the minimum: the covariance if the stated uncertainties hold.
    pub covariance: DMatrix<f64>,
    /// Weighted residuals at the minimum.
    pub residuals: DVector<f64>,
    /// How they follow the parameters there: row per residual, column per parameter.
    pub jacobian: DMatrix<f64>,
    /// Sum of their squares.
    pub chi_squared: f64,
}

impl Minimum {
    /// Residuals less parameters; 0 when there is no residual to spare.
    pub fn degrees_of_freedom(&self) -> usize {
        self.residuals.len().saturating_sub(self.parameters.len())
    }

    /// How each parameter follows each residual: row per parameter, column per
    /// residual. A reading off by one standard uncertainty moves its residual by 1,
    /// so that the squares of a row add up to the variance of the parameter.
    pub fn influence(&self) -> DMatrix<f64> {
        -&self.covariance * self.jacobian.transpose()
    }

    /// max(1, χ²/ν): what the covariance is to be multiplied by so that readings
    /// that scatter more than they say do not claim more than they show. It
    /// never shrinks a stated uncertainty.
    pub fn excess_scatter(&self) -> f64 {
        match self.degrees_of_freedom() {
            0 => 1.0,
            spare => (self.chi_squared / spare as f64).max(1.0),
        }
    }
}

/// The minimum of |`residuals`(p)|² near `start`, or `None` when the residuals
/// are not finite there, the parameters are not determined, or no minimum is
/// found.
///
/// A step to where the residuals are not finite is refused, so a residual
/// function marks the end of its domain by NaN.
pub fn minimise(
    start: &[f64],
    residuals: impl Fn(&DVector<f64>) -> DVector<f64>,
) -> Option<Minimum> {
    minimise_with(start, &residuals, |p| jacobian_of(&residuals, p), WORTHLESS)
}

/// The same with a Jacobian of the caller's own (row per residual, column per
/// parameter), for residuals that cost much or have kinks that a difference must
/// not straddle; and done once a step is worth no more than the share `worthless`
/// of χ² (a step of one standard uncertainty is worth 1).
pub fn minimise_with(
    start: &[f64],
    residuals: impl Fn(&DVector<f64>) -> DVector<f64>,
    jacobian_at: impl Fn(&DVector<f64>) -> DMatrix<f64>,
    worthless: f64,
) -> Option<Minimum> {
    let mut at = DVector::from_column_slice(start);
    let mut here = residuals(&at);
    let mut chi_squared = here.norm_squared();
    if !chi_squared.is_finite() {
        return None;
    }
    let mut damping = FIRST_DAMPING;
    let mut jacobian = jacobian_at(&at);
    for _ in 0..MOST_STEPS {
        let normal = jacobian.tr_mul(&jacobian);
        let gradient = jacobian.tr_mul(&here);
        let mut damped = normal.clone();
        damped.set_diagonal(&(normal.diagonal() * (1.0 + damping)));
        let step = damped.cholesky()?.solve(&-&gradient);

        let next = &at + &step;
        let there = residuals(&next);
        let chi_there = there.norm_squared();
        // What the step is worth by the linear model; nothing left, nothing to do.
        let worth = -gradient.dot(&step);
        let settled = worth <= 1e-18 || worth <= worthless * chi_squared;
        if chi_there <= chi_squared {
            (at, here, chi_squared) = (next, there, chi_there);
            jacobian = jacobian_at(&at);
            damping = (damping / 10.0).max(1e-12);
        } else {
            damping *= 10.0;
        }
        if settled {
            let covariance = jacobian.tr_mul(&jacobian).cholesky()?.inverse();
            let residuals = here;
            return Some(Minimum { parameters: at, covariance, residuals, jacobian, chi_squared });
        }
    }
    None
}

fn jacobian_of(
    residuals: impl Fn(&DVector<f64>) -> DVector<f64>,
    at: &DVector<f64>,
) -> DMatrix<f64> {
    let columns: Vec<_> = (0..at.len())
        .map(|i| {
            let (mut up, mut down) = (at.clone(), at.clone());
            up[i] += DIFFERENCE;
            down[i] -= DIFFERENCE;
            (residuals(&up) - residuals(&down)) / (2.0 * DIFFERENCE)
        })
        .collect();
    DMatrix::from_columns(&columns)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A straight line has its fit and covariance in closed form.
    #[test]
    fn straight_line() {
        let x = [0.0, 1.0, 2.0, 3.0, 4.0];
        let y = [1.1, 2.9, 5.2, 6.9, 9.1];
        let sigma = 0.2;
        let fit = minimise(&[0.0, 0.0], |p| {
            DVector::from_fn(5, |i, _| (y[i] - p[0] - p[1] * x[i]) / sigma)
        })
        .unwrap();
        // Sums by hand: slope Σ(x−2)(y)/10, intercept mean(y) − 2·slope.
        assert!((fit.parameters[1] - 2.0).abs() < 1e-9);
        assert!((fit.parameters[0] - 1.04).abs() < 1e-9);
        assert!((fit.covariance[(1, 1)] - 0.04 / 10.0).abs() < 1e-9);
        assert!((fit.covariance[(0, 0)] - 0.04 * (1.0 / 5.0 + 4.0 / 10.0)).abs() < 1e-9);
        assert_eq!(fit.degrees_of_freedom(), 3);
    }

    /// Rosenbrock's valley, the customary hard case, from the customary start.
    #[test]
    fn rosenbrock_valley() {
        let fit = minimise(&[-1.2, 1.0], |p| {
            DVector::from_vec(vec![10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]])
        })
        .unwrap();
        assert!((fit.parameters[0] - 1.0).abs() < 1e-6 && (fit.parameters[1] - 1.0).abs() < 1e-6);
    }

    #[test]
    fn stays_inside_the_domain() {
        // ln p has no value below 0, and the first full step from 5 leads there.
        let fit = minimise(&[5.0], |p| DVector::from_element(1, p[0].ln())).unwrap();
        assert!((fit.parameters[0] - 1.0).abs() < 1e-9);
    }

    #[test]
    fn an_undetermined_parameter_is_no_fit() {
        assert!(minimise(&[1.0, 1.0], |p| DVector::from_element(3, p[0] - 2.0)).is_none());
        assert!(minimise(&[1.0], |_| DVector::from_element(2, f64::NAN)).is_none());
    }
}
