//! The field standards of the rig: a loop, or a Helmholtz pair, of known turns,
//! radius and current, with the receiver's coil at a known place.
//!
//! The loop's axis is z, its centre the origin; a pair stands half its spacing on
//! either side of the origin. The receiver's coil lies parallel to the axis, so
//! that the component H_z is what it sees.

use serde::{Deserialize, Serialize};

use crate::field::circular_loop::CircularLoop;
use crate::field::constants::{NOMINAL_CARRIER_HZ, wave_number_rad_per_m};
use crate::reading::Reading;

/// Which standard.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Arrangement {
    /// One loop.
    Loop,
    /// Two equal loops on one axis, the current in the same sense.
    Pair,
}

/// A standard and the place of the receiver's coil in its field.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Source {
    /// Which standard.
    pub arrangement: Arrangement,
    /// Turns of each loop.
    pub turns: f64,
    /// Radius.
    pub radius_m: Reading,
    /// RMS current in each turn.
    pub current_a: Reading,
    /// Distance of the loops of a pair; of no meaning for a loop.
    pub spacing_m: Reading,
    /// Where the coil's centre is along the axis, from the centre of the loop or
    /// the middle of the pair. Its u is also that of the place aside.
    pub distance_m: Reading,
    /// Distance of the coil's centre from the axis; 0 on it.
    pub offset_m: Reading,
    /// Standard uncertainty of the angle between coil and axis, in each of two
    /// directions, degrees.
    pub u_angle_deg: f64,
    /// Largest extent of the receiver's coil or rod.
    pub coil_size_m: f64,
}

/// Why a source cannot be one.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoSource {
    /// A number that makes no sense.
    #[error("{name} is {value}, it must be {need}")]
    Value {
        /// What.
        name: &'static str,
        /// The number.
        value: f64,
        /// What it must be.
        need: &'static str,
    },
    /// Wire so long that the current is not the same all along it.
    #[error(
        "the wire is {length_m:.1} m long, more than a twentieth of the wavelength: its current is \
         not the same all along it"
    )]
    LongWire {
        /// Turns times circumference.
        length_m: f64,
    },
    /// The coil would touch the wire.
    #[error("the coil lies on the wire of the loop, where the field has no one value")]
    OnWire,
}

/// A twentieth of the wavelength of 656 m.
const LONGEST_WIRE_M: f64 = 32.8;

impl Source {
    /// Whether the numbers make sense.
    ///
    /// # Errors
    ///
    /// The first that does not.
    pub fn check(&self) -> Result<(), NoSource> {
        let above_zero = [
            ("the number of turns", self.turns),
            ("the radius in m", self.radius_m.value),
            ("the current in A", self.current_a.value),
        ];
        let zero_or_more = [
            ("the uncertainty of the radius in m", self.radius_m.u),
            ("the uncertainty of the current in A", self.current_a.u),
            ("the spacing in m", self.spacing_m.value),
            ("the uncertainty of the spacing in m", self.spacing_m.u),
            ("the distance in m", self.distance_m.value.abs()),
            ("the uncertainty of the distance in m", self.distance_m.u),
            ("the distance from the axis in m", self.offset_m.value),
            ("the uncertainty of the distance from the axis in m", self.offset_m.u),
            ("the uncertainty of the angle in degrees", self.u_angle_deg),
            ("the size of the coil in m", self.coil_size_m),
        ];
        let good = |v: f64| v > 0.0 && v.is_finite();
        if let Some(&(name, value)) = above_zero.iter().find(|(_, v)| !good(*v)) {
            return Err(NoSource::Value { name, value, need: "a number above zero" });
        }
        let good = |v: f64| v >= 0.0 && v.is_finite();
        if let Some(&(name, value)) = zero_or_more.iter().find(|(_, v)| !good(*v)) {
            return Err(NoSource::Value { name, value, need: "a number, zero or more" });
        }
        if self.u_angle_deg > 30.0 {
            let (name, value) = ("the uncertainty of the angle in degrees", self.u_angle_deg);
            return Err(NoSource::Value { name, value, need: "30 at most" });
        }
        let length_m = self.wire_m();
        if length_m > LONGEST_WIRE_M {
            return Err(NoSource::LongWire { length_m });
        }
        let field = self.field_a_per_m();
        if field.is_finite() && field != 0.0 { Ok(()) } else { Err(NoSource::OnWire) }
    }

