//! Readings of field over distance, and what is wrong with a set of them.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::field::dipole;

/// How the receiver coil stands to the transmitter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Alignment {
    /// On the transmitter's axis and along it.
    Coaxial,
    /// Beside the transmitter and parallel to it.
    Coplanar,
}

impl Alignment {
    /// Both alignments, the stronger first.
    pub const ALL: [Self; 2] = [Self::Coaxial, Self::Coplanar];

    /// Field (A/m) of a dipole of `moment_a_m2` at `distance_m` in this
    /// alignment, with all three terms.
    pub fn field_a_per_m(self, moment_a_m2: f64, distance_m: f64, frequency_hz: f64) -> f64 {
        match self {
            Self::Coaxial => dipole::coaxial(moment_a_m2, distance_m, frequency_hz),
            Self::Coplanar => dipole::coplanar(moment_a_m2, distance_m, frequency_hz),
        }
    }

    /// The word for it, as in readings tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Coaxial => "coaxial",
            Self::Coplanar => "coplanar",
        }
    }
}

impl fmt::Display for Alignment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Alignment {
    type Err = UnknownAlignment;

    fn from_str(word: &str) -> Result<Self, UnknownAlignment> {
        Self::ALL
            .into_iter()
            .find(|alignment| alignment.name().eq_ignore_ascii_case(word.trim()))
            .ok_or_else(|| UnknownAlignment(word.trim().to_owned()))
    }
}

/// A word that names no alignment.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("alignment \"{0}\" is neither coaxial nor coplanar")]
pub struct UnknownAlignment(pub String);

/// Relative uncertainty at which a reading counts half as noise.
const LARGE_SHARE: f64 = 0.1;

/// How far a reading of this relative uncertainty is to be taken as noise, from
/// 0 to 1; see [`FieldReading::residual`].
pub(crate) fn share_of_noise(u_rel: f64) -> f64 {
    1.0 / (1.0 + (LARGE_SHARE / u_rel).powi(2))
}

/// One measured field at one distance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FieldReading {
    /// Stated distance between the centres of the coils, m.
    pub distance_m: f64,
    /// RMS field along the receiver coil, A/m.
    pub field_a_per_m: f64,
    /// Standard uncertainty of the field, A/m. It holds everything that varies
    /// from reading to reading, the distance included: 1 % of distance is 3 %
    /// of field. What all readings share (the calibration) does not show in
    /// their scatter; it is [`super::Options::u_calibration_rel`].
    pub u_field_a_per_m: f64,
    /// How the coils stood.
    pub alignment: Alignment,
}

impl FieldReading {
    /// Relative standard uncertainty of the field: that of its logarithm.
    pub fn u_rel(&self) -> f64 {
        self.u_field_a_per_m / self.field_a_per_m
    }

    /// What the reading differs by from a field of `theory_a_per_m`, in units of
    /// its standard uncertainty, taken to first order.
    ///
    /// Uncertainty comes as a share of the field (calibration, distance,
    /// orientation) or as noise. ln(H/H₀) · H/u is right for the first: it takes
    /// a reading 6 dB high as just as unlikely as one 6 dB low. (H − H₀)/u is
    /// right for the second: a reading of 14 ± 30 nA/m says nothing against
    /// 40 nA/m. The stated u does not say which it is, but a share beyond a tenth
    /// or so is no calibration; so the first passes into the second about there.
    pub fn residual(&self, theory_a_per_m: f64) -> f64 {
        let as_share = (self.field_a_per_m / theory_a_per_m).ln() / self.u_rel();
        let as_noise = (self.field_a_per_m - theory_a_per_m) / self.u_field_a_per_m;
        as_share + share_of_noise(self.u_rel()) * (as_noise - as_share)
    }
}

/// Why a set of readings gives no fit. Rows count from 1 in the order given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RangeError {
    /// A quantity that is not a number, or infinite.
    #[error("row {row}: {quantity} is {value}, not a finite number")]
    NotFinite {
        /// Row of the reading.
        row: usize,
        /// Name of the quantity.
        quantity: &'static str,
        /// What it was.
        value: f64,
    },
    /// A quantity that must be over zero.
    #[error("row {row}: {quantity} is {value} but must be over zero")]
    NotPositive {
        /// Row of the reading.
        row: usize,
        /// Name of the quantity.
        quantity: &'static str,
        /// What it was.
        value: f64,
    },
    /// Fewer readings than the fit needs.
    #[error("{have} readings, but the fit needs at least {need}")]
    TooFew {
        /// Readings given.
        have: usize,
        /// Readings needed.
        need: usize,
    },
    /// Nothing to tell how the field falls with distance.
    #[error("no alignment has readings at two different distances")]
    OneDistance,
    /// A threshold that no distance can meet.
    #[error("threshold {0} A/m must be a finite number over zero")]
    Threshold(f64),
    /// A reading nearer than the coil is over the unit.
    #[error(
        "row {row}: distance_m is {distance_m}, less than the {rise_m} m that the coil is \
         above the unit"
    )]
    TooNear {
        /// Row of the reading.
        row: usize,
        /// Its distance.
        distance_m: f64,
        /// Height of the coil over the unit.
        rise_m: f64,
    },
    /// A chance that is none.
    #[error("a probability of {0} must be over 0 and below 1")]
    Probability(f64),
    /// A shared uncertainty that cannot be one.
    #[error("relative uncertainty of the calibration {0} must be a finite number, 0 or more")]
    Calibration(f64),
    /// The fit found no minimum.
    #[error("the fit did not settle: the readings do not follow a dipole")]
    NoFit,
}

