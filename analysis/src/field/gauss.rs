//! Gauss–Legendre quadrature.

/// The `count` nodes on [−1, 1] and their weights, by Newton's method on the
/// Legendre polynomial (Abramowitz and Stegun 25.4.29, from memory). Accuracy:
/// 1e-15.
pub(crate) fn legendre(count: usize) -> Vec<(f64, f64)> {
    let n = count as f64;
    (0..count)
        .map(|i| {
            let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            // Quadratic from a guess good to 1e-3: five steps are more than enough.
            for _ in 0..5 {
                let (mut before, mut here) = (0.0, 1.0);
                for k in 0..count {
                    let k = k as f64;
                    (before, here) = (here, ((2.0 * k + 1.0) * x * here - k * before) / (k + 1.0));
                }
                slope = n * (x * here - before) / (x * x - 1.0);
                x -= here / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_are_integrated_exactly() {
        for count in [1, 2, 8, 12, 24] {
            for power in 0..2 * count {
                let sum: f64 = legendre(count).iter().map(|(x, w)| w * x.powi(power as i32)).sum();
                let exact = if power % 2 == 0 { 2.0 / (power as f64 + 1.0) } else { 0.0 };
                assert!((sum - exact).abs() < 3e-15, "{count} points, power {power}: {sum}");
            }
        }
    }
}