    /// Length of the wire of one loop.
    fn wire_m(&self) -> f64 {
        self.turns * std::f64::consts::TAU * self.radius_m.value
    }

    /// The largest share by which the current can differ along the wire: that of a
    /// standing wave, whose end is at a voltage's crest or node, 1 − cos kl.
    pub fn wire_effect(&self) -> f64 {
        1.0 - (wave_number_rad_per_m(NOMINAL_CARRIER_HZ) * self.wire_m()).cos()
    }

    /// RMS field along the axis at the coil's centre.
    pub fn field_a_per_m(&self) -> f64 {
        self.along(self.offset_m.value, self.distance_m.value)
    }

    /// The same `offset_m` from the axis and `distance_m` along it.
    fn along(&self, offset_m: f64, distance_m: f64) -> f64 {
        self.across_and_along(offset_m, distance_m).1
    }

    /// RMS field away from the axis and along it, `offset_m` from the axis and
    /// `distance_m` along it.
    pub(super) fn across_and_along(&self, offset_m: f64, distance_m: f64) -> (f64, f64) {
        let one = CircularLoop {
            turns: self.turns,
            radius_m: self.radius_m.value,
            current_a: self.current_a.value,
        };
        match self.arrangement {
            Arrangement::Loop => one.off_axis(offset_m, distance_m),
            Arrangement::Pair => {
                let half_m = 0.5 * self.spacing_m.value;
                let (near, far) = (
                    one.off_axis(offset_m, distance_m - half_m),
                    one.off_axis(offset_m, distance_m + half_m),
                );
                (near.0 + far.0, near.1 + far.1)
            }
        }
    }

    /// Relative standard uncertainty of what a coil askew sees of the field across
    /// the axis: beside the axis a tilt counts by itself, not by its square.
    pub fn across_effect(&self) -> f64 {
        let (across, along) = self.across_and_along(self.offset_m.value, self.distance_m.value);
        (across / along).abs() * self.u_angle_deg.to_radians()
    }

    /// What uncertainty of the place does beyond its slope, since the field bends
    /// whichever way one goes: mean and standard deviation of the field over that
    /// at the stated place, from three points in each direction (the Gauss–Hermite
    /// rule, exact for a bend; Abramowitz and Stegun 25.4.46, from memory).
    pub fn bend(&self) -> Reading {
        let (offset_m, distance_m) = (self.offset_m.value, self.distance_m.value);
        let here = self.along(offset_m, distance_m);
        let step_m = 3f64.sqrt() * self.distance_m.u;
        let aside_m = 3f64.sqrt() * self.offset_m.u;
        let pairs = [
            // Along the axis, across it, and across both.
            [self.along(offset_m, distance_m + step_m), self.along(offset_m, distance_m - step_m)],
            [
                self.along((offset_m + aside_m).abs(), distance_m),
                self.along((offset_m - aside_m).abs(), distance_m),
            ],
            [self.along(offset_m.hypot(aside_m), distance_m); 2],
        ];
        let bends = pairs.map(|[up, down]| 0.5 * (up + down) / here - 1.0);
        // Weights 1/6, 2/3, 1/6 of the points at −√3 u, 0 and √3 u.
        let mean = bends.iter().sum::<f64>() / 3.0;
        let variance = bends.iter().map(|b| b * b * 2.0 / 9.0).sum::<f64>();
        Reading::new(1.0 + mean, variance.sqrt())
    }

