//! What a pulse must have so that it is found.
//!
//! The receiver's matched filters give a statistic that is Gamma(n, 1)
//! distributed over noise of n axes, and over a pulse of energy-to-noise ratio ρ
//! that of n + J, J a Poisson number of mean ρ (half of a noncentral chi-squared
//! variable of 2n degrees of freedom and noncentrality 2ρ; Johnson, Kotz and
//! Balakrishnan, *Continuous Univariate Distributions*, chapter 29, from memory).

use crate::signal::bank::threshold;

/// Probability that a pulse of energy-to-noise ratio `energy` over `axes` axes
/// passes the threshold `q`.
///
/// Accuracy: 1e-12 for energies and thresholds up to 300 (every term of the sum
/// is positive).
pub fn probability(axes: usize, energy: f64, q: f64) -> f64 {
    // P(Gamma(axes + j) > q) is the Poisson probability of fewer than axes + j
    // events of mean q: both sums grow together.
    let mut term = (-q).exp();
    let mut above = 0.0;
    for i in 0..axes {
        above += term;
        term *= q / (i + 1) as f64;
    }
    let (mut weight, mut sum) = ((-energy).exp(), 0.0);
    let last = (energy + 12.0 * energy.sqrt() + 60.0) as usize;
    for j in 0..=last {
        sum += weight * above.min(1.0);
        weight *= energy / (j + 1) as f64;
        above += term;
        term *= q / (axes + j + 1) as f64;
    }
    sum.min(1.0)
}

/// Energy-to-noise ratio at which a pulse is found with probability `found` when
/// noise alone passes for one with probability `false_alarm`.
///
/// ```
/// use coilrig_analysis::calibration::detection::energy_for;
/// // Three axes, one false pulse in 2.5 · 10⁹ filters: 15.5 dB (scipy.stats.ncx2).
/// let energy = energy_for(3, 4e-10, 0.9);
/// assert!((10.0 * energy.log10() - 15.48).abs() < 0.01);
/// ```
pub fn energy_for(axes: usize, false_alarm: f64, found: f64) -> f64 {
    let q = threshold(axes, false_alarm);
    let (mut low, mut high) = (0.0, 300.0);
    while high - low > 1e-9 {
        let middle = 0.5 * (low + high);
        if probability(axes, middle, q) < found { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_alone_passes_as_often_as_the_threshold_says() {
        for (axes, chance) in [(1, 1e-3), (3, 1e-3), (3, 1e-6)] {
            let q = threshold(axes, chance);
            assert!((probability(axes, 0.0, q) / chance - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn a_strong_pulse_is_always_found() {
        assert!((probability(3, 200.0, 28.0) - 1.0).abs() < 1e-12);
    }
}
