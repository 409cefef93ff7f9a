//! Constants of nature and of the trade, in one place.

use std::f64::consts::PI;

/// Speed of light in vacuum, m/s (exact, SI brochure, 9th edition).
pub const SPEED_OF_LIGHT_M_PER_S: f64 = 299_792_458.0;

/// Magnetic constant µ0, N/A² (CODATA 2022, relative standard uncertainty 1.6e-10).
pub const MAGNETIC_CONSTANT_N_PER_A2: f64 = 1.256_637_061_27e-6;

/// Nominal carrier of avalanche transceivers, Hz (EN 300 718-1, from memory).
pub const NOMINAL_CARRIER_HZ: f64 = 457_000.0;

/// Wave number k = 2πf/c in free space, rad/m. At 457 kHz 1/k is 104.4 m.
pub fn wave_number_rad_per_m(frequency_hz: f64) -> f64 {
    2.0 * PI * frequency_hz / SPEED_OF_LIGHT_M_PER_S
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_zone_at_457_khz_ends_at_104_m() {
        let edge_m = 1.0 / wave_number_rad_per_m(NOMINAL_CARRIER_HZ);
        assert!((edge_m - 104.4).abs() < 0.05, "{edge_m}");
        assert!((2.0 * PI * edge_m - 656.0).abs() < 0.1);
    }

    #[test]
    fn magnetic_constant_is_still_four_pi_e_minus_7_to_nine_digits() {
        assert!((MAGNETIC_CONSTANT_N_PER_A2 / (4e-7 * PI) - 1.0).abs() < 1e-9);
    }
}