    /// Mean and standard deviation of the cosine of the angle between coil and
    /// axis, both directions normally distributed (JCGM 100, F.2.4.4).
    pub fn cosine(&self) -> Reading {
        let u2 = self.u_angle_deg.to_radians().powi(2);
        Reading::new(1.0 - u2, u2)
    }

    /// The largest share by which the mean of the field over the receiver's coil
    /// can differ from that at its centre: a rod along the axis and a flat coil
    /// across it are the extremes, and they differ in opposite ways.
    pub fn size_effect(&self) -> f64 {
        let (offset_m, distance_m) = (self.offset_m.value, self.distance_m.value);
        let half_m = 0.5 * self.coil_size_m;
        let here = self.along(offset_m, distance_m);
        // Gauss–Legendre with three points: 0 and ± √(3/5), weights 8/9 and 5/9.
        let node_m = 0.6f64.sqrt() * half_m;
        let rod = (5.0 * self.along(offset_m, distance_m - node_m)
            + 8.0 * here
            + 5.0 * self.along(offset_m, distance_m + node_m))
            / 18.0;
        // A disc: the mean of r² is half the square of its radius; a ring there has
        // the disc's mean of any field that bends alike all over it.
        let ring_m = half_m / 2f64.sqrt();
        let ring: f64 = (0..8)
            .map(|k| {
                let (sin, cos) = (std::f64::consts::FRAC_PI_4 * f64::from(k)).sin_cos();
                self.along((offset_m + ring_m * cos).hypot(ring_m * sin), distance_m) / 8.0
            })
            .sum();
        (rod / here - 1.0).abs().max((ring / here - 1.0).abs())
    }

