//! How unit and receiver stood.

/// Where the receiver stood to the antenna of the unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placement {
    /// On the antenna's axis and along it.
    Coaxial,
    /// Beside the antenna and parallel to it.
    Coplanar,
    /// In three directions square to each other at the same distance, a capture
    /// each: then the antenna may lie in the unit in any direction.
    ThreeDirections,
}

/// How unit and receiver stood, and how well that is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setup {
    /// Between the middles of the antennas, m.
    pub distance_m: f64,
    /// Its standard uncertainty, m.
    pub u_distance_m: f64,
    /// The placement.
    pub placement: Placement,
    /// Standard uncertainty of each tilt of either antenna, or of each direction, rad.
    pub u_tilt_rad: f64,
    /// Relative standard uncertainty of the field for what metal and wires near by do
    /// to it.
    pub u_surroundings_rel: f64,
}

/// A setup that no field can be taken from.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{quantity} of {value} {unit} is not usable: {need}")]
pub struct SetupError {
    /// What.
    pub quantity: &'static str,
    /// Its value.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// What it must be.
    pub need: &'static str,
}

impl Setup {
    /// Standard uncertainty of a distance measured with a tape between the middles
    /// of two cases, m (common practice, no source).
    pub const U_DISTANCE_M: f64 = 0.02;
    /// Standard uncertainty of a tilt judged by eye, rad: 5° (common practice, no source).
    pub const U_TILT_RAD: f64 = 5.0 * std::f64::consts::PI / 180.0;
    /// Relative standard uncertainty for surroundings: outdoors, no metal within the
    /// measuring distance (common practice, no source).
    pub const U_SURROUNDINGS_REL: f64 = 0.03;

    /// A setup at `distance_m`, the rest as usual.
    pub fn at(distance_m: f64, placement: Placement) -> Self {
        Self {
            distance_m,
            u_distance_m: Self::U_DISTANCE_M,
            placement,
            u_tilt_rad: Self::U_TILT_RAD,
            u_surroundings_rel: Self::U_SURROUNDINGS_REL,
        }
    }

    /// Check that a field can be taken from it.
    ///
    /// # Errors
    ///
    /// The first quantity that is out of range.
    pub fn check(&self) -> Result<(), SetupError> {
        let (distance, relative) = (self.distance_m, self.u_distance_m / self.distance_m);
        // Below, antennas are no dipoles; beyond, ground and noise rule the field.
        let rows = [
            ("the distance", distance, 0.5, 100.0, "m", "it must lie within 0.5 m and 100 m"),
            (
                "the uncertainty of the distance",
                relative * 100.0,
                0.0,
                10.0,
                "%",
                "at most a tenth of the distance, and not below zero",
            ),
            (
                "the uncertainty of the orientation",
                self.u_tilt_rad.to_degrees(),
                0.0,
                20.0,
                "°",
                "it must lie within 0° and 20°; beyond, measure in three directions",
            ),
            (
                "the uncertainty for the surroundings",
                self.u_surroundings_rel * 100.0,
                0.0,
                50.0,
                "%",
                "it must lie within 0 % and 50 %",
            ),
        ];
        for (quantity, value, least, most, unit, need) in rows {
            if !(least..=most).contains(&value) {
                return Err(SetupError { quantity, value, unit, need });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_field_can_be_taken_from_is_refused() {
        let good = Setup::at(3.0, Placement::Coaxial);
        assert_eq!(good.check(), Ok(()));
        for (bad, matter) in [
            (Setup { distance_m: 0.2, ..good }, "distance"),
            (Setup { distance_m: f64::NAN, ..good }, "distance"),
            (Setup { u_distance_m: -0.01, ..good }, "distance"),
            (Setup { u_distance_m: 0.5, ..good }, "distance"),
            (Setup { u_tilt_rad: 0.5, ..good }, "orientation"),
            (Setup { u_surroundings_rel: 0.6, ..good }, "surroundings"),
        ] {
            assert!(bad.check().unwrap_err().to_string().contains(matter), "{bad:?}");
        }
    }
}
