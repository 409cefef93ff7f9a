//! The limit of an alternating or slowly falling series.

use num_complex::Complex64;

/// The limit that `partial_sums` run to, by P. Wynn's epsilon algorithm (*On a
/// device for computing the e_m(S_n) transformation*, 1956, cited from memory).
///
/// A sum of n falling exponentials and its limit is found to rounding from 2n + 1
/// terms; an alternating series gains a digit with nearly every term.
pub(super) fn limit(partial_sums: &[Complex64]) -> Complex64 {
    let Some(&last) = partial_sums.last() else { return Complex64::ZERO };
    let mut row = partial_sums.to_vec();
    let mut before = vec![Complex64::ZERO; row.len() + 1];
    let mut best = last;
    let mut order = 0;
    while row.len() > 1 {
        let mut next = Vec::with_capacity(row.len() - 1);
        for i in 0..row.len() - 1 {
            let difference = row[i + 1] - row[i];
            if difference.norm() <= 1e-15 * row[i].norm() {
                // Converged: more would only divide rounding by rounding.
                return if order % 2 == 0 { row[i + 1] } else { best };
            }
            next.push(before[i + 1] + 1.0 / difference);
        }
        before = row;
        row = next;
        order += 1;
        if order % 2 == 0 {
            best = row[row.len() - 1];
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sums(term: impl Fn(usize) -> f64, count: usize) -> Vec<Complex64> {
        let mut sum = 0.0;
        (0..count)
            .map(|n| {
                sum += term(n);
                Complex64::from(sum)
            })
            .collect()
    }

    #[test]
    fn leibniz_series_is_a_quarter_of_pi() {
        let terms = sums(|n| (-1f64).powi(n as i32) / (2 * n + 1) as f64, 15);
        let off = (limit(&terms) - std::f64::consts::FRAC_PI_4).norm();
        assert!(off < 1e-10, "{off:e}");
    }

    #[test]
    fn series_that_have_ended_are_left_alone() {
        let terms = sums(|n| 1e-9f64.powi(n as i32), 12);
        assert!((limit(&terms) - 1.0 / (1.0 - 1e-9)).norm() < 1e-15);
        assert_eq!(limit(&[Complex64::ONE; 5]), Complex64::ONE);
        assert_eq!(limit(&[]), Complex64::ZERO);
    }
}