    /// What the quasi-static field leaves out: (kr)²/2 of it, r from the wire's
    /// centre to the coil.
    pub fn retardation(&self) -> f64 {
        let half_m = match self.arrangement {
            Arrangement::Loop => 0.0,
            Arrangement::Pair => 0.5 * self.spacing_m.value,
        };
        let r_m = (self.distance_m.value.abs() + half_m)
            .hypot(self.offset_m.value)
            .max(self.radius_m.value);
        0.5 * (wave_number_rad_per_m(NOMINAL_CARRIER_HZ) * r_m).powi(2)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::field::constants::MAGNETIC_CONSTANT_N_PER_A2;

    pub(in crate::calibration) fn a_loop() -> Source {
        Source {
            arrangement: Arrangement::Loop,
            turns: 10.0,
            radius_m: Reading::new(0.15, 0.0005),
            current_a: Reading::new(1e-3, 5e-6),
            spacing_m: Reading::new(0.0, 0.0),
            distance_m: Reading::new(1.0, 0.002),
            offset_m: Reading::new(0.0, 0.002),
            u_angle_deg: 2.0,
            coil_size_m: 0.1,
        }
    }

    pub(in crate::calibration) fn a_pair() -> Source {
        Source {
            arrangement: Arrangement::Pair,
            spacing_m: Reading::new(0.3, 0.001),
            radius_m: Reading::new(0.3, 0.001),
            turns: 5.0,
            distance_m: Reading::new(0.0, 0.005),
            offset_m: Reading::new(0.0, 0.005),
            ..a_loop()
        }
    }

    /// N I a² / (2 (a² + x²)^(3/2)), by hand.
    #[test]
    fn a_loop_has_its_field_on_the_axis() {
        let by_hand = 10.0 * 1e-3 * 0.0225 / (2.0 * (0.0225f64 + 1.0).powf(1.5));
        assert!((a_loop().field_a_per_m() / by_hand - 1.0).abs() < 1e-12);
        a_loop().check().unwrap();
    }

    /// Any handbook: B = (4/5)^(3/2) µ0 N I / R.
    #[test]
    fn a_pair_has_the_handbook_field_in_its_middle() {
        let handbook = 0.8f64.powf(1.5) * MAGNETIC_CONSTANT_N_PER_A2 * 5.0 * 1e-3 / 0.3;
        let found = MAGNETIC_CONSTANT_N_PER_A2 * a_pair().field_a_per_m();
        assert!((found / handbook - 1.0).abs() < 1e-12);
        // Flat to the fourth order: 5 mm are nothing.
        assert!(a_pair().bend().u < 1e-6, "{:?}", a_pair().bend());
    }

    /// Far off, H falls as x⁻³ and bends by 6 δ²/x² along the axis and by half of
    /// that, downward, in each direction across it: the field is harmonic.
    #[test]
    fn the_bend_of_a_harmonic_field_cancels_on_average() {
        let far = Source {
            distance_m: Reading::new(3.0, 0.1),
            offset_m: Reading::new(0.0, 0.1),
            ..a_loop()
        };
        let bend = far.bend();
        assert!((bend.value - 1.0).abs() < 2e-4, "{bend:?}");
        let along = 6.0 * (0.1f64 / 3.0).powi(2);
        let by_hand = 2f64.sqrt() * along * (1.0f64 + 0.5).sqrt();
        assert!((bend.u / by_hand - 1.0).abs() < 0.05, "{bend:?}, by hand {by_hand}");
    }

    /// JCGM 100, F.2.4.4: a cosine of 2° in each of two directions.
    #[test]
    fn a_coil_askew_reads_low() {
        let cosine = a_loop().cosine();
        assert!(
            (cosine.value - (1.0 - 0.001_218_5)).abs() < 1e-6
                && (cosine.u - 0.001_218_5).abs() < 1e-6
        );
    }

    /// A dipole's field at tan θ = 1/2: H_ρ/H_z = 3 cos θ sin θ / (3 cos² θ − 1) = 6/7.
    #[test]
    fn beside_the_axis_a_tilt_counts_by_itself() {
        let offset_m = Reading::new(5.0, 0.0);
        let distance_m = Reading::new(10.0, 0.0);
        let beside = Source { offset_m, distance_m, ..a_loop() };
        let by_hand = 6.0 / 7.0 * 2f64.to_radians();
        assert!((beside.across_effect() / by_hand - 1.0).abs() < 1e-3);
        assert_eq!(a_loop().across_effect(), 0.0);
        assert_eq!(a_pair().across_effect(), 0.0);
    }

    /// A rod of length l far from a loop: mean of x⁻³ over it, 1 + l²/(2x²).
    #[test]
    fn the_size_of_the_coil_matters_near_the_loop() {
        let far = Source { distance_m: Reading::new(2.0, 0.0), coil_size_m: 0.2, ..a_loop() };
        assert!(
            (far.size_effect() / (0.2f64.powi(2) / 8.0) - 1.0).abs() < 0.05,
            "{}",
            far.size_effect()
        );
        let near = Source { distance_m: Reading::new(0.5, 0.0), ..far };
        assert!(near.size_effect() > 10.0 * far.size_effect());
    }

    #[test]
    fn nonsense_is_refused_by_name() {
        for (source, name) in [
            (Source { turns: 0.0, ..a_loop() }, "turns"),
            (Source { radius_m: Reading::new(-0.1, 0.0), ..a_loop() }, "radius"),
            (Source { current_a: Reading::new(f64::NAN, 0.0), ..a_loop() }, "current"),
            (
                Source { distance_m: Reading::new(1.0, -0.1), ..a_loop() },
                "uncertainty of the distance",
            ),
            (Source { u_angle_deg: 60.0, ..a_loop() }, "angle"),
            (Source { turns: 50.0, ..a_loop() }, "wire is 47.1 m"),
            (
                Source {
                    distance_m: Reading::new(0.0, 0.0),
                    offset_m: Reading::new(0.15, 0.0),
                    ..a_loop()
                },
                "wire",
            ),
        ] {
            let refused = source.check().unwrap_err().to_string();
            assert!(refused.contains(name), "{refused}");
        }
    }
}
