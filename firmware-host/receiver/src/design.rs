//! The mathematics of tables that the compiler computes.
//!
//! Nothing here runs on the receiver. Each function is good to 10⁻¹³ over the
//! range it is used in.

/// sin x for |x| ≤ 2π · 50, by its Taylor series about the nearest multiple of 2π.
pub(crate) const fn sin(x: f64) -> f64 {
    let turns = x / core::f64::consts::TAU;
    let nearest = (if turns < 0.0 { turns - 0.5 } else { turns + 0.5 }) as i64;
    let x = x - nearest as f64 * core::f64::consts::TAU;
    let mut term = x;
    let mut sum = x;
    let mut n = 1;
    while n < 20 {
        term *= -x * x / ((2 * n) * (2 * n + 1)) as f64;
        sum += term;
        n += 1;
    }
    sum
}

/// I₀(2 √y), the modified Bessel function by its power series Σ yⁿ / n!², for
/// 0 ≤ y ≤ 30. Taking y spares the square root of the Kaiser window.
pub(crate) const fn bessel_i0_of_2_sqrt(y: f64) -> f64 {
    let mut term = 1.0;
    let mut sum = 1.0;
    let mut n = 1;
    while n < 40 {
        term *= y / (n * n) as f64;
        sum += term;
        n += 1;
    }
    sum
}

/// The integer nearest to x.
pub(crate) const fn round(x: f64) -> i32 {
    (if x < 0.0 { x - 0.5 } else { x + 0.5 }) as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sine_agrees_with_the_standard_library() {
        extern crate std;
        for step in -3000..3000 {
            let x = step as f64 * 0.1;
            assert!((sin(x) - std::primitive::f64::sin(x)).abs() < 1e-12, "sin {x}");
        }
    }

    #[test]
    fn bessel_agrees_with_its_table() {
        // Abramowitz & Stegun, table 9.8 (from memory): I0(1), I0(2), I0(5), I0(10).
        for (x, i0) in [
            (0.0f64, 1.0),
            (1.0, 1.266_065_877_752_008),
            (2.0, 2.279_585_302_336_067),
            (5.0, 27.239_871_823_604_44),
            (10.0, 2_815.716_628_466_254),
        ] {
            let found = bessel_i0_of_2_sqrt(x * x / 4.0);
            assert!((found / i0 - 1.0).abs() < 1e-13, "I0({x}) = {found}");
        }
    }

    #[test]
    fn rounding_goes_to_the_nearest() {
        assert_eq!([-1.6, -1.4, -0.4, 0.4, 1.4, 1.6].map(round), [-2, -1, 0, 0, 1, 2]);
    }
}