impl RangeError {
    /// The row at fault, where it is one row; counted from 1.
    pub fn row(&self) -> Option<usize> {
        match self {
            Self::NotFinite { row, .. }
            | Self::NotPositive { row, .. }
            | Self::TooNear { row, .. } => Some(*row),
            _ => None,
        }
    }
}

/// Fewest readings that show a moment and how well it holds.
pub const FEWEST_READINGS: usize = 3;

/// Check that `readings` can be fitted at all.
pub fn check(readings: &[FieldReading]) -> Result<(), RangeError> {
    for (row, reading) in (1..).zip(readings) {
        for (quantity, value) in [
            ("distance_m", reading.distance_m),
            ("field_a_per_m", reading.field_a_per_m),
            ("u_field_a_per_m", reading.u_field_a_per_m),
        ] {
            if !value.is_finite() {
                return Err(RangeError::NotFinite { row, quantity, value });
            }
            if value <= 0.0 {
                return Err(RangeError::NotPositive { row, quantity, value });
            }
        }
    }
    if readings.len() < FEWEST_READINGS {
        return Err(RangeError::TooFew { have: readings.len(), need: FEWEST_READINGS });
    }
    let spread = |alignment| {
        let mut distances =
            readings.iter().filter(|r| r.alignment == alignment).map(|r| r.distance_m);
        distances.next().is_some_and(|first| distances.any(|d| d != first))
    };
    if !Alignment::ALL.into_iter().any(spread) {
        return Err(RangeError::OneDistance);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: FieldReading = FieldReading {
        distance_m: 2.0,
        field_a_per_m: 1e-5,
        u_field_a_per_m: 1e-7,
        alignment: Alignment::Coaxial,
    };

    fn three(change: impl Fn(&mut FieldReading)) -> Vec<FieldReading> {
        let mut bad = FieldReading { distance_m: 4.0, ..GOOD };
        change(&mut bad);
        vec![GOOD, bad, FieldReading { distance_m: 8.0, ..GOOD }]
    }

    #[test]
    fn names_the_row_and_quantity_at_fault() {
        let fault = |change: fn(&mut FieldReading)| check(&three(change)).unwrap_err().to_string();
        assert_eq!(fault(|r| r.distance_m = 0.0), "row 2: distance_m is 0 but must be over zero");
        assert_eq!(
            fault(|r| r.field_a_per_m = -1e-6),
            "row 2: field_a_per_m is -0.000001 but must be over zero"
        );
        assert_eq!(
            fault(|r| r.u_field_a_per_m = 0.0),
            "row 2: u_field_a_per_m is 0 but must be over zero"
        );
        assert_eq!(
            fault(|r| r.field_a_per_m = f64::NAN),
            "row 2: field_a_per_m is NaN, not a finite number"
        );
        assert!(check(&three(|_| ())).is_ok());
    }

    #[test]
    fn needs_three_readings_and_two_distances_in_one_alignment() {
        let have_two = check(&[GOOD, FieldReading { distance_m: 4.0, ..GOOD }]);
        assert_eq!(have_two, Err(RangeError::TooFew { have: 2, need: 3 }));
        let beside = FieldReading { alignment: Alignment::Coplanar, distance_m: 5.0, ..GOOD };
        assert_eq!(check(&[GOOD, GOOD, beside]), Err(RangeError::OneDistance));
    }

    #[test]
    fn alignments_read_back_and_others_do_not() {
        for alignment in Alignment::ALL {
            assert_eq!(alignment.to_string().parse(), Ok(alignment));
        }
        assert_eq!(" Coaxial ".parse(), Ok(Alignment::Coaxial));
        let unknown = "axial".parse::<Alignment>().unwrap_err().to_string();
        assert_eq!(unknown, "alignment \"axial\" is neither coaxial nor coplanar");
    }
}
