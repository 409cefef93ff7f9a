//! What the field over distance is by theory: free space, or over ground.

use std::sync::Arc;

use super::over_ground::OverGround;
use super::readings::Alignment;

/// A theory of the field over distance.
#[derive(Clone, Debug)]
pub enum Theory {
    /// A dipole in free space with all its terms.
    FreeSpace {
        /// Carrier, Hz.
        frequency_hz: f64,
    },
    /// A dipole in layered ground.
    OverGround(Arc<OverGround>),
}

impl Theory {
    /// Field (A/m) of a dipole of 1 A·m² at a true distance (m). `log_soil` is the
    /// natural logarithm of the soil's resistivity in Ω·m, which only ground asks
    /// for. NaN at no distance, and nearer than a place over ground can be.
    pub fn field_a_per_m(&self, alignment: Alignment, distance_m: f64, log_soil: f64) -> f64 {
        match self {
            Self::FreeSpace { frequency_hz } => {
                alignment.field_a_per_m(1.0, distance_m, *frequency_hz)
            }
            Self::OverGround(ground) => ground.field_a_per_m(alignment, distance_m, log_soil),
        }
    }

    /// d ln H / d ln r at a true distance.
    pub fn exponent(&self, alignment: Alignment, distance_m: f64, log_soil: f64) -> f64 {
        match self {
            Self::FreeSpace { frequency_hz } => free_space(alignment, distance_m, *frequency_hz),
            Self::OverGround(_) => {
                slope(distance_m.ln(), |l| self.field_a_per_m(alignment, l.exp(), log_soil))
            }
        }
    }

    /// d ln H / d ln ρ with ρ the resistivity of the soil; 0 in free space.
    pub fn soil_exponent(&self, alignment: Alignment, distance_m: f64, log_soil: f64) -> f64 {
        match self {
            Self::FreeSpace { .. } => 0.0,
            Self::OverGround(_) => {
                slope(log_soil, |l| self.field_a_per_m(alignment, distance_m, l))
            }
        }
    }

    /// ln of the resistivity that the ground is stated to have; 0 in free space.
    pub fn stated_log_soil(&self) -> f64 {
        match self {
            Self::FreeSpace { .. } => 0.0,
            Self::OverGround(ground) => ground.stated_log_soil(),
        }
    }
}

/// d ln f / dx by central differences, one-sided where a side has no number.
fn slope(x: f64, f: impl Fn(f64) -> f64) -> f64 {
    let step = 1e-4;
    let [low, here, high] = [x - step, x, x + step].map(|x| f(x).ln());
    match (low.is_finite(), high.is_finite()) {
        (true, true) => (high - low) / (2.0 * step),
        (true, false) => (here - low) / step,
        _ => (high - here) / step,
    }
}

/// d ln H / d ln r of a dipole in free space at true distance `distance_m` (m): −3
/// in the near field, −2 far out on the axis, −1 far out beside it.
pub fn free_space(alignment: Alignment, distance_m: f64, frequency_hz: f64) -> f64 {
    use crate::field::constants::wave_number_rad_per_m;
    let x = (wave_number_rad_per_m(frequency_hz) * distance_m).powi(2);
    match alignment {
        Alignment::Coaxial => -3.0 + x / (1.0 + x),
        Alignment::Coplanar => -3.0 + (2.0 * x * x - x) / (1.0 - x + x * x),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exponent_is_the_slope_of_the_field() {
        let theory = Theory::FreeSpace { frequency_hz: 457e3 };
        for alignment in Alignment::ALL {
            for r in [0.5_f64, 20.0, 104.0, 3000.0] {
                let numeric = slope(r.ln(), |l| theory.field_a_per_m(alignment, l.exp(), 0.0));
                let exact = theory.exponent(alignment, r, 0.0);
                assert!((exact - numeric).abs() < 1e-7, "{alignment} {r}");
            }
        }
    }
}
